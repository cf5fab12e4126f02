"""Full shots of a job, cut down to what a trial can be compared with, one after the other or on several processes."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heating.criteria import STARTED, crossing
from coilwright.heating.march import Steps
from coilwright.heating.model import ShotModel, shot_model
from coilwright.heating.result import ShotResult, Verdict
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.job import Job
from coilwright.section.quad9 import Array
from coilwright.section.scene import scene
from coilwright.section.sizes import Level

_SAMPLES = 500
_STEPS: Mapping[Level, Steps] = {"coarse": Steps(1.5), "normal": Steps(1.0), "fine": Steps(0.5)}
DONE = 0.95  # burnt share at which a charge counts as done


@dataclass(frozen=True, eq=False)
class Run:
    """One shot. `places`: K over `time` (s) by point, body or "body: hottest"; `burnt` by body; `coil` rms over time;
    `cold`: with and without the part at the start. `events`: s by (what, body), inf when it did not happen.
    `part_power` W over time of the work bodies; `scalars`: figures to foretell, by name with their SI unit."""

    time: Array
    places: Mapping[str, Array]
    burnt: Mapping[str, Array]
    coil: Mapping[str, Array]
    cold: Mapping[str, float]
    events: Mapping[tuple[str, str], float]
    part_power: Array
    verdicts: tuple[Verdict, ...]
    scalars: Mapping[str, float]


def run(job: Job, end: float, level: Level = "coarse") -> Run:
    """Shoot a job and watch until `end` (s) at least. Raises BadInput, NotConverged."""
    drive = drive_of(job)
    model = shot_model(scene(job), drive.frequency, level)
    shot_time = job.drive.shot_time or 0.0
    watch = max(end - shot_time, 0.0)
    shot = shoot(model, drive, every=max(end, shot_time) / _SAMPLES, watch_after=watch, steps=_STEPS[level])
    return _summary(shot, model)


def _summary(shot: ShotResult, model: ShotModel) -> Run:
    trace, job = shot.trace, model.scene.job
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
    return Run(trace.time, places, burnt, coil, cold, events, power, shot.verdicts, _scalars(shot, power, events, job))


def _cold(model: ShotModel, coil: Mapping[str, Array]) -> dict[str, float]:
    system = model.field.base.coil
    if system is None:
        return {}
    f = model.meshed.frequency
    empty = system.voltage(system.alone[:, 0], 1.0) + model.field.leads(f)
    out = {"resistance without part": empty.real, "inductance without part": empty.imag / (2.0 * np.pi * f)}
    out["inductance change"] = out["inductance without part"] - float(coil["inductance with part"][0])
    return out


def _scalars(shot: ShotResult, power: Array, events: Mapping[tuple[str, str], float], job: Job) -> dict[str, float]:
    """Figures a person asks about, keys ending in their SI unit."""
    trace, off = shot.trace, job.drive.shot_time or float(shot.trace.time[-1])
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
    for v in shot.verdicts:
        reached = v.details.get("reached_at_s")
        if isinstance(reached, float):
            out[f"{v.body} {v.asked}: reached_s"] = reached
        if v.margin_K is not None:
            out[f"{v.body} {v.asked}: in hand_K"] = v.margin_K
    return out


def run_all(
    jobs: Iterable[Job],
    end: float | Sequence[float],
    workers: int = 1,
    level: Level = "coarse",
    done: Callable[[int], None] | None = None,
) -> list[Run]:
    """A Run for every job, in order. An error in one ends all, naming nothing but its cause."""
    jobs = list(jobs)
    ends = [end] * len(jobs) if isinstance(end, int | float) else list(end)
    told = done or (lambda count: None)
    out: list[Run] = []
    if workers <= 1 or len(jobs) < 2:
        for job, until in zip(jobs, ends, strict=True):
            out.append(run(job, until, level))
            told(len(out))
        return out
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    with ProcessPoolExecutor(min(workers, len(jobs)), mp_context=multiprocessing.get_context(method)) as pool:
        for result in pool.map(run, jobs, ends, [level] * len(jobs)):
            out.append(result)
            told(len(out))
    return out


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
