"""The command about a trial: measured over predicted, fit, further trials, other settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from coilwright.cli.console import folder, guarded, print_json, progress, table
from coilwright.errors import BadInput, Fault
from coilwright.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from coilwright.evidence import Uncertain
    from coilwright.job import Job
    from coilwright.store.records import TrialRecord
    from coilwright.trials.calibrate import Interval
    from coilwright.trials.result import TrialResult

_SHOWN_PARTS = (
    "part power",
    "at switch-off",
    "at its hottest",
    "charge",
    "coil current",
    "coil power",
    "in hand",
    "reached",
)


@dataclass(frozen=True)
class Asked:
    """The options of `trial` as typed."""

    sheet: Path | None
    columns: Sequence[str]
    fit: Sequence[str]
    predict: Sequence[str]
    start: str | None
    error: str | None
    unit: str | None
    further: bool
    workers: int
    keep: bool
    store: str | None


def trial_command(
    job: Annotated[Path, typer.Argument(help="the job file", metavar="JOB", show_default=False)],
    trace: Annotated[Path, typer.Argument(help="temperatures against time (CSV)", metavar="TRACE", show_default=False)],
    sheet: Annotated[Path | None, typer.Option("--sheet", metavar="FILE", help="the trial sheet (TOML)")] = None,
    column: Annotated[
        list[str] | None, typer.Option("--column", metavar="NAME=PLACE", help="a column and its point or body")
    ] = None,
    fit: Annotated[
        list[str] | None,
        typer.Option("--fit", metavar="WHAT[=WIDTH]", help="power, emissivity, gap ... or a key; may be repeated"),
    ] = None,
    predict: Annotated[
        list[str] | None,
        typer.Option("--predict", metavar="KEY=VALUE", help='foretell another setting, e.g. "drive.on_time=6 s"'),
    ] = None,
    start: Annotated[str | None, typer.Option("--start", metavar="TIME", help="power on, in the trace's time")] = None,
    error: Annotated[str | None, typer.Option("--error", metavar="K", help="all readings together, at the top")] = None,
    unit: Annotated[str | None, typer.Option("--unit", help="of the trace, where it does not say")] = None,
    further: Annotated[bool, typer.Option("--further/--no-further", help="weigh further trials")] = True,
    workers: Annotated[int, typer.Option("--workers", min=1, max=256, help="processes for the full shots")] = 2,
    keep: Annotated[bool, typer.Option("--keep", help="put the trial into the store")] = False,
    store: Annotated[
        str | None, typer.Option("--store", metavar="PLACE", envvar="COILWRIGHT_STORE", help="which store")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print one JSON object on stdout and nothing else")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="write the fitted job and pictures here")
    ] = None,
) -> None:
    """Lay a measured trial over the prediction and fit what is uncertain."""
    asked = Asked(
        sheet,
        column or (),
        fit or (),
        predict or (),
        start,
        error,
        unit,
        further,
        workers,
        keep or store is not None,
        store,
    )
    guarded(as_json, lambda: trial(job, trace, as_json, out, asked))


def trial(path: Path, trace: Path, as_json: bool, out: Path | None, asked: Asked) -> int:
    from coilwright.job import load
    from coilwright.steps.trial import TrialEffort
    from coilwright.steps.trial import trial as lay_over
    from coilwright.trials.measured import TraceOptions

    job = load(path)
    target = folder(out)
    options = TraceOptions(
        _columns(asked.columns) or None,
        asked.unit,
        _quantity("--start", asked.start, "time"),
        _quantity("--error", asked.error, "temperature_difference"),
    )
    settings = [_changes(text) for text in asked.predict]
    effort = TrialEffort(asked.workers, asked.further)
    with progress("trial", as_json) as advance:
        result = lay_over(
            job,
            trace,
            sheet=asked.sheet,
            fit=asked.fit,
            predict=settings,
            options=options,
            effort=effort,
            report=advance,
        )
    written = _files(result, job.name, target)
    kept = _keep(job, result, asked) if asked.keep else None
    number = None if kept is None else kept.number
    if as_json:
        print_json({**result.to_dict(), "files": [str(p) for p in written], "kept_as": number})
    else:
        print(_text(result))
        if written:
            print("written: " + ", ".join(str(p) for p in written))
        if kept is not None:
            lost = kept.photo and not kept.photo_digest
            print(f"kept in the store as trial number {number}" + (f"; {kept.photo} was not found" if lost else ""))
    return 0


def _keep(job: Job, result: TrialResult, asked: Asked) -> TrialRecord:
    from coilwright.steps.trial_record import keep_trial
    from coilwright.store.opening import open_store

    with open_store(asked.store) as kept:
        return keep_trial(job, result, kept, sheet_folder=None if asked.sheet is None else asked.sheet.parent)


def _columns(texts: Sequence[str]) -> dict[str, str]:
    out = {}
    for text in texts:
        name, _, place = (t.strip() for t in text.partition("="))
        if not name or not place:
            what = f'must name a column and the place it stands for; received "{text[:60]}"; write e.g. "TC1=ring"'
            raise BadInput(Fault("--column", what))
        out[name] = place
    return out


def _changes(text: str) -> dict[str, Any]:
    """ "drive.on_time=6 s, coil.centre=17 mm" as changes of the job."""
    out: dict[str, Any] = {}
    for part in text.split(","):
        key, _, value = (t.strip() for t in part.partition("="))
        if not key or not value:
            what = f'must name keys of the job and their values; received "{text[:60]}"; write e.g. "drive.on_time=6 s"'
            raise BadInput(Fault("--predict", what))
        try:
            out[key] = float(value)
        except ValueError:
            out[key] = value
    return out


def _quantity(option: str, text: str | None, kind: str) -> float | None:
    from coilwright.units import UnitFault, parse

    if text is None:
        return None
    try:
        value = parse(text, kind)
    except UnitFault as fault:
        raise BadInput(Fault(option, str(fault))) from None
    if value < 0.0 or (value == 0.0 and option != "--start"):
        raise BadInput(Fault(option, f'must be above zero; received "{text}"'))
    return value


def _files(result: TrialResult, name: str, target: Path | None) -> list[Path]:
    if target is None:
        return []
    from coilwright.pack.trial_pictures import trial_pictures

    fitted = target / f"{Path(name).stem}-fitted.toml"
    fitted.write_text(result.job_text, encoding="utf-8")
    return [fitted, *trial_pictures(result, target)]


# what is printed ------------------------------------------------------------------------------------------------------


def _text(result: TrialResult) -> str:
    parts = [_head(result), _fitted(result), _power(result), _compared(result)]
    parts += [_prediction(p.title, p.figures, p.verdicts) for p in result.predictions]
    parts.append(_further(result))
    parts.append("\n".join(f"  {f}" for f in result.findings))
    parts.append("\n".join(["cautions", *(f"  {c}" for c in result.cautions)]))
    return "\n\n".join(p for p in parts if p)


def _head(result: TrialResult) -> str:
    lines = [f"{result.title}, trial {result.name}"]
    for c in result.laid:
        before, after = c.rms
        many = len(c.time) / result.fit.inflation.get(c.name, 1.0)
        lines.append(
            f"  {c.name} on {c.place}: measured and predicted differ by {before:.3g} K (rms), fitted {after:.3g} K; "
            f"{len(c.time)} samples count as {many:.0f}"
        )
    return "\n".join(lines)


def _fitted(result: TrialResult) -> str:
    rows = []
    for f in result.fitted:
        x = f.unknown
        told = "hardly" if f.told > 0.8 else "well" if f.told < 0.4 else "partly"
        rows.append(
            (
                x.name,
                x.key,
                x.shown(x.nominal),
                x.shown(f.after.value),
                x.shown(f.after.low),
                x.shown(f.after.high),
                told,
            )
        )
    lines = [table(rows, ("quantity", "key", "before", "fitted", "90 % from", "to", "told"))]
    for i, a in enumerate(result.fitted):
        for j in range(i):
            r = float(result.correlation[i, j])
            if abs(r) > 0.5:
                lines.append(f"  correlation of {result.fitted[j].unknown.name} and {a.unknown.name}: {r:+.2f}")
    lines.append(f"  {result.runs} full shots; their mesh is off by {result.error_K:.2g} K against the next finer one")
    return "\n".join(lines)


def _power(result: TrialResult) -> str:
    rows = [_figure(name, i) for name, i in result.figures.items() if name.startswith(("part power", "coil power"))]
    lines = [table(rows, ("what the trial came to", "value", "90 % from", "to"))]
    c = result.calorimetry
    if c.slope is not None:
        foretold = "" if c.foretold is None else f"; the fitted model says {c.foretold:.4g} W"
        lines.append(
            f"  from the slope between {c.slope.start:.3g} and {c.slope.stop:.3g} s: {_pm(c.slope.power)} W in the part, "
            f"{c.slope.loss:.3g} W of it lost on the way{foretold}"
        )
    told = (
        (c.water, "W", "the water takes", ""),
        (c.part_by_water, "W", "so the part gets", " (what the source gives less the water)"),
        (c.efficiency, "", "efficiency from R with and without the part:", ""),
        (c.part_by_resistance, "W", "power in the part from coil current and R:", ""),
    )
    lines += [f"  {head} {_pm(u)} {unit}{tail}".rstrip() for u, unit, head, tail in told if u is not None]
    return "\n".join(lines)


def _pm(u: Uncertain) -> str:
    return f"{u.value:.4g} +- {u.sigma:.2g}"


def _compared(result: TrialResult) -> str:
    rows = [(c.what, _pm(c.measured), f"{c.before:.5g}", f"{c.after:.5g}") for c in result.compared]
    return table(rows, ("reading or event (SI)", "measured", "predicted", "fitted")) if rows else ""


def _prediction(title: str, figures: Any, verdicts: Any) -> str:
    rows = [_figure(name, i) for name, i in figures.items() if any(part in name for part in _SHOWN_PARTS)]
    lines = [table(rows, (f"predicted with {title}", "value", "90 % from", "to"))]
    lines += [f"  {'ok ' if v.met else 'NO '} {v.said}" for v in verdicts]
    return "\n".join(lines)


def _figure(name: str, i: Interval) -> tuple[str, str, str, str]:
    label, _, unit = name.rpartition("_")
    difference = label.endswith("in hand")
    shift = ZERO_CELSIUS if unit == "K" and not difference else 0.0
    shown = "degC" if shift else unit
    scale = 1.0
    if unit == "" and "share" in label:
        shown, scale = "%", 100.0
    value, low, high = (f"{scale * v - shift:.4g} {shown}".strip() for v in (i.value, i.low, i.high))
    return label, value, low, high


def _further(result: TrialResult) -> str:
    names = [f.unknown.name for f in result.fitted]
    rows = [(f.what, f"{f.bits:.1f}", *(f"{100.0 * f.left[n]:.0f} %" for n in names)) for f in result.advice[:6]]
    head = ("which further trial would tell", "bits", *names)
    return table(rows, head) + "\n  per cent: what would be left of the interval after it" if rows else ""
