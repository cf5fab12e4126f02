"""One full shot of one draw, and how far it is from each limit of the acceptance.

Margins are made so that they are smooth across the limit and change sign where the verdict changes. Where a charge fires,
temperatures jump, so the margin is a time: ln of the deadline over the time it took; a shot that is too late is followed
on with the heat still on until it gets there, so that "how late" has an answer. Elsewhere times run away when a part
comes to rest below its limit, so the margin is the temperature at the deadline, as a share of the way from the start to
the limit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heat.stepper import Stepper, ThermalState
from coilwright.heating.criteria import Criterion, crossing, longest_above
from coilwright.heating.drive import Answer, Drive
from coilwright.heating.march import Steps, march
from coilwright.heating.model import ROUGHLY_SETTLED, SETTLED, ShotModel, shot_model
from coilwright.heating.programme import Programme, Stage
from coilwright.heating.record import readers_of, trace_of
from coilwright.heating.result import Trace
from coilwright.heating.setup import criteria_of, programme_of
from coilwright.job import Job
from coilwright.job.schema_fixture import Control
from coilwright.section.overlap import check_geometry
from coilwright.section.quad9 import Array
from coilwright.section.scene import Scene, scene
from coilwright.section.sizes import Level
from coilwright.window.circuit import strength
from coilwright.window.quantities import VariedQuantity
from coilwright.window.source import FixtureSource, SourceDrift

# Temperatures that end a part or the thing beside it; a draw beyond one is "too much" even where no acceptance says so.
_GRAVE = ("melting", "softening", "strain", "decomposition", "ignition", "boiling")
_LONGER = 2.5  # a late shot is followed up to this many times its deadline or on-time
# Stand-ins are fitted to margins, so what counts is that neighbouring shots are stepped alike: with 0.08 of a charge burnt in a
# step, or a quarter of the rays between surfaces, up to five times as many verdicts stay in doubt (benchmarks/window_yield.py).
STEPS = Steps(tolerance=2.0, burnt=0.04)
# Where no verdict is settled by another run: against steps of 0.5 K and 0.02 burnt, times of a getter ring are 0.1 % late, with
# 0.05 % of scatter from shot to shot, in 0.6 of the time (own runs).
LONG_STEPS = Steps(tolerance=4.0, first=0.06, burnt=0.2)
_SAME_FREQUENCY = 1e-4


@dataclass(frozen=True)
class CommonDrift:
    """The source as one station sees it when all parts heat alike: the `current` (A) at the cold impedance `cold` (ohm),
    then what the control makes of the impedance as it drifts."""

    current: float
    frequency: float
    control: Control
    cold: complex

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        share = {"current": level, "voltage": level, "power": math.sqrt(level), "coil voltage": level}[self.control]
        now = float(strength(np.asarray(impedance), self.control))
        before = float(strength(np.asarray(self.cold), self.control))
        return Answer(self.current * share * now / before, self.frequency)


@dataclass(frozen=True)
class Limit:
    """One thing that decides: an acceptance, or the grave limit of a material (`guard`).

    `timed`: the margin is a time and does not depend on the on-time except through the deadline. `moment`: it is the
    temperature at the deadline. `too_much`: it fails for too much heat, not for too little.
    """

    name: str
    timed: bool
    too_much: bool
    guard: bool
    criterion: Criterion | None
    body: str
    limit: float
    moment: bool = False

    def deadline(self, on_time: Array | float) -> Array:
        """Time (s) by which it must happen when the heat is on for `on_time` (s): what is to be held until then must be
        reached so much earlier (a body under constant heat does not cool)."""
        within = None if self.criterion is None else self.criterion.within
        if self.criterion is not None and self.criterion.kind == "holds":
            lasting = self.criterion.lasting or 0.0
            return np.asarray(np.maximum(np.asarray(on_time, dtype=float) - lasting, 1e-3))
        return np.asarray(np.minimum(np.asarray(on_time, dtype=float), math.inf if within is None else within))


@dataclass(frozen=True, eq=False)
class Outcome:
    """`raw`: per limit the time (s) it took, or the margin. `loaded`, `empty` (ohm) and `power` (W/A^2) as in a Cell.
    `cold_current` (A): what the job's own source drives at first, where one decides.
    `looked`: mean temperature (K) of the first work body at the moment `Runner.look`, nan when none was set."""

    raw: Array
    margins: Array
    start: float
    loaded: complex
    empty: complex
    power: float
    verdict: bool
    looked: float = math.nan
    cold_current: float = math.nan


def limits_of(job: Job) -> tuple[Limit, ...]:
    """What decides about a shot of this job: its acceptance in order, then the grave limits of its materials."""
    out = []
    for c in criteria_of(job):
        word = {"reaches": "reaches", "charge_fired": "charge fired", "stays_below": "stays below", "holds": "holds"}
        figure = f"{100 * c.limit:g} %" if c.kind == "charge_fired" else f"{c.limit - 273.15:.0f} degC"
        name = f"{c.body}: {word[c.kind]} {figure}"
        jumps = job.body(c.body).charge is not None
        dated = c.kind == "reaches" or (c.kind == "holds" and not job.drive.step)
        timed = c.kind == "charge_fired" or (dated and jumps)
        out.append(Limit(name, timed, c.kind == "stays_below", False, c, c.body, c.limit, dated and not jumps))
    materials = scene(job, checked=False).materials
    for body, material in materials.items():
        # what is asked to melt may melt
        asked = max(
            (c.limit for c in criteria_of(job) if c.body == body and c.kind in ("reaches", "holds")), default=0.0
        )
        # and what an acceptance keeps colder needs no guard
        kept = min(
            (c.limit for c in criteria_of(job) if c.body == body and c.kind == "stays_below" and c.at == "hottest"),
            default=math.inf,
        )
        grave = [x for x in material.limits if x.kind in _GRAVE and asked < x.temperature < kept]
        if grave:
            first = min(grave, key=lambda x: x.temperature)
            name = f"{body}: {first.kind} limit {first.temperature - 273.15:.0f} degC"
            out.append(Limit(name, False, True, True, None, body, first.temperature))
    if not any(not x.guard for x in out):
        what = "is missing; without an acceptance no shot can be called good or bad: add an [[accept]] table"
        raise BadInput(Fault(f"{job.name}: accept", what))
    return tuple(out)


class Runner:
    """Full shots of one station of a job under drawn values. Cheap to send to another process."""

    def __init__(
        self,
        job: Job,
        varied: tuple[VariedQuantity, ...],
        control: Control,
        current: float,
        frequency: float,
        level: Level = "coarse",
        source: FixtureSource | None = None,
        steps: Steps = STEPS,
    ) -> None:
        self.source, self.steps = source, steps
        self.job, self.varied = job, {q.what: q for q in varied}
        self.control, self.current, self.frequency, self.level = control, current, frequency, level
        self.limits = limits_of(job)
        self.look: float | None = None

    def job_with(self, values: Mapping[str, float]) -> Job:
        """The job with drawn values (SI by key) in place."""
        texts = {k: self.varied[k].text(v) if k in self.varied else f"{v!r} s" for k, v in values.items()}
        return self.job.with_values(texts) if texts else self.job

    def drawn(self, values: Mapping[str, float]) -> Scene:
        """The job of a draw with its shapes. Raises BadInput naming the draw when it cannot be."""
        try:
            drawn = scene(self.job_with(values), checked=False)
            check_geometry(drawn.section)
        except BadInput as error:
            told = ", ".join(f"{k} = {self.varied[k].shown(v)}" for k, v in values.items() if k in self.varied)
            faults = [
                Fault("varies", f"the draw with {told} cannot be built: {f}; narrow the width") for f in error.faults
            ]
            raise BadInput(faults) from None
        return drawn

    def model(self, values: Mapping[str, float]) -> ShotModel:
        """Meshes of a draw. Raises BadInput naming the draw when it cannot be."""
        drawn = self.drawn(values)
        rough = self.steps == LONG_STEPS
        settled = replace(SETTLED, heat=ROUGHLY_SETTLED.heat) if rough else SETTLED
        return shot_model(drawn, self.frequency_of(drawn.job), self.level, settled=settled)

    def frequency_of(self, job: Job) -> float:
        return self.frequency if self.source is not None else job.drive.frequency or self.frequency

    def run(self, values: Mapping[str, float], level: float = 1.0) -> Outcome:
        """The shot with job values drawn (SI) and the heating current at `level` times the nominal one when cold."""
        model = self.model(values)
        job, stepper = model.scene.job, model.stepper
        begin = stepper.start(dict(model.start_temperatures))
        f = self.frequency_of(job)
        cold = model.field.solve(0.0, stepper.at_gauss(begin), level * self.current, f)
        drive, at_first = self._drive(model, begin, cold.impedance, level)
        programme = programme_of(job)
        course = march(model.field, stepper, begin, drive, programme, self.steps)
        readers = readers_of(stepper, {p.name: (p.r, p.z) for p in model.scene.section.points})
        trace = trace_of(course, stepper, readers)
        end = programme.watched_until
        raw = self._raw(trace, end)
        late = [k for k, x in enumerate(self.limits) if x.timed and not math.isfinite(raw[k])]
        if late:
            self._follow(late, raw, model, course.state, drive, programme, trace)
        margins = self.margins(raw, end)
        work = [b.name for b in job.bodies if b.role == "work"]
        coil = model.field.base.coil
        empty = cold.impedance
        if coil is not None:
            empty = coil.voltage(coil.alone[:, 0], 1.0) + model.field.leads(f)
        power = sum(cold.bodies.get(n, 0.0) for n in work)
        good = bool(np.all(margins[[k for k, x in enumerate(self.limits) if not x.guard]] >= 0.0))
        looked = math.nan
        if self.look is not None and work:
            looked = float(np.interp(self.look, trace.time, trace.bodies[work[0]].mean))
        start = _start(self.limits, raw, trace)
        return Outcome(raw, margins, start, cold.impedance, empty, power, good, looked, at_first)

    def _drive(self, model: ShotModel, begin: ThermalState, cold: complex, level: float) -> tuple[Drive, float]:
        """The drive of a shot with this cold impedance (ohm), and what the job's own source drives at first (A), if any."""
        f = self.frequency_of(model.scene.job)
        if self.source is None:
            return CommonDrift(level * self.current, f, self.control, cold), math.nan
        source = replace(self.source, job=model.scene.job)
        found = source.answer(source.common(cold), f)
        if abs(found.frequency / f - 1.0) > _SAME_FREQUENCY:
            temperature = model.stepper.at_gauss(begin)
            cold = model.field.solve(0.0, temperature, level * self.current, found.frequency).impedance
            found = source.answer(source.common(cold), found.frequency)
        each = found.current / (source.stations if source.feed == "parallel" else 1)
        return SourceDrift(level * self.current, source, cold, found.frequency), each

    def margins(self, raw: Array, on_time: Array | float) -> Array:
        """(..., limits) margins from raw readings and the on-time (s)."""
        raw = np.asarray(raw, dtype=float)
        out = raw.copy()
        for k, x in enumerate(self.limits):
            if x.timed:
                out[..., k] = np.log(x.deadline(on_time) / raw[..., k])
        return out

    def _raw(self, trace: Trace, end: float) -> Array:
        return np.array([_reading(x, trace, end) for x in self.limits])

    def _follow(
        self,
        late: list[int],
        raw: Array,
        model: ShotModel,
        state: ThermalState,
        drive: Drive,
        programme: Programme,
        before: Trace,
    ) -> None:
        """Heat on until what was late has happened, or for good when it never will."""
        end = programme.watched_until
        level = programme.stages[-1].level or 1.0
        longest = _LONGER * max([end, *(float(self.limits[k].deadline(end)) for k in late)])
        going = Programme((Stage(0.0, longest, level),), longest)
        awaited = [self.limits[k] for k in late]
        course = march(
            model.field, model.stepper, state, drive, going, self.steps,
            enough=lambda s: all(_has_come(x, model.stepper, s) for x in awaited),
        )  # fmt: skip
        readers = readers_of(model.stepper, {p.name: (p.r, p.z) for p in model.scene.section.points})
        trace = trace_of(course, model.stepper, readers)
        for k in late:
            value = _reading(self.limits[k], trace, longest)
            raw[k] = value if math.isfinite(value) else longest * math.exp(_shortfall(self.limits[k], trace))


def _has_come(x: Limit, stepper: Stepper, state: ThermalState) -> bool:
    """Whether what a timed limit waits for is there in a state; of a named place nothing is said."""
    if x.criterion is None:
        return False
    if x.criterion.kind == "charge_fired":
        return stepper.burnt_means(state).get(x.body, 0.0) >= x.limit
    reached = stepper.region_extremes(state)[x.body]
    named = {"coldest": reached.coldest, "mean": reached.mean, "hottest": reached.hottest}
    return named.get(x.criterion.at, -math.inf) >= x.limit


def _course(x: Limit, trace: Trace) -> Array:
    body = trace.bodies[x.body]
    c = x.criterion
    if c is None:
        return body.maximum
    if c.kind == "charge_fired":
        if body.charge_fired is None:
            raise BadInput(
                Fault(f'accept: body "{c.body}"', "charge_fired needs a body with a charge; give the body one")
            )
        return body.charge_fired
    named = {"coldest": body.minimum, "mean": body.mean, "hottest": body.maximum}
    return named[c.at] if c.at in named else trace.points[c.at]


def _reading(x: Limit, trace: Trace, end: float) -> float:
    """Time (s) of a timed limit, inf when it is not met in the trace; else the margin."""
    values = _course(x, trace)
    if x.timed:
        when = crossing(trace.time, values, x.limit)
        return math.inf if when is None else max(when, 1e-3)
    span = max(x.limit - float(values[0]), 1.0)
    if x.moment:
        by = float(x.deadline(end))
        best = max(float(np.interp(by, trace.time, values)), float(values[trace.time <= by].max()))
        return (best - x.limit) / span
    if x.too_much:
        return (x.limit - float(values.max())) / span
    lasting = (x.criterion.lasting if x.criterion is not None else None) or 0.0
    longest = longest_above(trace.time, values, x.limit)
    if longest > 0.0:
        return (longest - lasting) / max(lasting, 0.1 * end)
    return -1.0 + min((float(values.max()) - x.limit) / span, 0.0)


def _shortfall(x: Limit, trace: Trace) -> float:
    """Share of the way still missing at the end, above 0."""
    values = _course(x, trace)
    return max((x.limit - float(values.max())) / max(abs(x.limit - float(values[0])), 1e-3), 0.0)


def _start(limits: tuple[Limit, ...], raw: Array, trace: Trace) -> float:
    """Moment (s) a person sees: the charge firing if there is one, else the first temperature reached; inf when it is not
    reached, nan when nothing is to be reached."""
    for kind in ("charge_fired", "reaches"):
        for k, x in enumerate(limits):
            if x.criterion is not None and x.criterion.kind == kind:
                if x.timed:
                    return float(raw[k])
                when = crossing(trace.time, _course(x, trace), x.limit)
                return math.inf if when is None else when
    return math.nan
