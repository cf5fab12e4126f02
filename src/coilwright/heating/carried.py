"""A known shot carried over to a coil that stands elsewhere: an estimate while a hand drags it.

The field of the new place is solved once, cold. What heat does to the loss and to the impedance is taken from the known
shot, at equal temperature of the work. The heat itself is marched as ever. How far this is off is found by running the
full shot at the same place (`steps.live` does so whenever the hand rests).
"""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np

from coilwright.errors import NotConverged
from coilwright.field.solve import Field
from coilwright.heating.criteria import judge
from coilwright.heating.drive import Drive
from coilwright.heating.march import Loss, Moment, Steps, march
from coilwright.heating.model import FieldOfShot, ShotModel
from coilwright.heating.record import readers_of, trace_of
from coilwright.heating.result import ShotResult, Trace, Verdict
from coilwright.heating.setup import criteria_of, programme_of
from coilwright.heating.tank_source import TankSource
from coilwright.section.quad9 import Array

# Estimates are drawn, not reported: wide steps serve (2 K off on a getter ring, own runs).
ESTIMATE = Steps(tolerance=4.0, longest=2.0, burnt=0.12)
_NEWTON = 0.05  # K at which a stage of a step is settled
_LEAST = 1e-3  # loss below this share of its mean carries no ratio of its own
_MOST = 8.0  # nor does one that has changed by more than this factor


def moved_side(side: FieldOfShot, field: Field) -> FieldOfShot:
    """The field side of the same meshes with bodies or coil where `field` has them."""
    moved = copy.copy(side)
    moved.base, moved._at = field, {0: field}
    moved._past, moved._solved, moved._laws, moved._place = [], None, None, 0
    return moved


@dataclass(frozen=True, eq=False)
class Known:
    """A finished shot as a table over the loss-weighted temperature of the work: rising `kelvin` (n,), `densities`
    (n, e, q) W/m^3 per A^2, `impedances` (n,) ohm, `powers` W per A^2 by body (n,). `weight` (e, q) makes the mean.
    """

    model: ShotModel
    cold: Loss
    kelvin: Array
    densities: Array
    impedances: np.ndarray
    powers: dict[str, Array]
    weight: Array

    @classmethod
    def of(cls, shot: ShotResult) -> Known:
        """Raises NotConverged when the loss depends on the current too: such a shot cannot be carried."""
        model, moments = shot.model, shot.course.moments
        if model.field.nonlinear:
            raise NotConverged("a part that saturates has no loss per square ampere to carry over")
        ops, cold = model.stepper.operators, moments[0].loss
        weight = ops.weight * cold.density
        weight = weight / np.sum(weight)

        def mean(m: Moment) -> float:
            return float(np.sum(weight * ops.at_gauss(m.state.temperature)))

        kept, top = [], -np.inf
        for m in moments:
            if m.loss.time == m.time and mean(m) > top + 1.0:  # on the way up, and solved there
                kept.append(m)
                top = mean(m)
        losses = [m.loss for m in kept]
        powers = {name: np.array([loss.bodies.get(name, 0.0) for loss in losses]) for name in cold.bodies}
        return cls(
            model, cold, np.array([mean(m) for m in kept]), np.array([x.density for x in losses]),
            np.array([x.impedance for x in losses]), powers, weight,
        )  # fmt: skip


class CarriedField:
    """The field side of a carried shot; `now` is the cold loss at the new place (on the same mesh or any other)."""

    nonlinear = False

    def __init__(self, known: Known, now: Loss) -> None:
        self.known, self.now = known, now
        self.ratios = {n: now.bodies.get(n, 0.0) / p if p > 0.0 else 1.0 for n, p in known.cold.bodies.items()}
        total = sum(known.cold.bodies.values())
        self.whole = sum(now.bodies.values()) / total if total > 0.0 else 1.0
        self.scale = self._by_place() if now.density.shape == known.cold.density.shape else self._by_body()

    def solve(self, time: float, temperature: Array, current: float, frequency: float) -> Loss:
        known = self.known
        at = float(np.sum(known.weight * temperature))
        k = min(max(int(np.searchsorted(known.kelvin, at)), 1), len(known.kelvin) - 1)
        low, high = known.kelvin[k - 1], known.kelvin[k]
        share = min(max((at - low) / (high - low), 0.0), 1.0)
        density = (1.0 - share) * known.densities[k - 1] + share * known.densities[k]
        change = (1.0 - share) * known.impedances[k - 1] + share * known.impedances[k] - known.cold.impedance
        bodies = {n: float(np.interp(at, known.kelvin, p)) * self.ratios[n] for n, p in known.powers.items()}
        impedance = complex(self.now.impedance + self.whole * change)
        return Loss(time, density * self.scale, impedance, bodies, 0.0)

    def _by_place(self) -> Array:
        """Ratio of new to old cold loss, element by element; by body where there is hardly any."""
        old, bulk = self.known.cold.density, self._by_body()
        with np.errstate(divide="ignore", invalid="ignore"):
            local = self.now.density / old
        fits = (old > _LEAST * old.mean()) & (local > bulk / _MOST) & (local < bulk * _MOST)
        return np.where(fits, local, bulk)

    def _by_body(self) -> Array:
        ops = self.known.model.stepper.operators
        names = self.known.model.stepper.model.mesh.regions
        ratio = np.array([self.ratios.get(name, self.whole) for name in names])
        return np.broadcast_to(ratio[ops.kind][:, None], self.known.cold.density.shape)


def carry(known: Known, now: Loss, drive: Drive, model: ShotModel | None = None) -> tuple[Trace, tuple[Verdict, ...]]:
    """The trace and verdicts of the known shot with the cold loss `now` in its place.

    `model` is the known one with another job's drive and acceptance (see `ShotModel.for_job`). Raises NotConverged.
    """
    model = model or known.model
    if len(known.kelvin) < 2:
        raise NotConverged("the known shot did not heat, so that there is nothing to carry over")
    job, stepper = model.scene.job, copy.copy(model.stepper)
    stepper.newton_kelvin = _NEWTON
    start = stepper.start(dict(model.start_temperatures))
    course = march(CarriedField(known, now), stepper, start, drive, programme_of(job), ESTIMATE, corrected=False)
    readers = readers_of(stepper, {p.name: (p.r, p.z) for p in model.scene.section.points})
    tank = drive if isinstance(drive, TankSource) else None
    trace = trace_of(course, stepper, readers, tank=tank)
    return trace, judge(criteria_of(job), trace)
