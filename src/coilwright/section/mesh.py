"""A mesh of nine-node quadrilaterals in the half-plane r >= 0, with what integration over it needs.

One mesh may hold several regions (materials) and several separate bodies. It is frozen: moving or joining makes a
new one. Lengths in m.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coilwright.section.quad9 import Array, BoolArray, IntArray, gauss, line_shape, line_slope, quad_table

# A node counts as on the axis when r is below this share of the largest r of its mesh.
_AXIS = 1e-10


@dataclass(frozen=True, eq=False)
class Gauss:
    """Geometry at the 4 x 4 Gauss points of every element.

    `r`, `z` (m) and `weight` (dr dz, m^2) are (e, q); `shape` is (9, q); `d_r`, `d_z` (1/m) are (e, 9, q).
    A volume integral is 2 pi sum(f * r * weight).
    """

    r: Array
    z: Array
    weight: Array
    shape: Array
    d_r: Array
    d_z: Array


@dataclass(frozen=True, eq=False)
class Boundary:
    """Outer boundary as three-node edges; edges on the axis are left out.

    `edges` (b, 3) are node numbers in order along the edge, the body on the left, so that with tangent t = (tr, tz)
    the unit normal out of the body is n = (tz, -tr) / |t|. `points` (b, 3, 2) are their coordinates. `element` (b,)
    is the quadrilateral behind each edge. `nodes` (k,) lists the boundary nodes off the axis.
    """

    edges: IntArray
    points: Array
    element: IntArray
    nodes: IntArray


@dataclass(frozen=True, eq=False)
class Mesh:
    """`points` (n, 2) r, z in m; `quads` (e, 9) node numbers, local node 3*j + i; `region` (e,) indexes `regions`."""

    points: Array
    quads: IntArray
    region: IntArray
    regions: tuple[str, ...]

    @cached_property
    def gauss(self) -> Gauss:
        table = quad_table()
        at = self.points[self.quads]
        r, z = at[:, :, 0] @ table.shape, at[:, :, 1] @ table.shape
        r_xi, r_eta = at[:, :, 0] @ table.d_xi, at[:, :, 0] @ table.d_eta
        z_xi, z_eta = at[:, :, 1] @ table.d_xi, at[:, :, 1] @ table.d_eta
        det = r_xi * z_eta - r_eta * z_xi
        d_r = (table.d_xi[None] * z_eta[:, None] - table.d_eta[None] * z_xi[:, None]) / det[:, None]
        d_z = (table.d_eta[None] * r_xi[:, None] - table.d_xi[None] * r_eta[:, None]) / det[:, None]
        return Gauss(r, z, np.abs(det) * table.weight, table.shape, d_r, d_z)

    @cached_property
    def boundary(self) -> Boundary:
        q = self.quads
        local = ([0, 1, 2], [2, 5, 8], [8, 7, 6], [6, 3, 0])
        edges = np.concatenate([q[:, side] for side in local])
        element = np.tile(np.arange(len(q)), 4)
        clockwise = np.tile(self._clockwise, 4)
        edges[clockwise] = edges[clockwise, ::-1]
        real = edges[:, 0] != edges[:, 2]  # collapsed sides (wedges at a centre or on the axis) bound nothing
        edges, element = edges[real], element[real]
        _, first, count = np.unique(np.sort(edges[:, [0, 2]], axis=1), axis=0, return_index=True, return_counts=True)
        keep = first[count == 1]
        edges, element = edges[keep], element[keep]
        off_axis = ~(self.on_axis[edges[:, 0]] & self.on_axis[edges[:, 2]])
        edges, element = edges[off_axis], element[off_axis]
        nodes = np.unique(edges)
        return Boundary(edges, self.points[edges], element, nodes[~self.on_axis[nodes]])

    @cached_property
    def on_axis(self) -> BoolArray:
        """(n,): nodes on the axis of revolution."""
        return np.asarray(self.points[:, 0] < _AXIS * self.points[:, 0].max())

    @property
    def _clockwise(self) -> BoolArray:
        corner = self.points[self.quads[:, [0, 2, 8, 6]]]
        r, z = corner[:, :, 0], corner[:, :, 1]
        area = np.sum(r * np.roll(z, -1, axis=1) - np.roll(r, -1, axis=1) * z, axis=1)
        return np.asarray(area < 0.0)

    def volume(self, region: str | None = None) -> float:
        """Volume of revolution (m^3) of one region or of everything."""
        g = self.gauss
        pick = slice(None) if region is None else self.region == self.regions.index(region)
        return float(2.0 * np.pi * np.sum((g.r * g.weight)[pick]))

    def elements(self, region: str) -> IntArray:
        """Numbers of the elements of one region."""
        return np.flatnonzero(self.region == self.regions.index(region))

    def moved(self, up: float = 0.0) -> Mesh:
        """The same mesh shifted along the axis by `up` (m)."""
        return Mesh(self.points + np.array([0.0, up]), self.quads, self.region, self.regions)

    def surface_area(self) -> float:
        """Area of revolution (m^2) of the outer boundary."""
        x, w = gauss(6)
        p = self.boundary.points
        r = p[:, :, 0] @ line_shape(x)
        tangent = np.hypot(p[:, :, 0] @ line_slope(x), p[:, :, 1] @ line_slope(x))
        return float(2.0 * np.pi * np.sum(r * tangent * w))


def union(meshes: Sequence[Mesh]) -> Mesh:
    """Several separate bodies as one mesh, numbered one after the other. Region names must not repeat."""
    names = [name for m in meshes for name in m.regions]
    if len(set(names)) != len(names):
        raise ValueError(f"region names must differ between bodies; received {names}")
    node_start = np.cumsum([0, *(len(m.points) for m in meshes)])
    region_start = np.cumsum([0, *(len(m.regions) for m in meshes)])
    return Mesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.quads + k for m, k in zip(meshes, node_start, strict=False)]),
        np.concatenate([m.region + k for m, k in zip(meshes, region_start, strict=False)]),
        tuple(names),
    )


def from_lattice(
    r: Array, z: Array, region: str, *, cells: IntArray | None = None, regions: Sequence[str] = ()
) -> Mesh:
    """Mesh from a (2a+1, 2b+1) lattice of nodes; coincident nodes are merged.

    `cells` (a, b) may give each cell a region number into `regions`, -1 leaving it out; otherwise all is `region`.
    """
    nodes = np.arange(r.size).reshape(r.shape)
    first = [np.arange(0, n - 1, 2) for n in r.shape]
    i, j = (a.ravel() for a in np.meshgrid(*first, indexing="ij"))
    quads = np.stack([nodes[i + di, j + dj] for dj in range(3) for di in range(3)], axis=1)
    kind = np.zeros(len(quads), dtype=np.int64) if cells is None else np.asarray(cells, dtype=np.int64).ravel()
    points = np.column_stack([r.ravel(), z.ravel()])
    return merged(points, quads[kind >= 0], kind[kind >= 0], tuple(regions) or (region,))


def merged(points: Array, quads: IntArray, region: IntArray, regions: tuple[str, ...]) -> Mesh:
    """A mesh whose coincident nodes (to 1e-9 of its size) are one node and whose unused nodes are gone."""
    key = np.round(points / (np.ptp(points, axis=0).max() * 1e-9)).astype(np.int64)
    _, first, inverse = np.unique(key, axis=0, return_index=True, return_inverse=True)
    quads = inverse.ravel()[quads]
    used, quads_flat = np.unique(quads, return_inverse=True)
    return Mesh(points[first][used], quads_flat.reshape(quads.shape), np.asarray(region, dtype=np.int64), regions)
