"""Half the unknowns of a heat balance where both sides are alike.

A body that is its own image half-way up it, alike in temperature and source on both sides, stays so. Temperatures of a pair of
nodes are then one unknown, the equations of the pair are added, and of two elements that image each other one is looked at.
All sums here are halves of that: an element in the plane, its own image, counts half.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.heat.surfaces import Edges
from coilwright.section.mesh import Mesh
from coilwright.section.mirror import Mirror, mirror_of
from coilwright.section.quad9 import Array, BoolArray, IntArray

_EVEN_KELVIN, _EVEN_HEAT = 1e-4, 100.0  # K, and J/m^3 that warm no solid by more, within a pair that counts as alike


@dataclass(frozen=True, eq=False)
class Half:
    """`one` and `other` (count,): the nodes of every pair, equal for a node in the plane; `number` (n,): the pair of every
    node. `elements` (e',) and `edges` (b',) are those looked at, with the shares (e', 1) and (b', 1) they count."""

    mirror: Mirror
    one: IntArray
    other: IntArray
    number: IntArray
    elements: IntArray
    element_share: Array
    edges: IntArray
    edge_share: Array

    def is_even(self, temperature: Array, heat: Array) -> bool:
        """Whether nodal temperatures (n,) in K and heats (e, q) in J/m^3 are as good as alike on both sides."""
        if np.abs(temperature - temperature[self.mirror.nodes]).max() > _EVEN_KELVIN:
            return False
        return self.mirror.difference(heat) <= _EVEN_HEAT

    def evened(self, nodal: Array) -> Array:
        """(n,) values with those of a pair replaced by their mean."""
        return np.asarray(0.5 * (nodal + nodal[self.mirror.nodes]))

    def on_both_sides(self, sums: Array) -> Array:
        """(n,) nodal sums over all elements from those over the elements looked at."""
        return np.asarray(sums + sums[self.mirror.nodes])

    def everywhere(self, values: Array) -> Array:
        """(e, q) from values (e', q) on the elements looked at."""
        out = np.empty((len(self.mirror.elements), values.shape[1]))
        out.ravel()[self.mirror.points.reshape(out.shape)[self.elements].ravel()] = values.ravel()
        out[self.elements] = values
        return out

    def gathered(self, nodal: Array) -> Array:
        """(count, ...) halves of the sums over each pair of (n, ...)."""
        weight = np.where(self.one == self.other, 0.25, 0.5).reshape(-1, *(1,) * (nodal.ndim - 1))
        return np.asarray(weight * (nodal[self.one] + nodal[self.other]))


def half_of(mesh: Mesh, edges: Edges, unlike: BoolArray) -> Half | None:
    """The half of a mesh and its boundary; None where it has no image of itself. `unlike` (b,) marks edges that leave heat in
    another way than the rest of their region (vacuum on one side): these must image each other as well."""
    mirror = mirror_of(mesh)
    image = None if mirror is None else _edge_images(mirror, edges)
    if mirror is None or image is None or np.any(unlike[image] != unlike):
        return None
    elements, sides = np.arange(len(mesh.quads)), np.arange(len(image))
    one, number = np.unique(np.minimum(np.arange(len(mirror.nodes)), mirror.nodes), return_inverse=True)
    looked, along = elements[elements <= mirror.elements], sides[sides <= image]
    return Half(
        mirror, one, mirror.nodes[one], number.ravel(), looked, _share(looked, mirror.elements), along, _share(along, image)
    )


def _share(looked: IntArray, image: IntArray) -> Array:
    return np.where(image[looked] == looked, 0.5, 1.0)[:, None]


def _edge_images(mirror: Mirror, edges: Edges) -> IntArray | None:
    """Numbers of the images of edges, which run the other way; None when one has none."""
    place = {(int(a), int(b)): k for k, (a, _, b) in enumerate(edges.nodes)}
    there = mirror.nodes[edges.nodes]
    found = [place.get((int(b), int(a)), -1) for a, _, b in there]
    return None if -1 in found else np.array(found, dtype=np.int64)
