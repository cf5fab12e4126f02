"""The skin of a body: where its boundary unknowns live and how they are tied to the mesh behind.

Unknowns: tangential field h (A/m), linear and discontinuous on every edge, nodal at the two Gauss points, which are
the collocation points too (so corners need no care and h may jump there); and A at the boundary nodes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp

from coilwright.section.mesh import Mesh
from coilwright.section.pattern import ComplexArray as ComplexArray
from coilwright.section.pattern import Sparse as Sparse
from coilwright.section.quad9 import Array, IntArray, gauss, line_shape, line_slope

_ROOT3 = np.sqrt(3.0)


def edge_shape(x: Array) -> Array:
    """The two linear shape functions of h on an edge, nodal at the Gauss points -1/sqrt(3), +1/sqrt(3)."""
    return np.stack([0.5 * (1.0 - _ROOT3 * x), 0.5 * (1.0 + _ROOT3 * x)])


@dataclass(frozen=True, eq=False)
class Skin:
    """Boundary of one or several bodies.

    `points` (b, 3, 2): edge nodes r, z (m). `number` (b, 3): running number of each node among the boundary nodes off
    the axis, -1 on the axis. `nodes` (k,): their numbers in the mesh. `collocation` (2b, 2). `circulation` (2b,):
    weights of the closed integral of h ds (m). `mass` (k, 2b) sparse: integral of N_i phi_j r ds (m^2).
    """

    points: Array
    number: IntArray
    nodes: IntArray
    collocation: Array
    circulation: Array
    mass: Sparse

    @property
    def n_field(self) -> int:
        """Number of h unknowns."""
        return 2 * len(self.points)

    @property
    def n_potential(self) -> int:
        """Number of A unknowns."""
        return len(self.nodes)

    def moved(self, up: float) -> Skin:
        """The same skin shifted along the axis by `up` (m)."""
        if up == 0.0:
            return self
        step = np.array([0.0, up])
        return replace(self, points=self.points + step, collocation=self.collocation + step)

    def interpolation(self) -> Array:
        """(2b, k): psi = r A at the collocation points from A at the boundary nodes (m)."""
        out = np.zeros((self.n_field, self.n_potential))
        shape = line_shape(np.array([-1.0, 1.0]) / _ROOT3)
        row = np.repeat(np.arange(self.n_field), 3)
        column = np.repeat(self.number, 2, axis=0).ravel()
        value = (np.tile(shape.T, (len(self.points), 1)) * self.collocation[:, :1]).ravel()
        off_axis = column >= 0
        out[row[off_axis], column[off_axis]] = value[off_axis]
        return out


def skin_of(mesh: Mesh) -> Skin:
    """Skin of a mesh, in the order of `mesh.boundary`."""
    boundary = mesh.boundary
    points = np.ascontiguousarray(boundary.points)
    number = np.full(len(mesh.points), -1, dtype=np.int64)
    number[boundary.nodes] = np.arange(len(boundary.nodes))
    local = number[boundary.edges]
    shape = line_shape(np.array([-1.0, 1.0]) / _ROOT3)
    collocation = np.einsum("ekd,kq->eqd", points, shape).reshape(-1, 2)
    x, w = gauss(6)
    line, phi = line_shape(x), edge_shape(x)
    r = points[:, :, 0] @ line
    length = np.hypot(points[:, :, 0] @ line_slope(x), points[:, :, 1] @ line_slope(x)) * w
    mass = np.einsum("iq,jq,eq->eij", line, phi, r * length)
    row = np.repeat(local[:, :, None], 2, axis=2)
    column = np.broadcast_to(2 * np.arange(len(points))[:, None, None] + np.arange(2), row.shape)
    off_axis = row >= 0
    shape_of_mass = (len(boundary.nodes), 2 * len(points))
    return Skin(
        points,
        local,
        boundary.nodes,
        collocation,
        np.einsum("jq,eq->ej", phi, length).ravel(),
        sp.csr_matrix((mass[off_axis], (row[off_axis], column[off_axis])), shape_of_mass),
    )


def joined(skins: Sequence[Skin]) -> Skin:
    """Several skins as one source or target of integrals; node numbers run on, mesh numbers keep their own mesh."""
    if not skins:
        return no_skin()
    if len(skins) == 1:
        return skins[0]
    start = np.cumsum([0, *(s.n_potential for s in skins)])
    number = [np.where(s.number >= 0, s.number + k, -1) for s, k in zip(skins, start, strict=False)]
    return Skin(
        np.concatenate([s.points for s in skins]),
        np.concatenate(number),
        np.concatenate([s.nodes for s in skins]),
        np.concatenate([s.collocation for s in skins]),
        np.concatenate([s.circulation for s in skins]),
        _side_by_side([s.mass for s in skins]),
    )


def _side_by_side(blocks: Sequence[Sparse]) -> Sparse:
    """Block diagonal of row-wise sparse matrices, by putting their arrays one after the other."""
    columns = np.cumsum([0, *(b.shape[1] for b in blocks)])
    entries = np.cumsum([0, *(b.nnz for b in blocks)])
    ends = [b.indptr[1:] + k for b, k in zip(blocks, entries, strict=False)]
    indices = np.concatenate([b.indices + k for b, k in zip(blocks, columns, strict=False)])
    shape = (sum(b.shape[0] for b in blocks), int(columns[-1]))
    return sp.csr_matrix((np.concatenate([b.data for b in blocks]), indices, np.concatenate([[0], *ends])), shape)


def no_skin() -> Skin:
    """The skin of no body at all."""
    edges = np.zeros((0, 3), dtype=np.int64)
    return Skin(
        np.zeros((0, 3, 2)), edges, edges[:, 0], np.zeros((0, 2)), np.zeros(0), sp.csr_matrix((0, 0), dtype=float)
    )
