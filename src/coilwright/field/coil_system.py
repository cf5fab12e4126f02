"""The series coil by itself: one dense system for all turns, factorised once for any number of part positions.

Unknowns x = [h of every turn; voltage U of every turn] per ampere and per tesla of background field:
    W_i [Zh h + zU U] + mu0 V h = psi given,   -closed int h_i ds = weight_i I,   coil voltage = sum weight_i U_i.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import scipy.linalg as sl

from coilwright.field.exterior import MU0, blocks
from coilwright.field.inputs import CoilModel
from coilwright.field.skin import ComplexArray, Skin, joined
from coilwright.field.turn import CondensedTurn, condense
from coilwright.section.quad9 import Array

# Drives of the linear problem, in this order: coil current (per A), background field (per T).
N_DRIVES = 2


@dataclass(frozen=True, eq=False)
class CoilSystem:
    """`start[i]`:`start[i+1]` are the h unknowns of turn i; `alone` (nh + turns, 2) solves the empty coil."""

    turns: tuple[CondensedTurn, ...]
    shifts: Array
    weights: Array
    skin: Skin
    start: Array
    potential_start: Array
    factor: Any
    alone: ComplexArray

    @property
    def n_field(self) -> int:
        return self.skin.n_field

    @property
    def voltage_row(self) -> Array:
        """(nh + turns,): coil voltage from x."""
        return np.concatenate([np.zeros(self.n_field), self.weights])

    def solve(self, rhs: ComplexArray) -> ComplexArray:
        return np.asarray(sl.lu_solve(self.factor, rhs, check_finite=False), dtype=complex)

    def solve_transposed(self, rhs: ComplexArray) -> ComplexArray:
        """Solution of the transposed system, for a few readings of many right sides."""
        return np.asarray(sl.lu_solve(self.factor, rhs, trans=1, check_finite=False), dtype=complex)

    def split(self, x: ComplexArray) -> list[tuple[ComplexArray, complex]]:
        """(h, U) of every turn."""
        return [(x[self.start[i] : self.start[i + 1]], complex(x[self.n_field + i])) for i in range(len(self.turns))]

    def turn_powers(self, x: ComplexArray) -> Array:
        """Loss (W) in every turn as wound: a part turn is computed as a whole ring carrying its weight of the current,
        but really is an arc of that share carrying all of it, so its loss is the ring's over the weight."""
        rings = np.empty(len(self.turns))
        for kind, members in self.alike:
            h = np.column_stack([x[self.start[i] : self.start[i + 1]] for i in members])
            rings[members] = kind.losses(h, x[self.n_field + np.array(members)])
        return rings / self.weights

    @cached_property
    def alike(self) -> list[tuple[CondensedTurn, list[int]]]:
        """Each condensed turn with the numbers of those that share it."""
        kinds = {id(t): (t, [j for j, other in enumerate(self.turns) if other is t]) for t in self.turns}
        return list(kinds.values())

    @property
    def has_bundles(self) -> bool:
        """Whether turns are bundles of strands, whose loss is not that of the solved stand-in."""
        return any(t.bundle is not None for t in self.turns)

    def voltage(self, x: ComplexArray, current: complex, induced: float = 0.0) -> complex:
        """Terminal voltage (V) with the loss of the turns as wound; `induced` (W) is what the coil gives to the bodies.

        A bundle's stand-in resists thousands of times more than its strands: the real part is then not a difference of
        large numbers but the sum of the powers.
        """
        out = complex(self.voltage_row @ x)
        if not self.has_bundles or current == 0.0:
            return out + self.part_turn_voltage(x, current)
        real = (float(np.sum(self.turn_powers(x))) + induced) / abs(current) ** 2
        return complex(real, (out / current).imag) * current

    def part_turn_voltage(self, x: ComplexArray, current: complex) -> complex:
        """What the arcs of part turns add to the sum of ring voltages (V)."""
        if current == 0.0 or np.all(self.weights == 1.0):
            return 0j
        return complex(np.sum((1.0 - self.weights) * self.turn_powers(x)) / np.conj(current))

    def as_source(self, V: Array, K: Array) -> ComplexArray:
        """psi that the turns throw (with the sign of the left side) at n points, as rows over x: (n, nh + turns)."""
        out = np.zeros((len(V), self.n_field + len(self.turns)), dtype=complex)
        for i, turn in enumerate(self.turns):
            k = -K[:, self.potential_start[i] : self.potential_start[i + 1]]
            both = k @ turn.to_potential
            out[:, self.start[i] : self.start[i + 1]] = both[:, :-1]
            out[:, self.n_field + i] = both[:, -1]
        out[:, : self.n_field] += MU0 * V
        return out

    def boundary_potential(self, x: ComplexArray) -> ComplexArray:
        """A at the boundary nodes of all turns, in the order of `skin`."""
        return np.concatenate(
            [
                t.to_potential[:, :-1] @ h + t.to_potential[:, -1] * u
                for t, (h, u) in zip(self.turns, self.split(x), strict=True)
            ]
        )


def coil_system(coil: CoilModel, omega: float, known: dict[tuple[int, int, int], tuple[Array, Array]]) -> CoilSystem:
    """Condense each different turn once, share equal turn-to-turn blocks, factorise.

    `known` keeps the integrals between turn skins from one frequency to the next.
    """
    kinds: dict[tuple[object, ...], CondensedTurn] = {}
    turns = []
    for t in coil.turns:
        key = (id(t.mesh), t.resistivity, t.relative_permeability, t.bundle)
        if key not in kinds:
            kinds[key] = condense(t, omega)
        turns.append(kinds[key])
    shifts = np.array([t.shift for t in coil.turns])
    weights = np.array([t.weight for t in coil.turns])
    start = np.cumsum([0, *(t.interior.skin.n_field for t in turns)])
    matrix = _matrix(turns, shifts, start, known)
    skin = joined([t.interior.skin.moved(s) for t, s in zip(turns, shifts, strict=True)])
    factor = sl.lu_factor(matrix, check_finite=False)
    rhs = np.zeros((len(matrix), N_DRIVES), dtype=complex)
    rhs[start[-1] :, 0] = weights
    rhs[: start[-1], 1] = 0.5 * skin.collocation[:, 0] ** 2
    return CoilSystem(
        tuple(turns),
        shifts,
        weights,
        skin,
        start,
        np.cumsum([0, *(t.interior.skin.n_potential for t in turns)]),
        factor,
        sl.lu_solve(factor, rhs, check_finite=False),
    )


def _matrix(
    turns: list[CondensedTurn], shifts: Array, start: Array, known: dict[tuple[int, int, int], tuple[Array, Array]]
) -> ComplexArray:
    n_field, n = int(start[-1]), len(turns)
    matrix = np.zeros((n_field + n, n_field + n), dtype=complex)
    shared: dict[tuple[int, int, int], ComplexArray] = {}
    for i, target in enumerate(turns):
        rows = slice(start[i], start[i + 1])
        for j, source in enumerate(turns):
            step = shifts[j] - shifts[i]
            key = (id(target), id(source), round(step * 1e12))
            if key not in shared:
                shared[key] = _turn_block(target, source, float(step), known, itself=i == j)
            matrix[rows, start[j] : start[j + 1]] = shared[key][:, :-1]
            matrix[rows, n_field + j] = shared[key][:, -1]
        matrix[n_field + i, rows] = -target.interior.skin.circulation
    return matrix


def _turn_block(
    target: CondensedTurn,
    source: CondensedTurn,
    step: float,
    known: dict[tuple[int, int, int], tuple[Array, Array]],
    *,
    itself: bool,
) -> ComplexArray:
    own, other = target.interior.skin, source.interior.skin
    key = (id(target.mesh), id(source.mesh), round(step * 1e12))
    if key not in known:
        known[key] = blocks(own.collocation, other.moved(step), itself=itself)
    V, K = known[key]
    W = -K
    if itself:
        W = W + 0.5 * own.interpolation()
    out: ComplexArray = W @ source.to_potential
    out[:, :-1] += MU0 * V
    return out
