"""The shot of a job with its error estimate, and further shots on the same part."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from coilwright.heating.model import ShotModel, shot_model
from coilwright.heating.result import ShotError, ShotResult, Trace, Verdict
from coilwright.heating.rough import rough_shot, steps_of
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import rest, shoot
from coilwright.job import Job
from coilwright.section.scene import scene


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
    result = shoot(
        model, drive, state=state, every=every, watch_after=watch, steps=steps_of(model, fine),
        report=_part(report, 0.0, share),
    )  # fmt: skip
    if not estimate_error or after is not None:
        return result
    rough = rough_shot(model.scene, every=every, watch=watch, fine=fine, report=_part(report, share, 1.0))
    return with_error(result, rough.trace, rough.verdicts)


def with_error(result: ShotResult, trace: Trace, verdicts: Sequence[Verdict]) -> ShotResult:
    """The shot with the error of its temperatures and instants: how far those of a rough shot of the same job are off."""
    return replace(result, error=_error(result, trace, verdicts))


def _part(report: Callable[[float], None] | None, start: float, end: float) -> Callable[[float], None] | None:
    if report is None:
        return None
    return lambda share: report(start + share * (end - start))


def _error(fine: ShotResult, rough: Trace, judged: Sequence[Verdict]) -> ShotError:
    """Largest difference of the body temperatures, and of the instants at which anything was reached."""
    kelvin = _largest_difference(fine.trace, rough)
    pairs = zip(fine.verdicts, judged, strict=True)
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
