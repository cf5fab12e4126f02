"""Saturating bodies: Newton on real and imaginary parts together.

The first-harmonic reluctivity nu(|B|) is not complex-differentiable, so the complex system is split; the Jacobian adds
(d nu / d|B|) / |B| p p^T per Gauss point, p the gradient of |B|^2 / 2. Damped fixed points are not used: they stall
with a wrong power that looks converged.
"""

from __future__ import annotations

import math

import numpy as np

from coilwright.errors import NotConverged
from coilwright.field.laws import reluctivity_at
from coilwright.field.reduced import Drive, Reduced
from coilwright.field.skin import ComplexArray
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array

# A cold start solves once with the reluctivity the law has at this flux density (T peak): iron well into its knee.
_FIRST_GUESS = 1.5
_SMALLEST_STEP = 1.0 / 64.0


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
    """Field of a state whose reluctivity depends on the field; `tolerance` is on the relative change of A.

    `start` is the last state of the same mesh (warm start). Raises NotConverged with the history of changes.
    """
    sigma = 1.0 / resistivity
    rhs = reduced.right_hand_side(drive)
    if start is None:
        nu, _ = reluctivity_at(reduced.live, temperature, _FIRST_GUESS)
        start = reduced.solve(resistivity, nu, drive)
    x = _unknowns(reduced, start)
    newton = _Newton(reduced, sigma, temperature, rhs)
    residual, nu, slope = newton.residual(x)
    norm = float(np.linalg.norm(residual))
    smallest = 1e-12 * float(np.linalg.norm(rhs))
    history: list[float] = []
    for _ in range(most):
        step = newton.step(x, residual, nu, slope)
        share = 1.0
        while True:
            trial = x + share * step
            residual, nu, slope = newton.residual(trial)
            trial_norm = float(np.linalg.norm(residual))
            if trial_norm < (1.0 - 1e-4 * share) * norm or trial_norm <= smallest:
                break
            if share <= _SMALLEST_STEP:
                break
            share *= 0.5
        x, norm = trial, trial_norm
        history.append(share * float(np.linalg.norm(step) / np.linalg.norm(x)))
        if history[-1] < tolerance * share or norm <= smallest:
            return reduced.state(x, sigma, nu, drive)
    raise NotConverged(
        "the field in the saturating body did not settle", history, "Refine its mesh at the skin or lower the current"
    )


def _unknowns(reduced: Reduced, state: FieldState) -> ComplexArray:
    loops = [state.loop_voltages[reduced.live.bodies[b].name] for b in reduced.live.loops]
    return np.concatenate([state.potential[reduced.live.interior.free], np.array(loops, dtype=complex)])


class _Newton:
    """Residual and step of one nonlinear problem."""

    def __init__(self, reduced: Reduced, sigma: Array, temperature: Array, rhs: ComplexArray) -> None:
        self.reduced, self.sigma, self.temperature, self.rhs = reduced, sigma, temperature, rhs

    def flux(self, x: ComplexArray) -> ComplexArray:
        inside = self.reduced.live.interior
        nodal = np.zeros(len(inside.mesh.points), dtype=complex)
        nodal[inside.free] = x[: len(inside.free)]
        return inside.flux_density(nodal)

    def residual(self, x: ComplexArray) -> tuple[ComplexArray, Array, Array]:
        peak = math.sqrt(2.0) * np.sqrt(np.sum(np.abs(self.flux(x)) ** 2, axis=0))
        nu, slope = reluctivity_at(self.reduced.live, self.temperature, peak)
        data = self.reduced.material_data(self.sigma, nu)
        return self.reduced.live.pattern.times(data, x) - self.rhs, nu, slope

    def step(self, x: ComplexArray, residual: ComplexArray, nu: Array, slope: Array) -> ComplexArray:
        live = self.reduced.live
        pattern = live.newton_pattern
        linear = self.reduced.material_data(self.sigma, nu)
        values = np.zeros(len(live.pattern.slot), dtype=complex)
        values[live.first_entry] = linear
        data = pattern.add_up(np.concatenate([values.real, -values.imag, values.imag, values.real]))
        for place, block in enumerate(self._curvature(x, slope)):
            data += pattern.add_up(block, place * len(values))
        rhs = np.concatenate([residual.real, residual.imag])
        both = pattern.solve(pattern.factor(data), -rhs).real
        out: ComplexArray = both[: live.size] + 1j * both[live.size :]
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
