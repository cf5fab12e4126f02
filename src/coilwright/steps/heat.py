"""The shot of a job with its error estimate, and further shots on the same part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from coilwright.heating.march import Steps
from coilwright.heating.model import ShotModel, shot_model
from coilwright.heating.result import ShotError, ShotResult, Trace
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import rest, shoot
from coilwright.job import Job
from coilwright.section.scene import scene

NORMAL, FINE = Steps(tolerance=1.0), Steps(tolerance=0.5)


def heat(
    job: Job,
    *,
    every: float | None = None,
    after: ShotResult | None = None,
    pause: float = 60.0,
    watch: float = 0.0,
    fine: bool = False,
    estimate_error: bool = True,
    report: Callable[[float], None] | None = None,
) -> ShotResult:
    """Run the shot a job describes and judge it against its acceptance.

    `every` (s) sets the interval of the reported trace, `watch` (s) how long to look on after switch-off. `after` is an
    earlier shot of the same bodies and coil: the part rests for `pause` (s) and is shot again with what is left of its
    charge. With `estimate_error` a second run on coarser meshes and looser steps gives the error of the temperatures.
    Raises BadInput, NotConverged.
    """
    drive = drive_of(job)
    if after is not None:
        model = after.model.for_job(job)
    else:
        model = shot_model(scene(job), drive.frequency, "fine" if fine else "normal")
    state = None if after is None else rest(model, after.state, pause)
    share = 0.8 if estimate_error and after is None else 1.0
    steps = FINE if fine else NORMAL
    result = shoot(
        model, drive, state=state, every=every, watch_after=watch, steps=steps, report=_part(report, 0.0, share)
    )
    if not estimate_error or after is not None:
        return result
    rough_model = shot_model(model.scene, drive.frequency, "normal" if fine else "coarse")
    loose = Steps(2.0 * steps.tolerance)
    rough = shoot(rough_model, drive, every=every, watch_after=watch, steps=loose, report=_part(report, share, 1.0))
    return replace(result, error=_error(result, rough))


def _part(report: Callable[[float], None] | None, start: float, end: float) -> Callable[[float], None] | None:
    if report is None:
        return None
    return lambda share: report(start + share * (end - start))


def _error(fine: ShotResult, rough: ShotResult) -> ShotError:
    """Largest difference of the body temperatures, and of the instants at which anything was reached."""
    kelvin = _largest_difference(fine.trace, rough.trace)
    pairs = zip(fine.verdicts, rough.verdicts, strict=True)
    late = [
        abs(float(a.details[key]) - float(b.details[key]))  # type: ignore[arg-type]
        for a, b in pairs
        for key in ("reached_at_s", "start_at_s", "fired_at_s")
        if a.details.get(key) is not None and b.details.get(key) is not None
    ]
    return replace(fine.error, temperature_K=kelvin, time_s=max(late, default=None))


def _largest_difference(fine: Trace, rough: Trace) -> float:
    worst = 0.0
    for name, body in fine.bodies.items():
        other = rough.bodies[name]
        for mine, its in ((body.mean, other.mean), (body.minimum, other.minimum), (body.maximum, other.maximum)):
            worst = max(worst, float(np.max(np.abs(np.interp(fine.time, rough.time, its) - mine))))
    return worst


__all__ = ["ShotModel", "heat"]
