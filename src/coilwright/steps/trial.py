"""A trial laid over the prediction: what it says about the uncertain quantities, and what that means for other settings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding, Uncertain
from coilwright.heat.bands import STEFAN_BOLTZMANN
from coilwright.heating.hazards import drawn_facts, stray_distances
from coilwright.heating.model import shot_model
from coilwright.heating.setup import drive_of
from coilwright.job import Job
from coilwright.job.edit import add_note, set_value
from coilwright.safety.cautions import Caution, cautions
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array
from coilwright.section.scene import scene
from coilwright.steps.field import field as cold_field
from coilwright.trials.advice import advice
from coilwright.trials.calibrate import (
    Effort,
    Interval,
    Sigmas,
    TrialModel,
    fitted_texts,
    interval_of,
    scalars_of,
    sigma_runs,
)  # fmt: skip
from coilwright.trials.calorimetry import (
    SlopePower,
    coupling_efficiency,
    reflected_power,
    slope_power,
    water_power,
)  # fmt: skip
from coilwright.trials.fit import MapFit
from coilwright.trials.measured import Channel, Measured, TraceOptions, measured, read_trace
from coilwright.trials.result import Calorimetry, Compared, Fitted, Laid, Prediction, TrialResult, findings_of
from coilwright.trials.runs import Run, foretold, run, run_around
from coilwright.trials.sheet import TrialSheet, blank_sheet, read_sheet
from coilwright.trials.unknowns import Unknown, unknowns

_SLOPE_SHARE = 0.6  # of the rise: above it losses and reactions spoil the slope


@dataclass(frozen=True)
class TrialEffort:
    """Processes for the full shots; whether further trials are weighed (two more batches of shots)."""

    workers: int = 1
    advise: bool = True


def trial(
    job: Job,
    trace: Path | str,
    *,
    sheet: TrialSheet | Path | str | None = None,
    fit: Sequence[str] = (),
    predict: Sequence[Mapping[str, Any]] = (),
    options: TraceOptions | None = None,
    effort: TrialEffort | None = None,
    report: Callable[[float], None] | None = None,
) -> TrialResult:
    """Lay a measured temperature trace over the job's prediction and fit what is uncertain.

    `sheet` is a trial sheet or its file; `fit` names quantities ("power", "emissivity", "gap" ... or keys of the job,
    each with "=width" of its prior, one sigma); `predict` lists settings to foretell; `options` say how the trace is to
    be read. The intervals are 90 % of a normal posterior. Raises BadInput, NotConverged.
    """
    told, effort, options = report or (lambda share: None), effort or TrialEffort(), options or TraceOptions()
    path = Path(trace)
    form = (
        sheet if isinstance(sheet, TrialSheet) else blank_sheet(path.stem) if sheet is None else read_sheet(Path(sheet))
    )
    as_run = _as_run(job, form)
    raw = read_trace(path, form, options)
    (nominal,) = run_around([as_run], float(raw.time[-1]))
    seen = measured(raw, as_run, form, list(nominal.places), options)
    model = TrialModel(as_run, unknowns(as_run, fit, any(_electrical(r.what) for r in form.reading)), seen,
                       Effort(effort.workers))  # fmt: skip
    model.remember(nominal)
    for changes in predict:  # a wrong key is said before the long computation
        job.with_values(changes)
    told(0.05)
    found = model.fit(lambda share: told(0.05 + 0.55 * share))
    told(0.6)
    at_fit = sigma_runs(model.changed, found, len(model.unknowns), seen.end, model.effort)
    told(0.7)
    error = _mesh_error(model, found, at_fit.middle)
    told(0.75)
    next_ones = advice(model, found) if effort.advise else ()
    told(0.9)
    predictions = tuple(_prediction(job, model, found, changes, error) for changes in predict)
    told(1.0)
    return _result(job, model, found, at_fit, nominal, error, next_ones, predictions)


def _as_run(job: Job, sheet: TrialSheet) -> Job:
    try:
        return job.with_values(sheet.changes) if sheet.changes else job
    except BadInput as error:
        raise BadInput([Fault(f"trial sheet: changes: {f.where}", f.what) for f in error.faults]) from None


def _electrical(what: str) -> bool:
    return what.startswith(("inductance", "resistance"))


def _mesh_error(model: TrialModel, found: MapFit, coarse: Run) -> float:
    """Largest difference (K) at the places measured between the mesh the fit ran on and the next finer one."""
    fine = run(model.changed(found.u[: len(model.unknowns)]), model.trial.end, "normal")
    worst = 0.0
    for c in model.trial.channels:
        here, there = (np.interp(c.time, r.time, r.places[c.place]) for r in (coarse, fine))
        # a charge that fires a moment later is no error of 200 K: the middle of the differences counts
        worst = max(worst, float(np.quantile(np.abs(here - there), 0.9)))
    return worst


def _prediction(job: Job, model: TrialModel, found: MapFit, changes: Mapping[str, Any], error: float) -> Prediction:
    set_otherwise = job.with_values(changes)
    end = max(set_otherwise.drive.shot_time or 0.0, model.trial.end)
    p = len(model.unknowns)

    def job_of(row: Array) -> Job:
        return set_otherwise.with_values(fitted_texts(set_otherwise, model.unknowns, row))

    runs = sigma_runs(job_of, found, p, end, model.effort)
    place = model.trial.channels[0].place
    mean, sigma, _ = runs.of(lambda r: np.interp(runs.middle.time, r.time, r.places[place]))
    figures = {name: _wider(name, i, error) for name, i in scalars_of(runs).items()}
    curve = runs.middle.time, mean, np.hypot(sigma, error)
    return Prediction(changes, figures, runs.middle.verdicts, curve)


def _wider(name: str, i: Interval, error: float) -> Interval:
    """Temperatures also carry what the mesh may be off."""
    if not name.endswith("_K"):
        return i
    sigma = float(np.hypot(i.sigma, error))
    reach = sigma / i.sigma if i.sigma > 0.0 else 1.0
    if i.sigma == 0.0:
        return Interval(i.value, sigma, i.value - 1.645 * sigma, i.value + 1.645 * sigma)
    return Interval(i.value, sigma, i.value - reach * (i.value - i.low), i.value + reach * (i.high - i.value))


def _result(
    job: Job, model: TrialModel, found: MapFit, at_fit: Sigmas, nominal: Run, error: float, next_ones: Any,
    predictions: tuple[Prediction, ...],
) -> TrialResult:  # fmt: skip
    p, seen = len(model.unknowns), model.trial
    fitted = tuple(
        Fitted(x, interval_of(x, float(u), float(s)), float(s))
        for x, u, s in zip(model.unknowns, found.u[:p], found.spread[:p], strict=True)
    )
    laid = tuple(_laid(model, found, at_fit, nominal, k) for k in range(len(seen.channels)))
    bends = [_bend(at_fit, c) for c in seen.channels]
    correlation = found.correlation[:p, :p]
    findings = [*seen.findings, *findings_of(fitted, correlation, max(bends), next_ones), *_fit_findings(model, found)]
    text = _with_notes(job, model, fitted, found)
    return TrialResult(
        job.title, seen, fitted, correlation, _nuisances(model, found), laid, _compared(model, nominal, at_fit.middle),
        scalars_of(at_fit), _calorimetry(model, found, at_fit.middle), predictions, tuple(next_ones), tuple(findings),
        _cautions(job, at_fit.middle), found,
        job.with_values(fitted_texts(job, model.unknowns, found.u, 5, sparing=True)), text, error, model.runs,
    )  # fmt: skip


def _cautions(job: Job, shot: Run) -> tuple[Caution, ...]:
    """Those of the job, with the currents and temperatures that the fitted shot came to."""
    field = cold_field(job, level="coarse", estimate_error=False).result
    frequency, current = float(shot.coil["frequency"][0]), float(shot.coil["coil current"].max())
    facts = replace(
        drawn_facts(job, scene(job).materials.values(), frequency),
        coil_voltage=float(shot.coil["coil voltage"].max()) if job.coil is not None else None,
        distances=tuple(stray_distances(field, current, frequency)),
        hottest_part=max(float(x.max()) for name, x in shot.places.items() if name.endswith(": hottest")),
    )
    return tuple(cautions(facts))


def _read(shot: Run, channel: Channel) -> Array:
    return np.interp(channel.time, shot.time, shot.places[channel.place])


def _bend(at_fit: Sigmas, channel: Channel) -> float:
    """How far a straight line misses the shot one sigma away, in sigmas (90 % of the channel are below it)."""
    _, sigma, bend = at_fit.of(lambda r: _read(r, channel))
    floor = np.maximum(sigma, 0.3 * float(sigma.max()) + 1e-3)  # where nothing varies, nothing bends
    return float(np.quantile(bend / floor, 0.9))


def _laid(model: TrialModel, found: MapFit, at_fit: Sigmas, nominal: Run, k: int) -> Laid:
    seen, c, p = model.trial, model.trial.channels[k], len(model.unknowns)
    late, off = seen.start.sigma * float(found.u[p]), seen.error * float(found.u[p + 1 + k])
    after = model.reading(at_fit.middle, c, c.time - late, off)
    before = model.reading(nominal, c, c.time, 0.0)
    sigma = at_fit.of(lambda r: model.reading(r, c, c.time - late, off))[1]
    return Laid(c.name, c.place, c.time, c.kelvin, before, after, sigma)


def _nuisances(model: TrialModel, found: MapFit) -> dict[str, Uncertain]:
    p, seen = len(model.unknowns), model.trial
    start = Uncertain(
        seen.start.value + seen.start.sigma * float(found.u[p]), seen.start.sigma * float(found.spread[p])
    )
    out = {f"{model.names[p]}_s": start}
    for name, u, s in zip(model.names[p + 1 :], found.u[p + 1 :], found.spread[p + 1 :], strict=True):
        out[f"{name}_K"] = Uncertain(seen.error * float(u), seen.error * float(s))
    return out


def _compared(model: TrialModel, nominal: Run, fitted: Run) -> tuple[Compared, ...]:
    out = []
    for d in model.trial.data:
        before, after = (foretold(d.what, r, d.where, d.at, d.limit) for r in (nominal, fitted))
        out.append(Compared(str(d), Uncertain(d.value, d.sigma), before, after))
    return tuple(out)


def _fit_findings(model: TrialModel, found: MapFit) -> Iterator[Finding]:
    for c in model.trial.channels:
        many = found.inflation[c.name]
        if many > 4.0:
            count = len(c.time) / many
            text = f"residuals hang together or exceed the noise: {len(c.time)} samples count as {max(count, 1.0):.0f}."
            yield Finding(
                "trial-residual-structured", "note", c.name, text, "The intervals allow for it; look at the residuals."
            )
    for d in model.trial.data:
        group = next(g for g in model.data[2] if g.name == str(d))
        off = float(found.residual[group.start] / found.sigma[group.start])
        if abs(off) > 3.0:
            text = f"measured {d.value:.4g}, off the fit by {abs(off):.1f} of its uncertainties."
            yield Finding(
                "trial-reading-off", "warning", str(d), text, "Check the reading, or fit what could explain it."
            )


def _with_notes(job: Job, model: TrialModel, fitted: tuple[Fitted, ...], found: MapFit) -> str:
    """The job file with the fitted values, each with the trial it comes from; comments and order stay."""
    text, sheet = job.text, model.trial.sheet.trial
    when = f", {sheet.date}" if sheet.date else ""
    written = fitted_texts(job, model.unknowns, found.u, 5, sparing=True)
    for f in (f for f in fitted if f.unknown.key in written):
        x, key, value = f.unknown, f.unknown.key, written[f.unknown.key]
        text = set_value(text, key, value)
        half = 100.0 * f.after.sigma / abs(f.after.value) if x.scale != "linear" and f.after.value else None
        width = f"+- {half:.2g} %" if half is not None else f"+- {_width(x, f.after.sigma)}"
        last = key.rsplit(".", 1)[-1]
        text = add_note(text, key, f"{last} fitted from trial {sheet.name}{when}: {width}, was {x.shown(x.nominal)}")
    return text


def _width(x: Unknown, sigma: float) -> str:
    plain = replace(x, kind="temperature_difference", written="K") if x.kind == "temperature" else x
    return plain.shown(sigma, 2)


# power by other roads -------------------------------------------------------------------------------------------------


def _calorimetry(model: TrialModel, found: MapFit, fitted: Run) -> Calorimetry:
    sheet, data = model.trial.sheet, {d.what: Uncertain(d.value, d.sigma) for d in model.trial.data}
    water = part_by_water = efficiency = by_resistance = None
    if sheet.water is not None:
        water = water_power(sheet.water.flow, sheet.water.rise, sheet.water.inlet)
        source = sheet.water.source_power
        if source is not None:
            part_by_water = Uncertain(source - water.value, float(np.hypot(water.sigma, 0.03 * source)))
    loaded, empty = data.get("resistance with part"), data.get("resistance without part")
    if loaded is not None and empty is not None:
        efficiency = coupling_efficiency(loaded, empty)
        if "coil current" in data:
            by_resistance = reflected_power(data["coil current"], loaded, empty)
    slope, mean = _slope(model, found, fitted)
    return Calorimetry(slope, mean, water, part_by_water, efficiency, by_resistance)


def _slope(model: TrialModel, found: MapFit, fitted: Run) -> tuple[SlopePower | None, float | None]:
    """Power by the rise of the first channel, and what the fitted model says for the same seconds."""
    channel = model.trial.channels[0]
    job = model.changed(found.u[: len(model.unknowns)])
    body = _body_of(channel, job)
    if body is None:
        return None, None
    heat, loss, evened = _part(job, body)
    shot = job.drive.shot_time or float(channel.time[-1])
    climbing = channel.time <= shot
    cold, top = float(channel.kelvin[0]), float(channel.kelvin[climbing].max())
    passed = np.flatnonzero(climbing & (channel.kelvin > cold + _SLOPE_SHARE * (top - cold)))
    stop = min(float(channel.time[passed[0]]) if len(passed) else shot, shot)
    start = max(evened, 2.0 * model.trial.start.sigma)
    try:
        found_slope = slope_power(channel.time, channel.kelvin, channel.noise, heat, loss, start, stop)
    except BadInput:
        return None, None
    inside = (fitted.time >= found_slope.start) & (fitted.time <= found_slope.stop)
    return found_slope, float(fitted.part_power[inside].mean()) if inside.any() else None


def _body_of(channel: Channel, job: Job) -> str | None:
    """The work body a channel sits on; a named point counts for the only one."""
    name = channel.place.split(": ")[0]
    work = [b.name for b in job.bodies if b.role == "work"]
    if name in work:
        return name
    points = [p.name for p in job.points]
    return work[0] if name in points and len(work) == 1 else None


def _part(job: Job, name: str) -> tuple[Callable[[Array], Array], Callable[[Array], Array], float]:
    """(heat content J, loss W, seconds until it has evened out) of one body as one lump."""
    drawn = scene(job)
    mesh = shot_model(drawn, drive_of(job).frequency, "coarse").stepper.model.mesh
    material, body, around = drawn.materials[name], job.body(name), job.surroundings
    own = Mesh(mesh.points, mesh.quads[mesh.elements(name)], mesh.region[mesh.elements(name)], mesh.regions)
    volume, area = own.volume(), own.surface_area()
    convection = around.convection if body.space == "air" else 0.0
    leak = 0.0 if body.support is None else body.support.conductance

    def heat(kelvin: Array) -> Array:
        return volume * material.volumetric_enthalpy(kelvin)

    def loss(kelvin: Array) -> Array:
        epsilon = material.emissivity(kelvin) if body.emissivity is None else body.emissivity
        radiated = epsilon * area * STEFAN_BOLTZMANN * (kelvin**4 - around.temperature**4)
        return np.asarray(radiated + (convection * area + leak) * (kelvin - around.temperature))

    middle = np.array([500.0])
    diffusivity = float(material.thermal_conductivity(middle)[0] / material.volumetric_heat(middle)[0])
    return heat, loss, (volume / area) ** 2 / diffusivity


__all__ = ["Measured", "TrialEffort", "TrialResult", "trial"]
