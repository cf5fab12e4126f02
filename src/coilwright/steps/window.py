"""How far each thing may be out, what yield to expect, and how anyone would notice."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from coilwright.beside import begun
from coilwright.heating.hazards import drawn_facts
from coilwright.job import Job
from coilwright.safety.cautions import Caution, cautions
from coilwright.window.askew import side_heat
from coilwright.window.effort import Effort
from coilwright.window.limits import joint_share, tolerances
from coilwright.window.observe import Observer, Sight
from coilwright.window.result import WindowResult, findings_of, sampling_of
from coilwright.window.study import ON_TIME, Study
from coilwright.window.yields import (
    SETTING,
    blame,
    centre,
    forecast,
    middle_station,
    scrap_under,
    settled,
    two_quantities,
    variance_shares,
)  # fmt: skip

# Share of the variance from which on a quantity's limits are looked for beyond its usual range.
_MATTERS = 0.02


def window(
    job: Job,
    *,
    shots: int = 100_000,
    effort: Effort | None = None,
    maps: tuple[tuple[str, str], ...] = (),
    map_size: int = 60,
    station: int | None = None,
    observe: bool = True,
    report: Callable[[float], None] | None = None,
) -> WindowResult:
    """Full shots over everything that varies, stand-ins fitted and checked, `shots` virtual shots of all stations.

    `effort` sets full runs, processes and the seed; `maps` names pairs of quantities ("setting" and "drive.on_time" may
    stand in them too) and defaults to heat against time and the two that matter most; faults are looked at in `station`
    (from 1, default one in the middle). Raises BadInput (with the offending draw when one cannot be built), NotConverged.
    """
    effort = effort or Effort(workers=min(2, os.cpu_count() or 1))
    told = report or (lambda share: None)
    study = Study.of(job, effort, lambda share: told(0.7 * share))
    found = None
    if effort.reshoot:  # the middle is then looked for with all that was learnt
        found = settled(study, forecast(study, shots), effort.reshoot, lambda share: told(0.7 + 0.1 * share))
    with begun(lambda: centre(study), effort.workers) as found_middle:
        found = found or forecast(study, shots)
        told(0.8)
        variance = variance_shares(study)
        pairs = maps or _pairs(study, variance.total)
        regions = tuple(two_quantities(study, a, b, map_size) for a, b in pairs)
        nominal = study.judge(study.nominal())
        stations = replace(study.model.solve(), start_times=tuple(float(t) for t in nominal.start[0]))
        limits = tolerances(study, [n for n, share in variance.total.items() if share > _MATTERS])
        middle = found_middle()
    told(0.9)
    at = middle_station(study) + 1 if station is None else station
    starts = found.judged.start
    scatter = float(starts.std() / starts.mean()) if np.isfinite(starts).all() else 0.03
    sights: tuple[Sight, ...] = ()
    if observe:
        sights = Observer(
            study.model, study.runner, scatter=min(max(scatter, 0.005), 0.1), workers=effort.workers
        ).look(at)
    if observe:
        sights = tuple(_with_scrap(study, s) for s in sights)
    told(1.0)
    return WindowResult(
        job.title,
        study,
        stations,
        found,
        blame(study, found),
        variance,
        limits,
        joint_share(study),
        regions,
        middle,
        sights,
        sampling_of(found),
        _cautions(job, study, stations.voltage),
        tuple(findings_of(study, stations, found, variance, middle, sights)),
    )


def _with_scrap(study: Study, sight: Sight) -> Sight:
    """With the scrap it makes, for faults that act through the power alone (a wrong part is another matter)."""
    if sight.fault.kind == "part":
        return sight
    heat = None
    state = sight.fault.stations.get(sight.fault.station)
    if state is not None and (state.sideways or state.tilt or state.across):
        cell = study.model.cell(state)
        heat = side_heat(cell.part, study.sides, state.pose(cell.ring[1]))
    scrap = scrap_under(study, sight.fault.station, sight.power_change, sight.others_change, heat=heat)
    return replace(sight, scrap=scrap)


def _pairs(study: Study, shares: Mapping[str, float]) -> tuple[tuple[str, str], ...]:
    """Heat against time, and the two quantities that move the margin most."""
    out = [(ON_TIME, SETTING)] if study.timed_on else []
    most = sorted(shares, key=lambda name: -shares[name])[:2]
    if len(most) == 2:
        out.append((most[0], most[1]))
    return tuple(out)


def _cautions(job: Job, study: Study, volts: float) -> tuple[Caution, ...]:
    drawn = drawn_facts(job, study.model.cells.scene.materials.values(), study.model.frequency)
    asked = max((a.reaches for a in job.accept if a.reaches is not None), default=None)
    return tuple(cautions(replace(drawn, coil_voltage=volts, hottest_part=asked)))
