"""Inside the bodies, harmonic m >= 1: H = (grad psi + T) e^{im phi}, T = (r tau_r, 0, r tau_z), tau x n = 0 on the skin.

psi is nodal and biquadratic (0 on the axis), tau lives on edges (second order). J = curl T:
    J_r = im tau_z,   J_phi = r (dz tau_r - dr tau_z) - tau_z,   J_z = -im tau_r.
Weak form, real basis:   int mu [(psi_r + r tau_r)(v_r + r t_r) + (psi_z + r tau_z)(v_z + r t_z) + m^2 psi v / r^2] r dr dz
    + 1/(jw) int rho [m^2 (tau_r t_r + tau_z t_z) + J_phi(tau) J_phi(t)] r dr dz = mu0 closed int q v r ds.
Only m^2 enters, so +m and -m share everything. Where nothing conducts tau is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as spl

from coilwright.field.exterior import MU0
from coilwright.field.interior import Interior
from coilwright.field.skin import ComplexArray, edge_shape
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, BoolArray, IntArray, gauss, line_shape, line_slope, quad_table

# Element sides as (end, end, middle) local nodes, and the first of the two local edge unknowns on them.
_SIDES = ((0, 2, 1, 0), (6, 8, 7, 4), (0, 6, 3, 6), (2, 8, 5, 10))


@dataclass(frozen=True, eq=False)
class EdgeSpace:
    """Numbering of tau: `dof` (e, 12), `sign` (e, 12), `size`, and `free` (size,) marks unknowns not held at zero."""

    dof: IntArray
    sign: Array
    size: int
    free: BoolArray


def edge_space(mesh: Mesh, conducts: BoolArray) -> EdgeSpace:
    """Edge unknowns of a mesh; zero on the skin, on collapsed sides and wherever an element does not conduct."""
    q = mesh.quads
    ends = np.stack([q[:, [a, b]] for a, b, _, _ in _SIDES], axis=1)
    middle = np.stack([q[:, c] for _, _, c, _ in _SIDES], axis=1)
    key = np.concatenate([np.sort(ends, axis=2), middle[:, :, None]], axis=2).reshape(-1, 3)
    unique, inverse = np.unique(key, axis=0, return_inverse=True)
    edge = inverse.reshape(len(q), 4)
    backwards = ends[:, :, 0] > ends[:, :, 1]
    first = 2 * len(unique)
    dof, sign = np.zeros((len(q), 12), dtype=np.int64), np.ones((len(q), 12))
    for side, (_, _, _, at) in enumerate(_SIDES):
        back = backwards[:, side]
        dof[:, at], dof[:, at + 1] = 2 * edge[:, side] + back, 2 * edge[:, side] + ~back
        sign[:, at : at + 2] = np.where(back, -1.0, 1.0)[:, None]
    dof[:, [2, 3, 8, 9]] = first + np.arange(4 * len(q)).reshape(-1, 4)
    free = np.ones(first + 4 * len(q), dtype=bool)
    skin = {tuple(sorted(pair)) for pair in mesh.boundary.edges[:, [0, 2]].tolist()}
    held = np.array([a == b or (a, b) in skin for a, b, _ in unique.tolist()])
    free[:first] = np.repeat(~held, 2)
    free[dof[~conducts].ravel()] = False
    return EdgeSpace(dof, sign, len(free), free)


def _reference_edges() -> tuple[Array, Array, Array]:
    """e_xi, e_eta and d_eta e_xi - d_xi e_eta of the 12 shape functions at the 4 x 4 Gauss points: (12, 16) each."""
    x, _ = gauss(4)
    xi, eta = (a.ravel() for a in np.meshgrid(x, x, indexing="ij"))
    along, across, slope = edge_shape, line_shape, line_slope
    e_xi, e_eta, curl = (np.zeros((12, len(xi))) for _ in range(3))
    for j in range(3):
        for g in range(2):
            e_xi[2 * j + g] = across(eta)[j] * along(xi)[g]
            curl[2 * j + g] = slope(eta)[j] * along(xi)[g]
            e_eta[6 + 2 * j + g] = across(xi)[j] * along(eta)[g]
            curl[6 + 2 * j + g] = -slope(xi)[j] * along(eta)[g]
    return e_xi, e_eta, curl


def _outer(left: Array, right: Array, weight: Array) -> Array:
    return np.asarray(np.matmul(left * weight[:, None], right.transpose(0, 2, 1)))


@dataclass(frozen=True, eq=False)
class ModeInterior:
    """The bodies inside for every m >= 1 at one frequency and material state.

    `tau_r`, `tau_z`, `round_` (e, 12, q): the edge functions and their J_phi. `static`, `squared`, `eddy`,
    `eddy_squared` (e, 21, 21): element matrices; the operator is static + m^2 squared + (eddy + m^2 eddy_squared)/(jw).
    """

    inside: Interior
    edges: EdgeSpace
    tau_r: Array
    tau_z: Array
    round_: Array
    static: Array
    squared: Array
    eddy: Array
    eddy_squared: Array
    free: IntArray

    def factor(self, m: int, omega: float) -> Any:
        """Factorised operator of harmonic m."""
        n = len(self.inside.mesh.points) + self.edges.size
        number = np.concatenate([self.inside.mesh.quads, len(self.inside.mesh.points) + self.edges.dof], axis=1)
        data = self.static + m * m * self.squared + (self.eddy + m * m * self.eddy_squared) / (1j * omega)
        row, column = np.repeat(number, 21, axis=1).ravel(), np.tile(number, (1, 21)).ravel()
        matrix = sp.csc_matrix((data.ravel(), (row, column)), shape=(n, n))[self.free][:, self.free].tocsc()
        options = {"SymmetricMode": True}
        return spl.splu(matrix, permc_spec="MMD_AT_PLUS_A", options=options, diag_pivot_thresh=0.0)

    def load(self, normal: ComplexArray | None = None) -> ComplexArray:
        """Right sides for unit q on the skin (unknowns, 2b), or the one for a given q."""
        skin = self.inside.skin
        columns = skin.mass.toarray() if normal is None else (skin.mass @ normal)
        out = np.zeros((len(self.free), *columns.shape[1:]), dtype=complex)
        out[self.inside.position[skin.nodes]] = MU0 * columns
        return out

    def current_density(self, unknown: ComplexArray, m: int) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """J_r, J_phi, J_z (A/m^2) of harmonic m, any sign, at the Gauss points (e, q)."""
        every = np.zeros(len(self.inside.mesh.points) + self.edges.size, dtype=complex)
        every[self.free] = unknown
        tau = every[len(self.inside.mesh.points) :][self.edges.dof][:, None, :]
        r, phi, z = (np.matmul(tau, f)[:, 0] for f in (self.tau_r, self.round_, self.tau_z))
        return 1j * m * z, phi, -1j * m * r


def mode_interior(inside: Interior, sigma: Array, nu: Array) -> ModeInterior:
    """Element matrices for conductivity (S/m) and reluctivity (m/H) at the Gauss points (e, q)."""
    mesh, g = inside.mesh, inside.mesh.gauss
    conducts = np.asarray((sigma > 0.0).all(axis=1))
    edges = edge_space(mesh, conducts)
    table, at = quad_table(), mesh.points[mesh.quads]
    r_xi, r_eta, z_xi, z_eta = (at[:, :, k] @ d for k in (0, 1) for d in (table.d_xi, table.d_eta))
    det = (r_xi * z_eta - r_eta * z_xi)[:, None]
    e_xi, e_eta, curl = _reference_edges()
    sign, r = edges.sign[:, :, None], g.r[:, None]
    tau_r = sign * (z_eta[:, None] * e_xi - z_xi[:, None] * e_eta) / det
    tau_z = sign * (r_xi[:, None] * e_eta - r_eta[:, None] * e_xi) / det
    round_ = r * sign * curl / det - tau_z
    ring = inside.ring
    mu, rho = ring / nu, np.where(conducts[:, None], ring / np.where(conducts[:, None], sigma, 1.0), 0.0)
    grad_r, grad_z = np.concatenate([g.d_r, r * tau_r], axis=1), np.concatenate([g.d_z, r * tau_z], axis=1)
    shape = np.broadcast_to(g.shape[None], g.d_r.shape) / r
    squared, eddy, eddy_squared = (np.zeros((len(at), 21, 21)) for _ in range(3))
    squared[:, :9, :9] = _outer(shape, shape, mu)
    eddy[:, 9:, 9:] = _outer(round_, round_, rho)
    eddy_squared[:, 9:, 9:] = _outer(tau_r, tau_r, rho) + _outer(tau_z, tau_z, rho)
    static = _outer(grad_r, grad_r, mu) + _outer(grad_z, grad_z, mu)
    free = np.concatenate([inside.free, len(mesh.points) + np.flatnonzero(edges.free)])
    return ModeInterior(inside, edges, tau_r, tau_z, round_, static, squared, eddy, eddy_squared, free)
