"""Saturating bodies: Newton with the complex half of the Jacobian, its steps mixed.

The first-harmonic reluctivity nu(|B|) is not complex-differentiable: with p = B . curl N its derivative is
nu' / |B| p Re(p* dA), half of it linear in dA and half in its conjugate. The matrix keeps the first half, nu' / 2|B| p p*, so
that it is complex and half as large as one of real and imaginary parts, which costs two and a half times as much. For want of
the other half an error shrinks at each step to k/(2 + k) of itself at worst, k = d ln nu / d ln B, where plain Newton would
square it; mixing by Anderson's method (D. G. Anderson, J. ACM 12 (1965) 547; from memory) makes up for that. Damped fixed
points are not used: they stall with a wrong power that looks converged. The factor is kept from step to step and from one
state to the next of a shot; it changes the way to the solution, never the solution, for the residual is always today's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from coilwright.errors import NotConverged
from coilwright.field.kernels import flux_density, jacobian_entries, stiffness_times
from coilwright.field.laws import Reluctivity, regions_of, reluctivity_at
from coilwright.field.reduced import Drive, Reduced
from coilwright.field.skin import ComplexArray, Sparse
from coilwright.field.space import Space
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array

# A cold start solves once with the reluctivity the law has at this flux density (T peak): iron well into its knee.
_FIRST_GUESS = 1.5
_SMALLEST_STEP = 1.0 / 64.0
# A factor of an earlier matrix serves on while it promises to be at the goal within so many steps (8 to 20 cost the same, own
# runs). A first step that leads to one longer than this share of it shows that the factor no longer fits.
_MOST_TO_GO, _ASTRAY, _MOST_CHORDS = 12.0, 0.9, 25
_DEPTH = 12  # steps remembered
_EVEN = 0.1  # K within a mirrored pair that make no difference to a field
_CHORD_GOAL = 0.1  # the share of the tolerance they may leave as error


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
    """Field of a state whose reluctivity depends on the field; steps go on until they leave a tenth of `tolerance`, a share
    of A, by their own rate.

    `start` is the last state of the same mesh (warm start). Raises NotConverged with the history of changes.
    """
    sigma = 1.0 / resistivity
    rhs = reduced.right_hand_side(drive)
    space = _space(reduced, resistivity, temperature, drive)
    factor = None if start is None else start.jacobian
    if factor is not None and factor.shape[0] != space.count:
        factor = None  # begun in the other space
    if start is None:
        nu, _ = reluctivity_at(reduced.live, temperature, _FIRST_GUESS)
        start = reduced.solve(resistivity, nu, drive, space)
    newton = _Newton(reduced, space, sigma, temperature, rhs)
    here = newton.at(space.restricted(_unknowns(reduced, start)))
    history: list[float] = []
    served = True  # while a front runs, the next state's matrix has changed as much: an earlier factor is not even tried then
    for _ in range(most):
        if factor is not None:
            here, settled = newton.chord(here, factor, _CHORD_GOAL * tolerance, history)
            if settled:
                return _finished(newton, here, sigma, drive, factor if served else None)
            served = served and bool(history)
        factor = newton.factor(here)
        step = newton.step(factor, here)
        here, share = newton.along(here, step, factor)
        history.append(share * _ratio(step, here.x))
        if history[-1] < _CHORD_GOAL * tolerance * share or here.norm <= newton.smallest:
            return _finished(newton, here, sigma, drive, factor if served else None)
    raise NotConverged(
        "the field in the saturating body did not settle", history, "Refine its mesh at the skin or lower the current"
    )


def _finished(newton: _Newton, here: _Place, sigma: Array, drive: Drive, factor: Sparse) -> FieldState:
    space = newton.space
    state = newton.reduced.state(here.x[space.number], sigma, space.everywhere(here.nu), drive)
    return replace(state, jacobian=factor)


def _space(reduced: Reduced, resistivity: Array, temperature: Array, drive: Drive) -> Space:
    """Law and loss hang on the temperature alone: what is as good as even is taken as even."""
    return reduced.space(drive, (temperature, _EVEN), (np.isfinite(resistivity).astype(float), 0.5))


def _shrinks(step: ComplexArray, following: ComplexArray) -> float:
    return float(np.linalg.norm(following) / max(float(np.linalg.norm(step)), 1e-300))


def _ratio(step: ComplexArray, x: ComplexArray) -> float:
    return float(np.linalg.norm(step) / np.linalg.norm(x))


def _unknowns(reduced: Reduced, state: FieldState) -> ComplexArray:
    loops = [state.loop_voltages[reduced.live.bodies[b].name] for b in reduced.live.loops]
    return np.concatenate([state.potential[reduced.live.interior.free], np.array(loops, dtype=complex)])


@dataclass(frozen=True, eq=False)
class _Place:
    """Unknowns of the space and what they entail: residual and its norm; at the Gauss points looked at reluctivity and its
    slope against peak |B|, that peak, and B."""

    x: ComplexArray
    residual: ComplexArray
    norm: float
    nu: Array
    slope: Array
    peak: Array
    b_r: ComplexArray
    b_z: ComplexArray


class _Lessons:
    """Anderson's mixing: the last steps taken and how the next step changed over each."""

    def __init__(self) -> None:
        self.taken: list[ComplexArray] = []
        self.changes: list[ComplexArray] = []

    def learn(self, taken: ComplexArray, change: ComplexArray) -> None:
        self.taken, self.changes = [*self.taken[1 - _DEPTH :], taken], [*self.changes[1 - _DEPTH :], change]

    def better(self, step: ComplexArray) -> ComplexArray:
        """`step` with the part that the changes can explain replaced by what led to them."""
        if not self.taken:
            return step
        changes = np.array(self.changes)
        real = changes.view(float)
        # normal equations: a few numbers where the steps are long, and what they lose is below the factor's single precision
        shares, *_ = np.linalg.lstsq(real @ real.T, real @ step.view(float), rcond=1e-13)
        out: ComplexArray = step - shares @ (np.array(self.taken) + changes)
        return out


def _to_go(size: float, goal: float, shrinks: float) -> float:
    """Steps still to come until they are shorter than `goal`."""
    if size <= goal:
        return 0.0
    return math.log(goal / size) / math.log(shrinks) if shrinks < 1.0 else math.inf


class _Newton:
    """Residual and steps of one nonlinear problem; a residual norm of `smallest` is rounding."""

    def __init__(self, reduced: Reduced, space: Space, sigma: Array, temperature: Array, rhs: ComplexArray) -> None:
        self.reduced, self.space = reduced, space
        even = temperature if space.mirror is None else space.mirror.mean(temperature)
        regions = [(law, np.flatnonzero(np.isin(space.pick, rows))) for law, rows in regions_of(reduced.live)]
        self.reluctivity = Reluctivity(regions, even[space.pick])
        self.rhs = space.gathered(rhs)
        self.smallest = 1e-12 * float(np.linalg.norm(self.rhs))
        # all that does not hang on the field
        self.constant = reduced.material_data(sigma, np.zeros_like(sigma), space)
        self.matrix = space.pattern.matrix(self.constant)

    def at(self, x: ComplexArray) -> _Place:
        space = self.space
        nodal = space.nodal(x)
        peak = np.empty(space.ring.shape)
        b_r, b_z = np.empty(peak.shape, dtype=complex), np.empty(peak.shape, dtype=complex)
        flux_density(nodal, space.quads, space.curl, space.d_z, b_r, b_z, peak)
        nu, slope = self.reluctivity(peak)
        magnetic = np.zeros_like(nodal)
        stiffness_times(b_r, b_z, nu, space.quads, space.curl, space.d_z, space.ring, magnetic)
        residual = space.pattern.product(self.matrix, x) - self.rhs + space.of_nodes(magnetic)
        return _Place(x, residual, float(np.linalg.norm(residual)), nu, slope, peak, b_r, b_z)

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
        """Steps with the factor of an earlier matrix, and whether x is within `goal` of the end.

        Each step is bettered by what the last ones have taught (`_Lessons`). The error left after it is read from the step
        that would follow, c times as long: about c / (1 - c) of it. Given up, at the best place met, as soon as they go
        astray or promise to cost more than a new factor.
        """
        step, best = self.step(factor, here), here
        lessons, sizes = _Lessons(), [float(np.linalg.norm(step))]
        for count in range(1, _MOST_CHORDS + 1):
            along = lessons.better(step)
            here = self.at(here.x + along)
            following = self.step(factor, here)
            lessons.learn(along, following - step)
            step = following
            sizes.append(float(np.linalg.norm(step)))
            shrinks = max(sizes[-1] / max(sizes[-2], 1e-300), (sizes[-1] / max(sizes[0], 1e-300)) ** (1.0 / count))
            if count == 1 and shrinks > _ASTRAY and here.norm > self.smallest:
                break
            history.append(_ratio(step, here.x))
            if here.norm <= self.smallest:
                return here, True
            if shrinks < 1.0 and history[-1] / (1.0 - shrinks) < goal:
                return replace(here, x=here.x + step), True  # the step is there, taking it costs nothing
            best = here if sizes[-1] == min(sizes) else best
            if count > 2 and _to_go(history[-1], goal, shrinks) > _MOST_TO_GO:
                break
        return best, False

    def factor(self, here: _Place) -> Sparse:
        """LU of the complex half of the Jacobian. Single precision will do for the way."""
        space, data = self.space, self.constant.copy()
        bent = np.where(here.peak > 1e-15, 2.0 * here.slope / np.maximum(here.peak, 1e-15), 0.0)
        jacobian_entries(
            here.b_r, here.b_z, here.nu, bent, space.curl, space.d_z, space.ring, space.element_slots, data
        )
        return space.pattern.single_factor(data)

    def step(self, factor: Sparse, here: _Place) -> ComplexArray:
        return self.space.pattern.single_solve(factor, -here.residual)
