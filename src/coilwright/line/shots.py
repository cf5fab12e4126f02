"""Times and limits of a part against its power, from a handful of full coupled shots at other currents."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.heating.drive import FixedCurrent
from coilwright.heating.march import Steps
from coilwright.heating.model import shot_model
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.heating.tank_source import has_source
from coilwright.job import Job
from coilwright.line.plant import Array, ShotCurve, line_through
from coilwright.section.scene import Scene, scene

_LEVELS = (0.72, 0.85, 1.0, 1.15, 1.45)  # of the coil current, for the shots
_FEW = (0.87, 1.0, 1.15)  # where every step is a field of saturating steel
_LONGER = 1.5  # of the shot at the healthy current, and as one over power: so that late starts are seen


def shot_curve(job: Job, drawn: Scene, cold: complex, added: complex, frequency: float) -> tuple[ShotCurve, float]:
    """Times and limits from full shots at other currents, and the healthy coil current (A) at the start.

    `cold` is the loaded coil at the start (ohm), `added` what of it the work adds, both at `frequency` (Hz).
    """
    drive = drive_of(job)
    answer = drive.respond(1.0, cold, frequency)
    current = answer.current
    if current <= 0.0:
        raise BadInput(Fault(f"{job.name}: source", f"cannot run on this coil: {answer.limited_by}"))
    on_time = float(job.drive.shot_time or 0.0)
    if has_source(job):
        frequency = answer.frequency
    model = shot_model(scene(job, checked=False), frequency, "coarse")
    levels, events, hottest, warm = [], [], [], []
    for level in _FEW if model.field.nonlinear else _LEVELS:
        run = model.for_job(_longer(job, on_time, level))
        result = shoot(run, FixedCurrent(level * current, frequency), steps=Steps(tolerance=2.0))
        levels.append(2.0 * math.log(level))
        events.append([_event(v.details) for v in result.verdicts])
        hottest.append([_excess(v.details, result.trace, v.body, on_time) for v in result.verdicts])
        warm.append(1.0 + _drift(result.trace, on_time, frequency) / added)
    return _curve_of(job, np.array(levels), events, hottest, on_time, np.array(warm)), current


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
    return float(np.max(hottest[trace.time <= on_time * 1.0001])) - 273.15 - float(limit)


def _curve_of(job: Job, ln_power: Array, events: list[list[tuple[float | None, float | None]]],
              hottest: list[list[float | None]], on_time: float, warm: NDArray[np.complex128]) -> ShotCurve:  # fmt: skip
    accepted = job.accept
    late = []
    starts: Array | None = None
    hot = math.inf
    for k in range(len(events[0])):
        done = _filled(ln_power, [e[k][1] for e in events])
        if done is not None:
            within = getattr(accepted[k], "within", None) if k < len(accepted) else None
            late.append((np.log(done), math.log(within or on_time), within is None))
            begun = _filled(ln_power, [e[k][0] for e in events])
            charged = any(e[k][0] != e[k][1] for e in events)
            if starts is None or charged:
                starts = np.log(begun if begun is not None else done)
        over = [h[k] for h in hottest]
        if all(x is not None for x in over):
            values = np.array([float(x) for x in over if x is not None])
            if values[-1] > 0.0 and np.all(np.diff(values) > 0):
                hot = min(hot, float(line_through(values, ln_power, np.zeros(1))[0]))
    if starts is None:
        starts = math.log(on_time) - ln_power  # nothing is watched for: times go as one over power
    return ShotCurve(ln_power, starts, tuple(late), hot, warm)


def _filled(ln_power: Array, times: list[float | None]) -> Array | None:
    """Times with the missing ones (never reached at low power) carried on along the last slope; None with fewer than two."""
    known = [k for k, t in enumerate(times) if t is not None and t > 0.0]
    if len(known) < 2:
        return None
    x, y = ln_power[known], np.log([float(times[k]) for k in known])  # type: ignore[arg-type]
    out = np.array([line_through(x, np.asarray(y), np.array([p]))[0] for p in ln_power])
    # times must fall with power for the inverse to exist
    return np.exp(np.minimum.accumulate(out - 1e-9 * np.arange(len(out))))
