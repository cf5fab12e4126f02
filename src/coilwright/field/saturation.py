"""Saturating bodies: Newton on real and imaginary parts together.

The first-harmonic reluctivity nu(|B|) is not complex-differentiable, so the complex system is split; the Jacobian adds
(d nu / d|B|) / |B| p p^T per Gauss point, p the gradient of |B|^2 / 2. Damped fixed points are not used: they stall
with a wrong power that looks converged. The factored Jacobian is kept from step to step and from one state to the next
of a shot; an earlier factor changes the way to the solution, never the solution, for the residual is always today's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from coilwright.errors import NotConverged
from coilwright.field.laws import reluctivity_at
from coilwright.field.reduced import Drive, Reduced
from coilwright.field.skin import ComplexArray, Sparse
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array

# A cold start solves once with the reluctivity the law has at this flux density (T peak): iron well into its knee.
_FIRST_GUESS = 1.5
_SMALLEST_STEP = 1.0 / 64.0
# A factor of an earlier Jacobian serves on while its steps shrink to this share or less: a factor costs about five steps.
# What shrinks less than to `_USELESS` is not taken.
_SLOW, _USELESS, _MOST_CHORDS = 0.5, 0.7, 8
_CHORD_GOAL = 0.25  # the share of the tolerance they may leave as error


def solve_saturating(
    reduced: Reduced,
    resistivity: Array,
    temperature: Array,
    drive: Drive,
    *,
    start: FieldState | None = None,
    tolerance: float = 1e-6,
    most: int = 60,
) -> FieldState:
    """Field of a state whose reluctivity depends on the field; `tolerance` is on the relative change of A in
    a full Newton step; steps with an earlier Jacobian go on until they leave a quarter of it by their own rate.

    `start` is the last state of the same mesh (warm start). Raises NotConverged with the history of changes.
    """
    sigma = 1.0 / resistivity
    rhs = reduced.right_hand_side(drive)
    factor = None if start is None else start.jacobian
    if start is None:
        nu, _ = reluctivity_at(reduced.live, temperature, _FIRST_GUESS)
        start = reduced.solve(resistivity, nu, drive)
    newton = _Newton(reduced, sigma, temperature, 1e-12 * float(np.linalg.norm(rhs)), rhs)
    here = newton.at(_unknowns(reduced, start))
    history: list[float] = []
    for _ in range(most):
        if factor is not None:
            here, settled = newton.chord(here, factor, _CHORD_GOAL * tolerance, history)
            if settled:
                return _finished(reduced, here, sigma, drive, factor)
        factor = newton.factor(here)
        step = newton.step(factor, here)
        here, share = newton.along(here, step, factor)
        history.append(share * _ratio(step, here.x))
        if history[-1] < tolerance * share or here.norm <= newton.smallest:
            return _finished(reduced, here, sigma, drive, factor)
    raise NotConverged(
        "the field in the saturating body did not settle", history, "Refine its mesh at the skin or lower the current"
    )


def _finished(reduced: Reduced, here: _Place, sigma: Array, drive: Drive, factor: Sparse) -> FieldState:
    return replace(reduced.state(here.x, sigma, here.nu, drive), jacobian=factor)


def _shrinks(step: ComplexArray, following: ComplexArray) -> float:
    return float(np.linalg.norm(following) / max(float(np.linalg.norm(step)), 1e-300))


def _ratio(step: ComplexArray, x: ComplexArray) -> float:
    return float(np.linalg.norm(step) / np.linalg.norm(x))


def _unknowns(reduced: Reduced, state: FieldState) -> ComplexArray:
    loops = [state.loop_voltages[reduced.live.bodies[b].name] for b in reduced.live.loops]
    return np.concatenate([state.potential[reduced.live.interior.free], np.array(loops, dtype=complex)])


@dataclass(frozen=True, eq=False)
class _Place:
    """Unknowns and what they entail: residual and its norm, reluctivity, its slope, entries of the linear matrix."""

    x: ComplexArray
    residual: ComplexArray
    norm: float
    nu: Array
    slope: Array
    data: ComplexArray


class _Newton:
    """Residual and steps of one nonlinear problem; a residual norm of `smallest` is rounding."""

    def __init__(self, reduced: Reduced, sigma: Array, temperature: Array, smallest: float, rhs: ComplexArray) -> None:
        self.reduced, self.temperature = reduced, temperature
        self.smallest, self.rhs = smallest, rhs
        self.constant = reduced.material_data(sigma, np.zeros_like(sigma))  # all that does not hang on the field

    def flux(self, x: ComplexArray) -> ComplexArray:
        inside = self.reduced.live.interior
        nodal = np.zeros(len(inside.mesh.points), dtype=complex)
        nodal[inside.free] = x[: len(inside.free)]
        return inside.flux_density(nodal)

    def at(self, x: ComplexArray) -> _Place:
        peak = math.sqrt(2.0) * np.sqrt(np.sum(np.abs(self.flux(x)) ** 2, axis=0))
        nu, slope = reluctivity_at(self.reduced.live, self.temperature, peak)
        live, data = self.reduced.live, self.constant.copy()
        stiffness = np.matmul(nu[:, None, :], live.interior.stiffness).ravel()
        data.real += live.pattern.add_up(stiffness[live.element_entries])
        residual = live.pattern.times(data, x) - self.rhs
        return _Place(x, residual, float(np.linalg.norm(residual)), nu, slope, data)

    def along(self, here: _Place, step: ComplexArray, factor: Sparse) -> tuple[_Place, float]:
        """The place a step leads to, halved until it is nearer the solution, and the share of the step taken.

        Nearer: the residual falls, or the step that would follow with the same factor is shorter. The residual alone
        would halve good steps, for in a saturating skin it weighs the smallest elements most.
        """
        share = 1.0
        while True:
            there = self.at(here.x + share * step)
            falls = there.norm < (1.0 - 1e-4 * share) * here.norm or there.norm <= self.smallest
            if falls or share <= _SMALLEST_STEP or _shrinks(step, self.step(factor, there)) < 1.0 - 0.5 * share:
                return there, share
            share *= 0.5

    def chord(self, here: _Place, factor: Sparse, goal: float, history: list[float]) -> tuple[_Place, bool]:
        """Steps with the factor of an earlier Jacobian while they shrink fast; whether x is within `goal` of the end.

        The error left after a step is read from the step that would follow, c times as long: about c / (1 - c) of it.
        """
        step = self.step(factor, here)
        for _ in range(_MOST_CHORDS):
            there = self.at(here.x + step)
            following = self.step(factor, there)
            shrinks = _shrinks(step, following)
            if shrinks > _USELESS and there.norm > self.smallest:
                return here, False
            here, step = there, following
            history.append(_ratio(step, here.x))
            if here.norm <= self.smallest:
                return here, True
            if shrinks <= _USELESS and history[-1] / (1.0 - shrinks) < goal:
                return replace(here, x=here.x + step), True  # the step is there, taking it costs nothing
            if shrinks > _SLOW:
                break
        return here, False

    def factor(self, here: _Place) -> Sparse:
        """LU of the Jacobian, real and imaginary parts as unknowns of their own."""
        live = self.reduced.live
        pattern = live.newton_pattern
        values = np.zeros(len(live.pattern.slot), dtype=complex)
        values[live.first_entry] = here.data
        data = pattern.add_up(np.concatenate([values.real, -values.imag, values.imag, values.real]))
        for place, block in enumerate(self._curvature(here.x, here.slope)):
            data += pattern.add_up(block, place * len(values))
        return pattern.factor(data)

    def step(self, factor: Sparse, here: _Place) -> ComplexArray:
        size = self.reduced.live.size
        rhs = np.concatenate([here.residual.real, here.residual.imag])
        both = self.reduced.live.newton_pattern.solve(factor, -rhs).real
        out: ComplexArray = both[:size] + 1j * both[size:]
        return out

    def _curvature(self, x: ComplexArray, slope: Array) -> list[Array]:
        """Element entries of the added term in the order (re,re), (re,im), (im,re), (im,im)."""
        live = self.reduced.live
        inside = live.interior
        b_r, b_z = self.flux(x)
        modulus = np.sqrt(np.abs(b_r) ** 2 + np.abs(b_z) ** 2)
        weight = np.where(modulus > 1e-15, math.sqrt(2.0) * slope / np.maximum(modulus, 1e-15), 0.0) * inside.ring
        d_z = inside.mesh.gauss.d_z
        gradient = [
            b_z.real[:, None] * inside.curl - b_r.real[:, None] * d_z,
            b_z.imag[:, None] * inside.curl - b_r.imag[:, None] * d_z,
        ]
        keep = live.element_entries
        return [
            np.matmul(left * weight[:, None], right.transpose(0, 2, 1)).ravel()[keep]
            for left in gradient
            for right in gradient
        ]
