"""A trial as a study: measured over predicted, fitted values, the corrected job file."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilwright.bench.shown import drawn, shown, table
from coilwright.bench.study_kinds import FITTED, Report
from coilwright.job import Job
from coilwright.pack.tables import Table
from coilwright.pack.trial_pictures import trial_pictures
from coilwright.steps.trial import TrialEffort, trial
from coilwright.trials.calibrate import Interval
from coilwright.trials.measured import TraceOptions
from coilwright.trials.result import NOTHING_LEARNT, TrialResult
from coilwright.units import ZERO_CELSIUS

_FITTED = ("quantity", "key", "before", "fitted", "90 % from", "to", "the trial told it")
_COMPARED = ("reading or event, SI", "measured", "one sigma", "predicted", "fitted")
_WELL = 0.4  # of the interval left: the trial told this quantity well
_STRONG = 0.5  # correlation worth a line


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Fit; pictures and the corrected job file go into the folder."""
    trace, sheet = job.folder / settings["trace"], settings.get("sheet")
    columns = dict(settings["columns"]) if settings.get("columns") else None
    result = trial(
        job,
        trace,
        sheet=job.folder / sheet if sheet else None,
        fit=settings.get("fit", ()),
        options=TraceOptions(columns, start=settings.get("start"), error=settings.get("error")),
        effort=TrialEffort(min(2, os.cpu_count() or 1), bool(settings.get("further"))),
        report=lambda share: report(0.95 * share, "full shots"),
    )
    (folder / FITTED).write_text(result.job_text, encoding="utf-8")
    worst = max(result.laid, key=lambda c: c.rms[0])
    return shown(
        f"{result.name}: off by {worst.rms[0]:.3g} K before the fit, {worst.rms[1]:.3g} K after",
        lines=_lines(result),
        tables=_tables(result),
        pictures=drawn(trial_pictures, result, folder),
        cautions=result.cautions,
        findings=[str(f).replace(f"{job.folder}{os.sep}", "") for f in result.findings],  # files by their names
        files=(folder / FITTED,),
    )


def _lines(result: TrialResult) -> Iterator[str]:
    for c in result.laid:
        many = len(c.time) / result.fit.inflation.get(c.name, 1.0)
        yield (
            f"{c.name} on {c.place}: {c.rms[0]:.3g} K apart (rms) as predicted, {c.rms[1]:.3g} K fitted; {len(c.time)} samples "
            f"count as {many:.0f}."
        )
    yield f"{result.runs} full shots; their mesh is off by {result.error_K:.2g} K against the next finer one."
    slope = result.calorimetry.slope
    if slope is not None:
        yield (
            f"The slope from {slope.start:.3g} to {slope.stop:.3g} s says {slope.power.value:.4g} ± {slope.power.sigma:.2g} W in "
            "the part."
        )


def _tables(result: TrialResult) -> Iterator[Table]:
    fitted = []
    for f in result.fitted:
        x, i = f.unknown, f.after
        told = "hardly" if f.told > NOTHING_LEARNT else "well" if f.told < _WELL else "partly"
        fitted.append((x.name, x.key, x.shown(x.nominal), x.shown(i.value), x.shown(i.low), x.shown(i.high), told))
    yield table("fitted", "Fitted values", _FITTED, fitted)
    names = [f.unknown.name for f in result.fitted]
    pairs = [
        (names[j], names[i], float(result.correlation[i, j]))
        for i in range(len(names))
        for j in range(i)
        if abs(result.correlation[i, j]) > _STRONG
    ]
    note = "Quantities that hang together so are hard to part with this trial alone."
    yield table("correlation", "What hangs together", ("quantity", "and", "correlation"), pairs, note)
    compared = [(c.what, c.measured.value, c.measured.sigma, c.before, c.after) for c in result.compared]
    yield table("compared", "Readings and events", _COMPARED, compared)
    came = [_figure(name, i) for name, i in result.figures.items()]
    yield table("figures", "What the trial came to", ("what", "value", "90 % from", "to", "unit"), came)
    head = ("further trial", "tells [bit]", *(f"left of {n} [%]" for n in names))
    advice = [(a.what, a.bits, *(100.0 * a.left[n] for n in names)) for a in result.advice]
    yield table("further", "Which further trial would tell more", head, advice)


def _figure(name: str, i: Interval) -> tuple[str, float, float, float, str]:
    label, _, unit = name.rpartition("_")
    absolute = unit == "K" and not label.endswith("in hand")
    shift = ZERO_CELSIUS if absolute else 0.0
    value, low, high = (v - shift for v in (i.value, i.low, i.high))
    return label, value, low, high, "°C" if absolute else unit
