"""The coupled march: one field solve per time step, predicted, evaluated, corrected.

At each step the loss is extrapolated from the last two field solves, the heat advances with it, the field is solved at
the temperatures reached, and the heat advances again with the loss interpolated between the two solves. The difference
between predicted and solved loss, turned into kelvin, controls the step together with the integrator's own estimate.
A frozen loss, a fixed step through the Curie point or a bare "properties changed" rule all lose 1 to 80 K here
(own runs on a steel bar).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from coilwright.errors import NotConverged
from coilwright.heat.stepper import Source, Span, Stepper, StepTrial, ThermalState
from coilwright.heating.drive import Answer, Drive
from coilwright.heating.programme import SAME_TIME, Programme
from coilwright.section.quad9 import Array

_SAFETY, _SHRINK, _GROW = 0.85, 0.4, 1.8
# With q linear in time the corrector leaves about a third of the predictor's mismatch (own runs, bar through Curie).
_MISMATCH_SHARE = 1.0 / 3.0
# A trial that is corrected anyway is settled to this share of the tolerance only.
_PREDICTED = 0.02
_SAME_FREQUENCY = 1e-4
_SAME_CURRENT = 1e-3


@dataclass(frozen=True)
class Steps:
    """Step control: `tolerance` in K, times in s; a trial is repeated when its error exceeds `reject` tolerances.
    `burnt` is the share of a charge that may react in one step (own runs: 0.08 moves its start by less than 1 ms)."""

    tolerance: float = 2.0
    first: float = 0.015
    longest: float = 5.0
    shortest: float = 1e-6
    reject: float = 2.0
    most: int = 20_000
    burnt: float = 0.08


@dataclass(frozen=True, eq=False)
class Loss:
    """One field solve. `density` (e, q) W/m^3 per A^2 rms on the thermal mesh, `impedance` ohm at the coil's terminals
    (leads included), `bodies` W per A^2 by region, `balance` the solver's own power check, `square` A^2 that flowed.
    """

    time: float
    density: Array
    impedance: complex
    bodies: Mapping[str, float]
    balance: float
    square: float = 0.0

    @property
    def heat(self) -> Array:
        """W/m^3 as it was when solved."""
        return self.density * self.square


class FieldSide(Protocol):
    """Solves the field for temperatures (e, q) in K at the Gauss points of the thermal mesh."""

    @property
    def nonlinear(self) -> bool:
        """Whether the loss per A^2 depends on the current."""
        ...

    def solve(self, time: float, temperature: Array, current: float, frequency: float) -> Loss: ...


@dataclass(frozen=True, eq=False)
class Moment:
    """One accepted step as recorded; `span` interpolates the temperatures since the moment before (None at first)."""

    state: ThermalState
    loss: Loss
    answer: Answer
    span: Span | None = None

    @property
    def time(self) -> float:
        return self.state.time


@dataclass
class Account:
    """Running sums in J over the shot, and effort."""

    induced: float = 0.0
    charge: float = 0.0
    stored: float = 0.0
    lost: dict[str, float] = field(default_factory=dict)
    trapezoid: float = 0.0
    solves: int = 0
    rejected: int = 0
    balance: float = 0.0


@dataclass(frozen=True, eq=False)
class March:
    """The finished march, moments in order of time."""

    moments: tuple[Moment, ...]
    account: Account

    @property
    def state(self) -> ThermalState:
        return self.moments[-1].state


def march(
    field_side: FieldSide,
    stepper: Stepper,
    state: ThermalState,
    drive: Drive,
    programme: Programme,
    steps: Steps | None = None,
    report: Callable[[float], None] | None = None,
    *,
    corrected: bool = True,
    enough: Callable[[ThermalState], bool] | None = None,
) -> March:
    """Run the programme from `state`, or until `enough` of an accepted state. `report` is fed the share done, 0..1.

    `corrected` False leaves the correction out (half the heat steps): for a field side that is itself only an estimate.
    Raises NotConverged when the step would have to vanish, with the errors (in tolerances) that led there.
    """
    return _Marcher(field_side, stepper, drive, programme, steps or Steps(), corrected).run(state, report, enough)


class _Marcher:
    """The march while it runs: the last two field solves, the drive's last answer, the account."""

    def __init__(
        self,
        field_side: FieldSide,
        stepper: Stepper,
        drive: Drive,
        programme: Programme,
        steps: Steps,
        corrected: bool = True,
    ) -> None:
        self.field_side, self.stepper, self.drive = field_side, stepper, drive
        self.programme, self.steps, self.corrected = programme, steps, corrected
        self.account = Account()
        self.answer = drive.respond(0.0, 1.0 + 0j, drive.frequency)
        self.last: Loss | None = None
        self.before: Loss | None = None

    def run(
        self,
        state: ThermalState,
        report: Callable[[float], None] | None,
        enough: Callable[[ThermalState], bool] | None,
    ) -> March:
        level = self.programme.level(state.time)
        moments = [self._switch(state, level or 1.0, level)]  # a programme may begin with the drive off
        dt, end = self.steps.first, self.programme.watched_until
        while state.time < end - SAME_TIME:
            wanted = self.programme.level(state.time)
            if wanted != level:
                level = wanted
                state = state.restarted()
                moments.append(self._switch(state, level, level))
                dt = min(dt, self.steps.first)
            state, span, dt = self._advance(state, self._fit(state.time, dt), level)
            moments.append(Moment(state, self._loss, self.answer, span))
            if report is not None:
                report(state.time / end)
            if enough is not None and enough(state):
                break
            if len(moments) > self.steps.most:
                raise NotConverged(f"the shot needs more than {self.steps.most} steps")
        return March(tuple(moments), self.account)

    @property
    def _loss(self) -> Loss:
        if self.last is None:
            raise NotConverged("no field has been solved yet")
        return self.last

    def _switch(self, state: ThermalState, solve_at: float, level: float) -> Moment:
        """A new level: the history is worth nothing, the field is solved for it. Off: no current, nothing to solve."""
        self.before = None
        if solve_at > 0.0:
            self.last, self.answer = self._solve(state, solve_at)
        if level == 0.0:
            self.answer = Answer(0.0, self.answer.frequency)
        return Moment(state, self._loss, self.answer)

    def _fit(self, time: float, dt: float) -> float:
        """Land exactly on the next change, without a sliver before it."""
        left = min(t for t in self.programme.changes if t > time + SAME_TIME) - time
        dt = min(dt, self.steps.longest)
        if dt >= left * (1.0 - 1e-9):
            return left
        return 0.5 * left if dt > 0.5 * left else dt

    def _solve(self, state: ThermalState, level: float) -> tuple[Loss, Answer]:
        """Field at a state, repeated until the drive's frequency (and, with saturation, current) belongs to it."""
        temperature = self.stepper.at_gauss(state)
        answer = self.answer
        if answer.current == 0.0:
            answer = self.drive.respond(level, self.last.impedance if self.last else 1.0 + 0j, answer.frequency)
        for _ in range(12):
            loss = self.field_side.solve(state.time, temperature, answer.current, answer.frequency)
            self.account.solves += 1
            given, answer = answer, self.drive.respond(level, loss.impedance, answer.frequency)
            shifted = abs(answer.frequency / given.frequency - 1.0) > _SAME_FREQUENCY
            changed = abs(answer.current - given.current) > _SAME_CURRENT * answer.current
            if not shifted and not (self.field_side.nonlinear and changed):
                break
        self.account.balance = max(self.account.balance, abs(loss.balance))
        return replace(loss, square=answer.current**2), answer

    def _advance(self, state: ThermalState, dt: float, level: float) -> tuple[ThermalState, Span, float]:
        """One accepted step and the next dt."""
        errors = []
        while dt >= self.steps.shortest:
            if level > 0.0:
                trial, loss, answer, mismatch = self._coupled(state, dt, level)
            else:
                trial, loss, answer, mismatch = self.stepper.step(state, dt, None), self._loss, self.answer, 0.0
            error = max(trial.strain(self.steps.tolerance, self.steps.burnt), mismatch / self.steps.tolerance)
            errors.append(error)
            if trial.converged and error <= self.steps.reject:
                self._book(trial, loss, level)
                if level > 0.0:
                    self.before, self.last, self.answer = self.last, loss, answer
                return trial.state, trial.span, dt * _factor(error)
            self.account.rejected += 1
            dt *= _factor(error) if trial.converged and error < 1e6 else 0.25
        advice = "Look for a material curve with a jump, or shorten the programme"
        raise NotConverged(f"the time step vanished at {state.time:.4g} s", errors, advice)

    def _coupled(self, state: ThermalState, dt: float, level: float) -> tuple[StepTrial, Loss, Answer, float]:
        """Predict, solve the field, correct; and the predictor's mismatch in K."""
        predicted = self._prediction()
        settled = _PREDICTED * self.steps.tolerance if self.corrected else None
        trial = self.stepper.step(state, dt, predicted, settled=settled)
        if not trial.converged:
            return trial, self._loss, self.answer, 0.0
        loss, answer = self._solve(trial.state, level)
        if not self.corrected:
            return trial, loss, answer, 0.0
        corrected = self.stepper.step(state, dt, self._correction(loss), near=trial)
        moved = float(np.max(np.abs(corrected.state.temperature - trial.state.temperature)))
        return corrected, loss, answer, moved * _MISMATCH_SHARE

    def _prediction(self) -> Source:
        last, before = self._loss, self.before
        if before is None or before.time >= last.time:
            return lambda time: last.heat
        slope = (last.heat - before.heat) / (last.time - before.time)
        return lambda time: np.maximum(last.heat + (time - last.time) * slope, 0.0)

    def _correction(self, loss: Loss) -> Source:
        last = self._loss
        slope = (loss.heat - last.heat) / (loss.time - last.time)
        return lambda time: last.heat + (time - last.time) * slope

    def _book(self, trial: StepTrial, loss: Loss, level: float) -> None:
        account = self.account
        account.induced += trial.input
        account.charge += trial.charge_heat
        account.stored += trial.stored
        for kind, joule in trial.losses.items():
            account.lost[kind] = account.lost.get(kind, 0.0) + joule
        if level > 0.0:
            powers = [self.stepper.operators.total(x.density) * x.square for x in (self._loss, loss)]
            account.trapezoid += 0.5 * sum(powers) * (loss.time - self._loss.time)


def _factor(error: float) -> float:
    return float(min(_GROW, max(_SHRINK, _SAFETY * max(error, 1e-6) ** (-1.0 / 3.0))))
