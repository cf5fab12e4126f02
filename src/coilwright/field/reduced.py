"""Coil and exterior condensed once onto the skins of the live bodies, so that a material state costs one factorisation.

With x = [h of the coil; turn voltages], A_b and h of the live bodies, per drive d (coil current, background field):
    coil rows   x = alone d - Y [A_b; h]
    body rows   W A_b + mu0 V h + T x = psi d        =>   h = H0 d + D A_b
    inside      (K(nu) + jw M(sigma) - Mb D) A - f U = Mb H0 d,    -f.A + G U / (2 pi jw) = I / (2 pi jw)
    coil        voltage = v.alone d - z.[A_b; h]
Y = Tc^-1 Q with the coil's matrix Tc and real integrals Q is never formed: T Y = (T Tc^-1) Q and z = (v Tc^-1) Q are cheaper.
The dense block Mb D is part of the sparse matrix. Nothing is condensed onto a Neumann problem, so a body that does not
conduct at all (ferrite) needs no artificial conductivity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.linalg as sl

from coilwright.field.coil_system import N_DRIVES, CoilSystem
from coilwright.field.exterior import MU0, blocks
from coilwright.field.kernels import system_entries
from coilwright.field.live import Live
from coilwright.field.skin import ComplexArray, Skin, joined
from coilwright.field.space import Space
from coilwright.field.state import FieldState
from coilwright.section.mirror import Mirror
from coilwright.section.quad9 import Array

_SAME_LAW, _NOTHING = 1e-3, 1e-6  # of conductivity and reluctivity within a pair; S/m that count as none
_THIRD = 3
_AS_GOOD_AS_EVEN = 1e-6  # of the largest load
PairBlocks = dict[tuple[int, int, int], tuple[Array, Array]]


@dataclass(frozen=True)
class Drive:
    """What drives the field: coil current (A rms), background field (T rms), net currents of bodies by name (A rms)."""

    coil_current: complex = 1.0
    background: complex = 0.0
    net_currents: Mapping[str, complex] = field(default_factory=dict)

    @property
    def vector(self) -> ComplexArray:
        return np.array([self.coil_current, self.background], dtype=complex)


@dataclass(frozen=True, eq=False)
class Reduced:
    """One geometry and frequency, ready for any number of material states (see `reduce_exterior`).

    `skin` is the live skin where it stands now, its bodies shifted by `ups`, the coil by `coil_up` (m). `h_drive`
    (nh, 2) is H0, `h_potential` (nh, k) is D, `coil_rows` (nhc, k + nh) is Q, `voltage_row` (k + nh,) is z; `base`
    (k, k) is the block -Mb D of the system matrix, `load` (k, 2) its right side per drive.
    """

    live: Live
    coil: CoilSystem | None
    omega: float
    skin: Skin
    h_drive: ComplexArray
    h_potential: ComplexArray
    coil_rows: Array
    voltage_row: ComplexArray
    base: ComplexArray
    load: ComplexArray
    ups: Array
    coil_up: float

    def material_data(self, sigma: Array, nu: Array, space: Space | None = None) -> ComplexArray:
        """Entries of the system matrix of a `space` (all unknowns when left out) for conductivity (S/m) and reluctivity (m/H),
        both (e, q)."""
        live, space = self.live, space or self.live.whole
        pattern, shape, pick = space.pattern, live.interior.mesh.gauss.shape, space.pick
        data = self._exterior(space).copy()
        system_entries(
            nu[pick], self.omega * sigma[pick], space.curl, space.d_z, shape, space.ring, space.element_slots, data
        )
        first = int(live.element_entries.sum()) + len(live.boundary) ** 2
        for k in range(len(live.loops)):
            load = live.loop_load(k, sigma)
            conductance = live.loop_conductance(k, sigma) / (2.0 * np.pi * self.omega)
            data.real += pattern.add_up(np.concatenate([-load, -load]), first)
            data.imag += pattern.add_up(np.array([-conductance]), first + 2 * len(load))
            first += 2 * len(load) + 1
        return data

    def _exterior(self, space: Space) -> ComplexArray:
        """The block of the boundary among the entries of the matrix of a space."""
        if space not in self._exteriors:
            first, pattern = int(self.live.element_entries.sum()), space.pattern
            real, imag = (pattern.add_up(part.ravel(), first) for part in (self.base.real, self.base.imag))
            self._exteriors[space] = real + 1j * imag
        return self._exteriors[space]

    @cached_property
    def _exteriors(self) -> dict[Space, ComplexArray]:
        return {}

    def right_hand_side(self, drive: Drive) -> ComplexArray:
        """(f + loops,) for one drive."""
        out = np.zeros(self.live.size, dtype=complex)
        out[self.live.boundary] = self.load @ drive.vector
        for k, body in enumerate(self.live.loops):
            current = drive.net_currents.get(self.live.bodies[body].name, 0.0)
            out[len(self.live.interior.free) + k] = current / (2j * np.pi * self.omega)
        return out

    def mirrored(self, mirror: Mirror, drive: Drive) -> bool:
        """Whether all that is outside the bodies is alike on both sides of their mirror."""
        if np.ptp(self.ups) > 0.0:
            return False
        behind = drive.background != 0.0
        if behind not in self._mirrored:
            nodes = self.live.interior.skin.nodes
            place = np.full(len(self.live.interior.mesh.points), -1, dtype=np.int64)
            place[nodes] = np.arange(len(nodes))
            load = self.load[:, : 2 if behind else 1]
            uneven = np.abs(load - load[place[mirror.nodes[nodes]]]).max(initial=0.0)
            self._mirrored[behind] = bool(uneven < _AS_GOOD_AS_EVEN * np.abs(load).max(initial=1e-300))
        return self._mirrored[behind]

    def space(self, drive: Drive, *alike: tuple[Array, float]) -> Space:
        """Half the unknowns where part, coil and these (values (e, q), how far a pair may differ) are alike on both sides of
        a plane, else all of them."""
        half = self.live.half
        if half is None or half.mirror is None or not self.mirrored(half.mirror, drive):
            return self.live.whole
        even = all(half.mirror.difference(values) < within for values, within in alike)
        return half if even else self.live.whole

    @cached_property
    def _solves(self) -> list[int]:
        """How many so far, to be counted up in place."""
        return [0]

    @cached_property
    def _mirrored(self) -> dict[bool, bool]:
        return {}

    def solve(
        self, resistivity: Array, reluctivity: Array, drive: Drive | None = None, space: Space | None = None
    ) -> FieldState:
        """Field of one material state; resistivity (ohm m, inf = none) and reluctivity (m/H) at Gauss points (e, q). `space`
        are the unknowns, where the caller knows of a smaller one."""
        drive = drive or Drive()
        sigma = 1.0 / resistivity
        live = self.live
        if live.size == 0:
            return self.state(np.zeros(0, dtype=complex), sigma, reluctivity, drive)
        if space is None:
            space = live.whole
            self._solves[0] += 1
            if self._solves[0] >= _THIRD:  # the mirror costs about a solve to find
                logs = np.log(np.maximum(sigma, _NOTHING)), np.log(reluctivity)
                space = self.space(drive, *((x, _SAME_LAW) for x in logs))
        factor = space.pattern.factor(self.material_data(sigma, reluctivity, space))
        unknown = space.pattern.solve(factor, space.gathered(self.right_hand_side(drive)))
        return self.state(unknown[space.number], sigma, reluctivity, drive)

    def state(self, unknown: ComplexArray, sigma: Array, nu: Array, drive: Drive) -> FieldState:
        """The field that belongs to the unknowns (free A, loop voltages)."""
        inside = self.live.interior
        nf = len(inside.free)
        nodal = np.zeros(len(inside.mesh.points), dtype=complex)
        nodal[inside.free] = unknown[:nf]
        on_skin = unknown[self.live.boundary]
        h = self.h_drive @ drive.vector + self.h_potential @ on_skin
        voltages = {self.live.bodies[b].name: complex(unknown[nf + k]) for k, b in enumerate(self.live.loops)}
        return FieldState(self, drive, sigma, nu, nodal, h, voltages)

    def coil_unknowns(self, state: FieldState) -> ComplexArray:
        """x = [h; U] of the coil for a state of this geometry."""
        if self.coil is None:
            return np.zeros(0, dtype=complex)
        rows = np.zeros(len(self.coil.voltage_row), dtype=complex)
        on_skin = self._on_skin(state).view(float).reshape(-1, 2)
        rows[: self.coil.n_field] = (self.coil_rows @ on_skin).view(complex)[:, 0]
        return np.asarray(self.coil.alone @ state.drive.vector - self.coil.solve(rows))

    def coil_voltage(self, state: FieldState) -> complex:
        """Terminal voltage of the coil (V rms) for a state of this geometry."""
        if self.coil is None:
            return 0j
        current = state.drive.coil_current
        if self.coil.has_bundles:
            return self.coil.voltage(state.coil_unknowns, current, sum(state.region_powers.values()))
        empty = self.coil.voltage_row @ self.coil.alone @ state.drive.vector
        voltage = complex(empty - self.voltage_row @ self._on_skin(state))
        if np.all(self.coil.weights == 1.0):
            return voltage
        return voltage + self.coil.part_turn_voltage(state.coil_unknowns, current)

    def _on_skin(self, state: FieldState) -> ComplexArray:
        return np.concatenate([state.potential[self.live.interior.skin.nodes], state.h])


def reduce_exterior(
    live: Live, coil: CoilSystem | None, omega: float, shifts: Array, coil_shift: float, known: PairBlocks
) -> Reduced:
    """Condense coil and exterior for bodies shifted up by `shifts` (m each) and the coil by `coil_shift` (m).

    `known` keeps body-to-body integrals by relative shift from one position to the next.
    """
    if live.size == 0:
        return _coil_alone(live, coil, omega, coil_shift)
    skins = [s.moved(float(up)) for s, up in zip(live.skins, shifts, strict=True)]
    skin = joined(skins)
    V, K = _body_blocks(live, skins, shifts, known)
    W = -K
    for b, s in enumerate(live.skins):
        rows = slice(2 * live.start[b], 2 * live.start[b + 1])
        W[rows, live.potential_start[b] : live.potential_start[b + 1]] += 0.5 * s.interpolation()
    k, nh = skin.n_potential, skin.n_field
    on_field: ComplexArray = (MU0 * V).astype(complex)
    rhs = np.zeros((nh, k + N_DRIVES), dtype=complex)
    rhs[:, :k] = -W
    rhs[:, k + 1] = 0.5 * skin.collocation[:, 0] ** 2
    coil_rows, voltage_row = np.zeros((0, k + nh)), np.zeros(k + nh, dtype=complex)
    if coil is not None:
        coil_skin = coil.skin.moved(coil_shift)
        coil_rows = _coil_rows(coil_skin, skin)
        thrown = coil.as_source(*blocks(skin.collocation, coil_skin))
        sides = np.vstack([thrown, coil.voltage_row])
        through = _times_real(coil.solve_transposed(sides.T).T[:, : coil.n_field], coil_rows)
        back, voltage_row = through[:-1], through[-1]
        on_field -= back[:, k:]
        rhs[:, :k] += back[:, :k]
        rhs[:, k:] -= thrown @ coil.alone
    h = sl.solve(on_field, rhs, check_finite=False, overwrite_a=True, overwrite_b=True)
    h_potential = np.ascontiguousarray(h[:, :k])
    base = np.asarray(-(skin.mass @ h_potential))
    load = skin.mass @ h[:, k:]
    return Reduced(
        live, coil, omega, skin, h[:, k:], h_potential, coil_rows, voltage_row, base, load, shifts, coil_shift
    )


def _coil_alone(live: Live, coil: CoilSystem | None, omega: float, coil_shift: float) -> Reduced:
    none, empty = np.zeros((0, 0), dtype=complex), np.zeros(0, dtype=complex)
    drives = np.zeros((0, N_DRIVES), dtype=complex)
    rows = np.zeros((0 if coil is None else coil.n_field, 0))
    return Reduced(live, coil, omega, joined([]), drives, none, rows, empty, empty, drives, np.zeros(0), coil_shift)


def _coil_rows(coil_skin: Skin, skin: Skin) -> Array:
    """(nhc, k + nh): what the bodies' [A_b; h] add to the left side of the coil's rows."""
    V, K = blocks(coil_skin.collocation, skin)
    return np.hstack([-K, MU0 * V])


def _times_real(left: ComplexArray, right: Array) -> ComplexArray:
    """Complex times real as two real products: half the work."""
    out = np.empty((len(left), right.shape[1]), dtype=complex)
    out.real = left.real @ right
    out.imag = left.imag @ right
    return out


def _body_blocks(live: Live, skins: list[Skin], shifts: Array, known: PairBlocks) -> tuple[Array, Array]:
    nh, k = 2 * int(live.start[-1]), int(live.potential_start[-1])
    V, K = np.empty((nh, nh)), np.empty((nh, k))
    for i, target in enumerate(skins):
        rows = slice(2 * live.start[i], 2 * live.start[i + 1])
        for j, source in enumerate(skins):
            key = (i, j, round(float(shifts[j] - shifts[i]) * 1e12))
            if key not in known:
                known[key] = blocks(target.collocation, source, itself=i == j)
            V[rows, 2 * live.start[j] : 2 * live.start[j + 1]] = known[key][0]
            K[rows, live.potential_start[j] : live.potential_start[j + 1]] = known[key][1]
    return V, K
