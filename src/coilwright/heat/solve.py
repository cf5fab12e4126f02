"""The heat balance marched through time on its own: cooling, tempering, a given power."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from coilwright.errors import BadInput, Fault, NotConverged
from coilwright.evidence import Finding
from coilwright.heat.charge import crossing
from coilwright.heat.inputs import ThermalModel
from coilwright.heat.result import Effort, EnergyBalance, HeatResult, extremes_row, temperature_findings
from coilwright.heat.stepper import Source, Stepper, StepTrial, ThermalState
from coilwright.section.quad9 import Array

SHORTEST = 1e-9  # of the duration
START_SHARE = 0.05  # burnt share that counts as the start of a charge


@dataclass(frozen=True)
class March:
    """How to step. `tolerance` K is the local error allowed per step; `first`, `longest` s; `burnt_limit` the largest
    change of the charge's burnt share in a step; `jumps` s are moments at which the source changes abruptly."""

    tolerance: float = 0.5
    first: float | None = None
    longest: float = math.inf
    burnt_limit: float = 0.04
    jumps: tuple[float, ...] = ()


def solve_heat(
    model: ThermalModel,
    source: Source | None,
    duration: float,
    start: float | dict[str, float] | Array | ThermalState,
    *,
    report: Sequence[float] | Array = (),
    points: Mapping[str, tuple[float, float]] | None = None,
    march: March | None = None,
    stepper: Stepper | None = None,
) -> HeatResult:
    """Temperatures for `duration` s from `start` (K: a number, by region, nodal; or a state).

    `source`(t) gives W/m^3 at the Gauss points (e, q), t counted from the beginning. `report` lists the times (s) to
    keep (empty: every step); between steps the cubic of the integrator is read. `points` are named (r, z) in m.
    Raises BadInput, and NotConverged when a step cannot be solved however short.
    """
    march = march or March()
    if not (math.isfinite(duration) and duration > 0.0 and march.tolerance > 0.0):
        raise BadInput(Fault("duration and tolerance", f"must be positive; received {duration} s, {march.tolerance} K"))
    wanted = np.unique(np.asarray(report, dtype=float))
    if wanted.size and (wanted[0] < 0.0 or wanted[-1] > duration * (1.0 + 1e-12)):
        raise BadInput(Fault("report", f"times must lie between 0 and {duration:g} s"))
    stepper = stepper or Stepper(model, min(1e-3, 2e-3 * march.tolerance))
    state = start if isinstance(start, ThermalState) else stepper.start(start)
    course = _Course(stepper, state, wanted)
    _march(stepper, state, source, duration, march, course)
    return course.result(points or {})


def _march(
    stepper: Stepper, state: ThermalState, source: Source | None, duration: float, march: March, course: _Course
) -> None:
    begin, shortest = state.time, SHORTEST * duration
    stops = sorted({begin + t for t in march.jumps if 0.0 < t < duration} | {begin + duration})
    first = march.first or min(1e-3 * duration, march.longest)
    shifted = None if source is None else (lambda t: source(t - begin))
    dt = first
    for stop in stops:
        state, dt = state.restarted(), min(dt, first)
        while state.time < stop - shortest:
            trial, dt = _accepted(stepper, state, shifted, dt, stop, march, shortest, course)
            course.take(trial)
            state = trial.state


def _accepted(
    stepper: Stepper,
    state: ThermalState,
    source: Source | None,
    dt: float,
    stop: float,
    march: March,
    shortest: float,
    course: _Course,
) -> tuple[StepTrial, float]:
    """Tries ever shorter steps until one will do; also the next step to try."""
    while True:
        left = stop - state.time
        pieces = max(1, math.ceil(left / min(dt, march.longest) * (1.0 - 1e-9)))
        dt = left / pieces if pieces < 3 else min(dt, march.longest)
        trial = stepper.step(state, dt, source)
        strain = trial.strain(march.tolerance, march.burnt_limit)
        if strain <= 2.0:
            return trial, dt * following(strain)
        course.rejected += 1
        if dt <= shortest:
            what = f"no heat step could be solved at t = {state.time:.6g} s"
            raise NotConverged(what, advice="Check the material curves.")
        dt *= 0.25 if math.isinf(strain) else float(max(0.25, 0.85 * strain ** (-1.0 / 3.0)))


def following(strain: float) -> float:
    """Factor for the next step after one with this strain (second-order method: cube root)."""
    return float(min(1.8, max(0.4, 0.85 * max(strain, 1e-6) ** (-1.0 / 3.0))))


@dataclass
class _Course:
    """Collects what happens along the way."""

    stepper: Stepper
    start: ThermalState
    wanted: Array
    rejected: int = 0
    steps: int = 0
    iterations: int = 0
    error: float = 0.0
    books: dict[str, float] = field(default_factory=lambda: {"source": 0.0, "charge": 0.0, "stored": 0.0, "unresolved": 0.0})
    losses: dict[str, float] = field(default_factory=dict)
    kept: list[tuple[float, Array, dict[str, float]]] = field(default_factory=list)
    starts: dict[str, float] = field(default_factory=dict)
    hottest: dict[str, float] = field(default_factory=dict)
    coldest: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.begin, self.state = self.start.time, self.start
        self._factorised = self.stepper.factorisations
        before = self.stepper.burnt_means(self.start)
        self.starts = {name: 0.0 for name, share in before.items() if share >= START_SHARE}
        self._see(self.start)
        if not self.wanted.size or self.wanted[0] == 0.0:
            self.kept.append((0.0, self.start.temperature, self.stepper.burnt_means(self.start)))

    def take(self, trial: StepTrial) -> None:
        self.steps += 1
        self.iterations += trial.iterations
        self.error += trial.error_kelvin
        self.books["source"] += trial.input
        self.books["charge"] += trial.charge_heat
        self.books["stored"] += trial.stored
        self.books["unresolved"] += trial.unresolved
        for kind, value in trial.losses.items():
            self.losses[kind] = self.losses.get(kind, 0.0) + value
        self._keep(trial)
        self._charge_starts(trial)
        self.state = trial.state
        self._see(trial.state)

    def _see(self, state: ThermalState) -> None:
        for name, e in self.stepper.region_extremes(state).items():
            self.hottest[name] = max(self.hottest.get(name, -math.inf), e.hottest)
            self.coldest[name] = min(self.coldest.get(name, math.inf), e.coldest)

    def _keep(self, trial: StepTrial) -> None:
        t0, t1 = self.state.time - self.begin, trial.state.time - self.begin
        if not self.wanted.size:
            self.kept.append((t1, trial.state.temperature, self.stepper.burnt_means(trial.state)))
            return
        slack = 1e-9 * t1
        before, after = self.stepper.burnt_means(self.state), self.stepper.burnt_means(trial.state)
        for time in self.wanted[(self.wanted > t0 + slack) & (self.wanted <= t1 + slack)]:
            x = min((time - t0) / (t1 - t0), 1.0)
            burnt = {name: before[name] + x * (after[name] - before[name]) for name in after}
            nodal = trial.state.temperature if x > 1.0 - 1e-9 else trial.span.at(time + self.begin)
            self.kept.append((float(time), nodal, burnt))

    def _charge_starts(self, trial: StepTrial) -> None:
        before, after = self.stepper.burnt_means(self.state), self.stepper.burnt_means(trial.state)
        for name in after:
            if name in self.starts or not before[name] < START_SHARE <= after[name]:
                continue
            times = (self.state.time - self.begin, trial.state.time - self.begin)
            kelvin = tuple(self.stepper.region_extremes(s)[name].mean for s in (self.state, trial.state))
            law, alive = self.stepper.charges.charge(name).law, 1.0 - self.stepper.spent_means(trial.state)[name]
            shares = (before[name], after[name])
            self.starts[name] = crossing(law, times, (kelvin[0], kelvin[1]), shares, START_SHARE, alive)

    def result(self, points: Mapping[str, tuple[float, float]]) -> HeatResult:
        stepper, model = self.stepper, self.stepper.model
        nodal = np.array([t for _, t, _ in self.kept])
        rows = [stepper.extremes(t) for t in nodal]
        regions = {name: np.array([extremes_row(row[name]) for row in rows]) for name in model.mesh.regions}
        read = stepper.at_points(np.array(list(points.values())), tuple(points)) if points else None
        values = np.array([read(t) for t in nodal]).T if read is not None else np.empty((0, len(nodal)))
        return HeatResult(
            model=model,
            time=np.array([t for t, _, _ in self.kept]),
            regions=regions,
            points=dict(zip(points, values, strict=True)),
            burnt={name: np.array([b[name] for _, _, b in self.kept]) for name in stepper.charges.names},
            charge_starts=self.starts,
            temperature=nodal,
            final=self.state,
            energy=EnergyBalance(
                self.books["source"], self.books["charge"], self.losses, self.books["stored"], self.books["unresolved"]
            ),
            error_kelvin=self.error,
            effort=Effort(
                len(self.start.temperature), self.steps, self.rejected, self.iterations,
                stepper.factorisations - self._factorised,
            ),
            findings=tuple(self._findings()),
        )  # fmt: skip

    def _findings(self) -> list[Finding]:
        found = temperature_findings(self.stepper.model, self.hottest, self.coldest)
        before, after = self.stepper.burnt_means(self.start), self.stepper.burnt_means(self.state)
        found += charge_findings(before, after)
        return found


def charge_findings(before: Mapping[str, float], after: Mapping[str, float]) -> list[Finding]:
    """What a shot did to its charges, from their mean burnt shares."""
    found = []
    for name, share in after.items():
        if before[name] > 0.01:
            text = f"was already {before[name]:.0%} burnt before this shot and ends at {share:.0%}"
            advice = "A partly fired charge does not complete as if new (common practice, no source): scrap it."
            found.append(Finding("charge-fired-before", "serious", name, text, advice))
        elif 0.01 < share < 0.95:
            text = f"is only partly fired: {share:.0%} burnt"
            found.append(Finding("charge-partly-fired", "serious", name, text, "Do not fire it again as if new."))
    return found
