"""Times and limits of a part against its power, from a handful of coupled shots at other currents.

Only what differs between currents is wanted, so the meshes are coarse and the steps long. Where nothing saturates one shot is
coupled in full, at the strongest current, so that it passes every temperature of the weaker ones; those take its loss per
square ampere at equal temperature (`heating.carried`) and march the heat alone. A part that saturates is coupled in full at
every current.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heat.stepper import ThermalState
from coilwright.heating.carried import CarriedField, Known
from coilwright.heating.criteria import Criterion, judge
from coilwright.heating.drive import FixedCurrent
from coilwright.heating.march import Steps, march
from coilwright.heating.model import ROUGHLY_SETTLED, ShotModel, shot_model
from coilwright.heating.record import Readers, readers_of, trace_of
from coilwright.heating.result import Trace, Verdict
from coilwright.heating.rough import rough_shot
from coilwright.heating.setup import criteria_of, drive_of, programme_of
from coilwright.heating.shot import shoot
from coilwright.heating.tank_source import has_source
from coilwright.job import Job
from coilwright.line.plant import Array, ShotCurve, line_through
from coilwright.section.scene import Scene, scene
from coilwright.units import ZERO_CELSIUS

_TOP = 1.3  # of the coil current: the shot that is coupled in full where nothing saturates
_LEVELS = (1.15, 1.0, 0.85)  # carried over from it, and one more: still weaker, or where it is just done in time
_LEAST = 0.72
_FEW = (0.87, 1.15)  # and the shot as it is, where every step is a field of saturating steel
_LONGER = 1.5  # of the shot at the healthy current, and as one over power: so that late starts are seen
# Against shots on normal meshes with steps of 1 K these move times by 1 % at most (tests/line/test_shots.py), where the least
# power is known to 6 %. Where every step is a field of saturating steel, steps twice as long add 0.5 % (own runs).
_TOLERANCE, _NEWTON, _BURNT = 4.0, 0.05, 0.12  # K, K, share of a charge in one step
_SATURATING = 2.0
_LONGEST = 1.0 / 15.0  # step over on-time
_AWAITED = ("reaches", "charge_fired")
_BEYOND = 0.3  # ln power by which a limit may lie beyond the strongest shot to be found on its last slope


Rough = tuple[Trace, Sequence[Verdict]]


@dataclass(frozen=True)
class _Row:
    """One current: ln power over that of the healthy current; (start, done) s and K over its limit by acceptance; what the
    part adds to the coil at the end of the on-time over what it adds cold."""

    ln_power: float
    events: list[tuple[float | None, float | None]]
    excess: list[float | None]
    warm: complex


def shot_curve(
    job: Job, drawn: Scene, cold: complex, added: complex, frequency: float, rough: Rough | None = None
) -> tuple[ShotCurve, float]:
    """Times and limits from shots at other currents, and the healthy coil current (A) at the start.

    `cold` is the loaded coil at the start (ohm), `added` what of it the work adds, both at `frequency` (Hz). `rough` is
    the rough shot of this job, where there is one already.
    """
    drive = drive_of(job)
    answer = drive.respond(1.0, cold, frequency)
    current = answer.current
    if current <= 0.0:
        raise BadInput(Fault(f"{job.name}: source", f"cannot run on this coil: {answer.limited_by}"))
    if has_source(job):
        frequency = answer.frequency
    model = shot_model(scene(job, checked=False), frequency, "coarse", settled=ROUGHLY_SETTLED)
    shots = _Shots(job, model, current, frequency, added)
    rows = [shots.as_it_is(rough), *(shots.coupled(level) for level in _FEW)] if shots.model.field.nonlinear else shots.carried()
    return _curve_of(job, sorted(rows, key=lambda row: row.ln_power), shots.on_time), current


class _Shots:
    """Shots of one job at shares of its healthy coil current."""

    def __init__(self, job: Job, model: ShotModel, current: float, frequency: float, added: complex) -> None:
        stepper = copy.copy(model.stepper)
        stepper.newton_kelvin = _NEWTON
        self.job, self.model = job, replace(model, stepper=stepper)
        self.current, self.frequency, self.added = current, frequency, added
        self.on_time = float(job.drive.shot_time or 0.0)
        looser = _SATURATING if model.field.nonlinear else 1.0
        self.steps = Steps(tolerance=looser * _TOLERANCE, longest=max(Steps.longest, _LONGEST * self.on_time))

    def coupled(self, level: float) -> _Row:
        return self._full(level)[0]

    def as_it_is(self, rough: Rough | None) -> _Row:
        """At the healthy current: the rough shot of the job where it holds its current and all that is waited for happens."""
        if isinstance(drive_of(self.job), FixedCurrent):
            if rough is None:
                shot = rough_shot(scene(self.job, checked=False))
                rough = shot.trace, shot.verdicts
            row = self._row(1.0, *rough)
            awaited = [done for (_, done), c in zip(row.events, criteria_of(self.job), strict=True) if c.kind in _AWAITED]
            if None not in awaited:
                return row
        return self.coupled(1.0)

    def carried(self) -> list[_Row]:
        """The strongest shot in full, the others from its losses."""
        top, known = self._full(_TOP)
        if known is None:
            return [top, *(self.coupled(level) for level in (*_LEVELS, _LEAST))]
        rows = [top, *(self._from(known, level) for level in _LEVELS)]
        return [*rows, self._from(known, _one_more(rows))]

    def _full(self, level: float) -> tuple[_Row, Known | None]:
        run, drive = self._at(level)
        result = shoot(run, drive, steps=replace(self.steps, burnt=_BURNT), enough=_all_seen(run, self.on_time))
        row = self._row(level, result.trace, result.verdicts)
        if run.field.nonlinear:
            return row, None
        known = Known.of(result)
        return row, known if len(known.kelvin) > 1 else None  # a part that stays cold has no losses to carry

    def _from(self, known: Known, level: float) -> _Row:
        run, drive = self._at(level)
        stepper, job = run.stepper, run.scene.job
        start = stepper.start(dict(run.start_temperatures))
        side = CarriedField(known, known.cold)
        enough = _all_seen(run, self.on_time)
        course = march(side, stepper, start, drive, programme_of(job), self.steps, corrected=False, enough=enough)
        trace = trace_of(course, stepper, _readers(run))
        return self._row(level, trace, judge(criteria_of(job), trace))

    def _at(self, level: float) -> tuple[ShotModel, FixedCurrent]:
        longer = _longer(self.job, self.on_time, level)
        return self.model.for_job(longer), FixedCurrent(level * self.current, self.frequency)

    def _row(self, level: float, trace: Trace, verdicts: Sequence[Verdict]) -> _Row:
        return _Row(
            2.0 * math.log(level), [_event(v.details) for v in verdicts],
            [_excess(v.details, trace, v.body, self.on_time) for v in verdicts],
            1.0 + _drift(trace, self.on_time, self.frequency) / self.added,
        )  # fmt: skip


def _readers(run: ShotModel) -> Readers:
    return readers_of(run.stepper, {p.name: (p.r, p.z) for p in run.scene.section.points})


def _all_seen(run: ShotModel, on_time: float) -> Callable[[ThermalState], bool]:
    """Whether the on-time (s) is over and everything that is waited for has happened: the rest of a longer shot tells nothing."""
    stepper, readers = run.stepper, _readers(run)
    awaited = [c for c in criteria_of(run.scene.job) if c.kind in _AWAITED]

    def value(state: ThermalState, c: Criterion) -> float:
        if c.kind == "charge_fired":
            return stepper.burnt_means(state).get(c.body, 0.0)
        if c.at in readers.names:
            return float(readers(state.temperature)[readers.names.index(c.at)])
        found = stepper.region_extremes(state)[c.body]
        return {"coldest": found.coldest, "mean": found.mean, "hottest": found.hottest}[c.at]

    return lambda state: state.time >= on_time and all(value(state, c) >= c.limit for c in awaited)


def _one_more(rows: Sequence[_Row]) -> float:
    """The level of a last shot: weaker than all, or half-way into the gap in which something is only just done in time."""
    ordered = sorted(rows, key=lambda row: row.ln_power)
    missed = [sum(done is None for _, done in row.events) for row in ordered]
    gap = next((k for k in range(len(ordered) - 1) if missed[k] > missed[-1] == missed[k + 1]), None)
    if gap is None:
        return _LEAST
    return math.exp(0.25 * (ordered[gap].ln_power + ordered[gap + 1].ln_power))


def _drift(trace: Any, on_time: float, frequency: float) -> complex:
    """By how much the coil's impedance (ohm) at the end of the on-time differs from that at its start."""
    r, x = (np.interp(on_time, trace.time, v) - v[0] for v in (trace.coil.resistance, trace.coil.inductance))
    return complex(r, 2.0 * math.pi * frequency * x)


def _longer(job: Job, on_time: float, level: float) -> Job:
    """The job with a shot long enough to see the events at another current; never shorter than its own."""
    if job.drive.step:
        return job
    stretch = min(max(_LONGER / level**2, 1.0), 2.0)
    return job.with_value("drive.on_time", f"{stretch * on_time:.6g} s")


def _event(details: Any) -> tuple[float | None, float | None]:
    """(start, done) of one acceptance, s."""
    done = details.get("reached_at_s", details.get("fired_at_s"))
    start = details.get("start_at_s", done)
    return (None if start is None else float(start)), (None if done is None else float(done))


def _excess(details: Any, trace: Any, body: str, on_time: float) -> float | None:
    """K by which a body that must stay below a limit is above it at the end of the true on-time."""
    limit = details.get("stays_below_degC")
    if limit is None:
        return None
    hottest = trace.bodies[body].maximum
    until = [*hottest[trace.time <= on_time], np.interp(on_time, trace.time, hottest)]
    return float(np.max(until)) - ZERO_CELSIUS - float(limit)


def _curve_of(job: Job, rows: Sequence[_Row], on_time: float) -> ShotCurve:
    """The curve through rows in order of rising power."""
    ln_power, warm = np.array([row.ln_power for row in rows]), np.array([row.warm for row in rows])
    late = []
    starts: Array | None = None
    hot = math.inf
    for k in range(len(rows[0].events)):
        done = _filled(ln_power, [row.events[k][1] for row in rows])
        if done is not None:
            within = getattr(job.accept[k], "within", None) if k < len(job.accept) else None
            late.append((np.log(done), math.log(within or on_time), within is None))
            begun = _filled(ln_power, [row.events[k][0] for row in rows])
            charged = any(row.events[k][0] != row.events[k][1] for row in rows)
            if starts is None or charged:
                starts = np.log(begun if begun is not None else done)
        hot = min(hot, _too_hot(ln_power, [row.excess[k] for row in rows]))
    if starts is None:
        starts = math.log(on_time) - ln_power  # nothing is watched for: times go as one over power
    return ShotCurve(ln_power, starts, tuple(late), hot, warm)


def _too_hot(ln_power: Array, over: Sequence[float | None]) -> float:
    """ln power at which a limit is passed; inf where the strongest shot stays well below it."""
    values = np.array([x for x in over if x is not None])
    if len(values) < len(over) or not np.all(np.diff(values) > 0.0):
        return math.inf
    at = float(line_through(values, ln_power, np.zeros(1))[0])
    return at if at <= ln_power[-1] + _BEYOND else math.inf


def _filled(ln_power: Array, times: list[float | None]) -> Array | None:
    """Times with the missing ones (never reached at low power) carried on along the last slope; None with fewer than two."""
    known = [k for k, t in enumerate(times) if t is not None and t > 0.0]
    if len(known) < 2:
        return None
    x, y = ln_power[known], np.log([float(times[k]) for k in known])  # type: ignore[arg-type]
    out = np.array([line_through(x, np.asarray(y), np.array([p]))[0] for p in ln_power])
    # times must fall with power for the inverse to exist
    return np.exp(np.minimum.accumulate(out - 1e-9 * np.arange(len(out))))
