"""Whether a mesh is its own image in the plane half-way up it, and which node, element and Gauss point images which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray

_SAME_PLACE = 1e-7  # of the extent along the axis


@dataclass(frozen=True, eq=False)
class Mirror:
    """The other of each pair: of the nodes (n,), of the elements (e,), of the Gauss points (e * q,), numbered flat."""

    nodes: IntArray
    elements: IntArray
    points: IntArray

    def mean(self, values: Array) -> Array:
        """(e, q) values with those of a pair replaced by their mean."""
        return np.asarray(0.5 * (values + values.ravel()[self.points].reshape(values.shape)))

    def difference(self, values: Array) -> float:
        """Largest difference within a pair of (e, q) values."""
        return float(np.abs(values - values.ravel()[self.points].reshape(values.shape)).max())


def mirror_of(mesh: Mesh) -> Mirror | None:
    """The mirror in the plane half-way up the mesh, when every node, element and region has its image."""
    if not len(mesh.points):
        return None
    low, high = float(mesh.points[:, 1].min()), float(mesh.points[:, 1].max())
    near = _SAME_PLACE * (high - low)
    gauss = np.stack([mesh.gauss.r, mesh.gauss.z], axis=-1)
    found = [images(at, low + high, near) for at in (mesh.points, gauss.mean(axis=1), gauss.reshape(-1, 2))]
    nodes, elements, points = found
    if nodes is None or elements is None or points is None or np.any(mesh.region[elements] != mesh.region):
        return None
    if np.any(np.sort(nodes[mesh.quads]) != np.sort(mesh.quads[elements])):
        return None  # two bodies touch: two nodes at one place
    return Mirror(nodes, elements, points)


def images(at: Array, twice: float, near: float) -> IntArray | None:
    """Numbers of the mirror images of places (k, 2) among themselves; None when one has none."""
    away, number = cKDTree(at).query(at * [1.0, -1.0] + [0.0, twice])
    return None if np.max(away) > near else np.asarray(number, dtype=np.int64)
