"""A coil turn condensed onto its own skin: A_b = Zh h + zU U, once per section, frequency and material."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as spl

from coilwright.field.bundle import Bundle, bundle_loss
from coilwright.field.exterior import MU0
from coilwright.field.inputs import ConductorTurn
from coilwright.field.interior import Interior, interior_of
from coilwright.field.kernels import system_entries
from coilwright.field.skin import ComplexArray
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array


@dataclass(frozen=True, eq=False)
class CondensedTurn:
    """`response` (f, nh + 1): A at the free nodes from [h; U]; `to_potential` (k, nh + 1) its boundary rows.

    `flux_row` (nh + 1,): integral of sigma A dr dz / (2 pi) from [h; U]. `conductance` (S): integral of
    sigma / (2 pi r) dr dz. `sigma` (e, q) in S/m. Position independent: shift with the skin.
    """

    interior: Interior
    omega: float
    sigma: Array
    response: ComplexArray
    to_potential: ComplexArray
    flux_row: ComplexArray
    conductance: float
    bundle: Bundle | None = None

    @property
    def mesh(self) -> Mesh:
        return self.interior.mesh

    def nodal(self, h: ComplexArray, voltage: complex) -> ComplexArray:
        """A (n,) at all nodes, Wb/m."""
        out = np.zeros(len(self.mesh.points), dtype=complex)
        out[self.interior.free] = self.response[:, :-1] @ h + self.response[:, -1] * voltage
        return out

    def powers(self, h: ComplexArray, voltages: ComplexArray) -> Array:
        """Dissipation (W) of rings with the columns of `h` (nh, m) and `voltages` (m,), from boundary values alone; equal
        to the volume integral of the discrete field.

        From int sigma |-jw A + U/(2 pi r)|^2 with the weak form tested by conj(A).
        """
        both = np.vstack([h, voltages])
        flux = self.flux_row @ both
        entering = np.sum(np.conj(self.to_potential @ both) * (self.interior.skin.mass @ h), axis=0)
        drawn = np.imag(entering + voltages * np.conj(flux)) + 2.0 * np.imag(np.conj(voltages) * flux)
        return np.asarray(2.0 * np.pi * self.omega * drawn + np.abs(voltages) ** 2 * self.conductance)

    def losses(self, h: ComplexArray, voltages: ComplexArray) -> Array:
        """Loss (W) of the rings as they really are: of the strands when they are bundles."""
        if self.bundle is None:
            return self.powers(h, voltages)
        currents = -self.interior.skin.circulation @ h
        rings = zip(h.T, voltages, currents, strict=True)
        return np.array([bundle_loss(self.bundle, self.interior, self.omega, self.nodal(x, u), i) for x, u, i in rings])

    def volume_current(self, h: ComplexArray, voltage: complex) -> complex:
        """Net current (A) as the volume integral of J; the boundary integral must agree."""
        flux = self.flux_row[:-1] @ h + self.flux_row[-1] * voltage
        return complex(-2j * np.pi * self.omega * flux + voltage * self.conductance)


def condense(turn: ConductorTurn, omega: float) -> CondensedTurn:
    """Factorise the turn's interior and solve for every boundary unknown and the turn voltage."""
    mesh = turn.mesh
    inside = interior_of(mesh)
    n = len(mesh.points)
    conducts = (mesh.region == mesh.regions.index(turn.conductor))[:, None]
    rho = turn.resistivity
    if turn.bundle is not None:
        rho = turn.bundle.stand_in(omega, float(np.ptp(mesh.points, axis=0).max()))
    sigma = np.where(conducts, 1.0 / rho, 0.0) * np.ones_like(inside.area)
    reluctivity = np.where(conducts, 1.0 / (MU0 * turn.relative_permeability), 1.0 / MU0) * np.ones_like(sigma)
    g = mesh.gauss
    own = np.arange(81 * len(mesh.quads)).reshape(-1, 81)
    element = np.zeros(own.size, dtype=complex)
    system_entries(reluctivity, omega * sigma, inside.curl, g.d_z, g.shape, inside.ring, own, element)
    row, column = np.repeat(mesh.quads, 9, axis=1).ravel(), np.tile(mesh.quads, (1, 9)).ravel()
    matrix = sp.csc_matrix((element, (row, column)), (n, n))
    share = ((sigma * inside.area) @ mesh.gauss.shape.T).ravel() / (2.0 * np.pi)
    load = np.bincount(mesh.quads.ravel(), share, minlength=n).astype(float)
    skin = inside.skin
    rhs = np.zeros((n, skin.n_field + 1))
    rhs[skin.nodes, :-1] = skin.mass.toarray()
    rhs[:, -1] = load
    factor = spl.splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}, diag_pivot_thresh=0.0)
    response = factor.solve(rhs.astype(complex))
    return CondensedTurn(
        inside,
        omega,
        sigma,
        response,
        np.ascontiguousarray(response[skin.nodes]),
        np.asarray(load @ response, dtype=complex),
        float(np.sum(sigma * inside.area / (2.0 * np.pi * mesh.gauss.r))),
        turn.bundle,
    )
