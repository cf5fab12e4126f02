"""Full shots of a job, cut down to what a trial can be compared with, one after the other or on several processes."""

from __future__ import annotations

import multiprocessing
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise, repeat

import numpy as np

from coilwright.errors import BadInput, Fault, workers_kept
from coilwright.heating.criteria import STARTED, crossing, judge
from coilwright.heating.march import Steps, march
from coilwright.heating.model import ShotModel, shot_model
from coilwright.heating.programme import Programme, Stage
from coilwright.heating.record import readers_of, trace_of
from coilwright.heating.result import Trace, Verdict
from coilwright.heating.setup import criteria_of, drive_of, programme_of
from coilwright.job import Job
from coilwright.section.quad9 import Array
from coilwright.section.scene import scene
from coilwright.section.sizes import Level

_SAMPLES = 500
_LOOSE = 1e6  # K: a tolerance that rejects nothing, for shots that follow the steps of another
_SAME = 1e-6  # s
_BURNING = 5e-3  # share burnt in a step from which on it is halved
_PATIENT = 1e9  # strains: the charge too burns in the steps of the other shot
_STEPS: Mapping[Level, Steps] = {"coarse": Steps(2.5), "normal": Steps(1.0), "fine": Steps(0.5)}
DONE = 0.95  # burnt share at which a charge counts as done


@dataclass(frozen=True, eq=False)
class Run:
    """One shot. `places`: K over `time` (s) by point, body or "body: hottest"; `burnt` by body; `coil` rms over time;
    `cold`: with and without the part at the start. `events`: s by (what, body), inf when it did not happen.
    `part_power` W over time of the work bodies; `scalars`: figures to foretell, by name with their SI unit.
    `steps`: the times (s) the integrator stepped to."""

    time: Array
    places: Mapping[str, Array]
    burnt: Mapping[str, Array]
    coil: Mapping[str, Array]
    cold: Mapping[str, float]
    events: Mapping[tuple[str, str], float]
    part_power: Array
    verdicts: tuple[Verdict, ...]
    scalars: Mapping[str, float]
    steps: tuple[float, ...]


def run(job: Job, end: float, level: Level = "coarse", schedule: Sequence[float] = ()) -> Run:
    """Shoot a job and watch until `end` (s) at least. Raises BadInput, NotConverged.

    With a `schedule` (the `steps` of another run) the shot takes the same time steps, so that the difference of the two
    is that of the jobs and not of the steps. Only for jobs that differ little: a charge must burn in the same steps.
    """
    drive = drive_of(job)
    model = shot_model(scene(job), drive.frequency, level)
    stepper, shot_time = model.stepper, job.drive.shot_time or 0.0
    until = max(end, shot_time)
    programme, steps = programme_of(job, until - shot_time), _STEPS[level]
    if len(schedule):
        programme, steps = (
            _scheduled(programme, schedule),
            replace(steps, tolerance=_LOOSE, reject=_PATIENT, longest=until),
        )
    course = march(model.field, stepper, stepper.start(dict(model.start_temperatures)), drive, programme, steps)
    readers = readers_of(stepper, {p.name: (p.r, p.z) for p in model.scene.section.points})
    verdicts = judge(criteria_of(job), trace_of(course, stepper, readers))
    shown = trace_of(course, stepper, readers, until / _SAMPLES)
    return _summary(shown, verdicts, model, tuple(m.time for m in course.moments))


def _scheduled(programme: Programme, schedule: Sequence[float]) -> Programme:
    """The same programme with a change of nothing at every time of the schedule: the march lands on each."""
    end = programme.watched_until
    times = sorted({0.0, end, *programme.changes, *(t for t in schedule if 0.0 < t < end)})
    kept = [t for n, t in enumerate(times) if n == 0 or t - times[n - 1] > _SAME]
    return Programme(tuple(Stage(a, b, programme.level(a)) for a, b in pairwise(kept)), end)


def _summary(trace: Trace, verdicts: tuple[Verdict, ...], model: ShotModel, steps: tuple[float, ...]) -> Run:
    job = model.scene.job
    places: dict[str, Array] = dict(trace.points)
    burnt, events = {}, {}
    for name, b in trace.bodies.items():
        places[name] = places[f"{name}: mean"] = b.mean
        places[f"{name}: hottest"], places[f"{name}: coldest"] = b.maximum, b.minimum
        if b.charge_fired is not None:
            burnt[name] = b.charge_fired
            for what, share in (("charge starts", STARTED), ("charge done", DONE)):
                when = crossing(trace.time, b.charge_fired, share)
                events[what, name] = np.inf if when is None else when
    work = [b.name for b in job.bodies if b.role == "work"]
    power = np.asarray(sum((trace.bodies[n].power for n in work if n in trace.bodies), np.zeros(len(trace.time))))
    coil = {
        "coil current": trace.coil.current,
        "coil voltage": trace.coil.voltage,
        "coil power": trace.coil.power,
        "frequency": trace.coil.frequency,
        "inductance with part": trace.coil.inductance,
        "resistance with part": trace.coil.resistance,
    }
    cold = _cold(model, coil)
    figures = _scalars(trace, verdicts, power, events, job)
    return Run(trace.time, places, burnt, coil, cold, events, power, verdicts, figures, steps)


def _cold(model: ShotModel, coil: Mapping[str, Array]) -> dict[str, float]:
    system = model.field.base.coil
    if system is None:
        return {}
    f = model.meshed.frequency
    empty = system.voltage(system.alone[:, 0], 1.0) + model.field.leads(f)
    out = {"resistance without part": empty.real, "inductance without part": empty.imag / (2.0 * np.pi * f)}
    out["inductance change"] = out["inductance without part"] - float(coil["inductance with part"][0])
    return out


def _scalars(
    trace: Trace, verdicts: tuple[Verdict, ...], power: Array, events: Mapping[tuple[str, str], float], job: Job
) -> dict[str, float]:
    """Figures a person asks about, keys ending in their SI unit."""
    off = job.drive.shot_time or float(trace.time[-1])
    heated = trace.time <= off
    out = {
        "part power at the start_W": float(power[0]),
        "part power, mean while heated_W": float(np.trapezoid(power[heated], trace.time[heated]) / max(off, 1e-9)),
        "coil current at the start_A": float(trace.coil.current[0]),
        "coil power at the start_W": float(trace.coil.power[0]),
    }
    for name, b in trace.bodies.items():
        if any(name == w.name and w.role == "work" for w in job.bodies):
            out[f"{name} at switch-off_K"] = float(np.interp(off, trace.time, b.mean))
            out[f"{name} at its hottest_K"] = float(b.maximum.max())
        if b.charge_fired is not None:
            out[f"{name}, share of the charge fired_"] = float(b.charge_fired[-1])
            when = events["charge starts", name]
            if np.isfinite(when):
                out[f"{name}, charge starts_s"] = when
    for v in verdicts:
        reached = v.details.get("reached_at_s")
        if isinstance(reached, float):
            out[f"{v.body} {v.asked}: reached_s"] = reached
        if v.margin_K is not None:
            out[f"{v.body} {v.asked}: in hand_K"] = v.margin_K
    return out


def run_all(
    jobs: Sequence[Job], end: float, workers: int = 1, level: Level = "coarse", schedule: Sequence[float] = ()
) -> list[Run]:
    """A Run for every job, in order, on so many processes."""
    if workers <= 1 or len(jobs) < 2:
        return [run(job, end, level, schedule) for job in jobs]
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    with workers_kept(), ProcessPoolExecutor(min(workers, len(jobs)), mp_context=context) as pool:
        return list(pool.map(run, jobs, repeat(end), repeat(level), repeat(schedule)))


def run_around(jobs: Sequence[Job], end: float, workers: int = 1, level: Level = "coarse") -> list[Run]:
    """Runs of like jobs with the time steps that the first of them asks for: differences are smooth."""
    return run_all(jobs, end, workers, level, schedule_of(run(jobs[0], end, level)))


def schedule_of(shot: Run) -> tuple[float, ...]:
    """The steps of a run, halved where a charge burns: a like job may need shorter ones there to converge."""
    out = list(shot.steps)
    for burnt in shot.burnt.values():
        at = np.interp(shot.steps, shot.time, burnt)
        for n in np.flatnonzero(np.diff(at) > _BURNING):
            a, b = shot.steps[n], shot.steps[n + 1]
            out.append(0.5 * (a + b))
    return tuple(sorted(set(out)))


def foretold(what: str, shot: Run, where: str = "", at: float = 0.0, limit: float | None = None) -> float:
    """What a run says about one event or reading (SI). Events that do not happen within it count as its end."""
    if what.startswith("charge"):
        return min(shot.events[what, where], float(shot.time[-1]))
    if what == "reaches" and limit is not None:
        when = crossing(shot.time, shot.places[where], limit)
        return float(shot.time[-1]) if when is None else when
    if what in shot.cold:
        return shot.cold[what]
    if what in shot.coil:
        return float(np.interp(at, shot.time, shot.coil[what]))
    raise BadInput(
        Fault(f'reading "{what}"', "is not foretold for a shot without a work coil; take it out of the sheet")
    )
