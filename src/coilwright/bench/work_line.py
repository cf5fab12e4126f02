"""The line as studies: the log of a machine looked at, and the cause of a complaint."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from coilwright.bench.shown import drawn, shown, table
from coilwright.bench.study_kinds import Report
from coilwright.job import Job
from coilwright.line.form import form_unit
from coilwright.line.limits import Limit
from coilwright.line.machine import READINGS
from coilwright.line.record import Beside
from coilwright.line.watch import Watch
from coilwright.line.why import Answer, Ranked
from coilwright.pack.line_pictures import watch_pictures
from coilwright.pack.looks import both_forms
from coilwright.pack.tables import Table
from coilwright.steps.line import line_limits, line_record, line_rehearse, line_show, service_files, service_visit
from coilwright.steps.shot_log import line_add
from coilwright.units import factor

_LEAST = 0.005  # probability from which on a cause is listed
_NEXT = ("next reading", "tells [bit]", "takes [min]", "tells in a minute [bit]")


def look(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Charts and tests of one machine of the store."""
    found = line_show(str(settings["store"]), settings.get("machine") or None)
    report(0.5, "drawing")
    return shown(
        f"machine {found.machine}: {found.bad} bad of {found.tried}",
        lines=found.said,
        tables=(_stations(found), _aside(found)),
        pictures=drawn(watch_pictures, found, folder),
    )


def why(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Which cause explains the readings and tallies, and what to read next; the service report beside it."""
    file, store = settings.get("file"), settings.get("store")
    given: Any = job.folder / file if file else settings.get("tables") or None
    report(0.05, "computing the machine of this job")
    visit = service_visit(job, given, store or None, settings.get("machine") or None)
    report(0.85, "writing the report")
    with both_forms():
        written = service_files(visit, folder)
    answer = visit.answer
    first = answer.ranked[0]
    lines = [answer.said, *(f"Warning: {w}" for w in answer.warnings)]
    lines += [f"Speaks for it: {x}" for x in first.speaks_for] + [
        f"Speaks against it: {x}" for x in first.speaks_against
    ]
    if answer.told != "nothing":
        lines.append(f"Do: {first.remedy}")
        lines += [f"Look for: {first.look_for}"] if first.look_for else []
        lines.append(
            f"Scrap now about {100 * answer.scrap_now:.2g} %, after the correction about {100 * answer.scrap_after:.2g} %."
        )
    likely = f"{100 * first.probability:.0f} % {first.name}"
    return shown(
        likely if answer.told != "nothing" else "nothing can be told from these readings",
        lines=lines,
        tables=_causes(answer),
        pictures=[p for p in written if p.suffix in (".png", ".svg")],
        captions={"causes": "how likely each cause is, and what the next reading would tell"},
        cautions=answer.cautions,
        files=[p for p in written if p.suffix == ".pdf"],
    )


def rehearse(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """A practice case: its log, in a store too, its readings, and apart from them the answer."""
    report(0.05, "computing the machine of this job")
    found = line_rehearse(
        job, folder, seed=int(settings["seed"]), fault=settings.get("fault") or None, station=settings.get("station"),
        size=settings.get("size"),
    )  # fmt: skip
    report(0.8, "filling the log")
    added = line_add(folder / "log.csv", folder / "map.toml", str(folder / "shots.db"))
    return shown(
        f"a fault in {added.written} shots, seed {settings['seed']}",
        lines=(
            "Its log and its readings can be chosen above under its number: look at the log, find the cause, then see what was "
            "wrong.",
        ),
        files=[folder / n for n in ("log.csv", "map.toml", "readings.toml")],
        answer=_was_wrong(found.case.to_dict()),
    )


def _was_wrong(case: dict[str, Any]) -> str:
    size = "" if case["size"] is None else f", {case['size']:.3g} {case['unit']}"
    worst = max(case["chance_bad"])
    return f"What was wrong: {case['name']}{size}. At the worst station {100 * worst:.0f} % of the pieces turn out bad."


def record(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """The hand-over record beside the model, and from where on each reading is amber and red."""
    report(0.05, "computing the machine of this job")
    found = line_record(job)
    report(0.7, "finding the limits")
    bounds = line_limits(job)
    apart = [r for r in found.rows if not r.agrees]
    said = (
        "none is kept yet"
        if not found.rows
        else f"{len(found.rows)} readings, {len(apart) or 'none'} apart from the model"
    )
    return shown(
        f"hand-over record: {said}",
        lines=[f"The source holds the {found.control}; {found.gain}."],
        tables=(
            _beside(found.rows), _limits(bounds.limits),
            table("lacking", "What the record lacks", ("reading",), [(m,) for m in found.lacking]),
        ),
    )  # fmt: skip


def _beside(rows: Iterable[Beside]) -> Table:
    """In the units of the hand-over form."""
    head = ("reading", "station", "measured", "one sigma", "predicted", "unit", "by the", "apart [sigma]")
    lines = []
    for r in rows:
        unit, si = form_unit(READINGS[r.what].kind)
        one = factor(unit, si) if unit else 1.0
        read = (None if x is None else x / one for x in (r.measured, r.sigma, r.predicted))
        lines.append((r.what, str(r.station or "whole"), *read, _printed(unit), r.against, r.apart))
    return table("record", "The record beside the model", head, lines)


def _printed(unit: str) -> str:
    """A unit of a file as it is printed: "uF" as "µF", "mohm" as "mΩ"."""
    return (f"µ{unit[1:]}" if unit.startswith("u") else unit).replace("ohm", "Ω")


def _limits(limits: Iterable[Limit]) -> Table:
    head = ("reading", "station", "when", "amber from", "red from", "can be seen")
    return table("limits", "Green, amber, red", head, [x.row for x in limits if not x.alike])


def _stations(w: Watch) -> Table:
    rows = [
        (str(k), int(n), int(b), 100.0 * b / n, float(p))
        for k, n, b, p in zip(w.stations.keys, w.stations.tried, w.stations.bad, w.against_rest, strict=True)
    ]
    head = ("station", "tried", "bad", "share [%]", "chance of being so bad by luck")
    return table(
        "stations", "Station against the others", head, rows, "Chances corrected for looking at every station (Holm)."
    )


def _aside(w: Watch) -> Table:
    return table("aside", "Rows set aside", ("reason", "rows"), [(reason, n) for reason, n in sorted(w.aside.items())])


def _causes(answer: Answer) -> Iterator[Table]:
    rows = [(100.0 * r.probability, r.name, *_size(r)) for r in answer.ranked if r.probability > _LEAST]
    head = ("likely [%]", "cause", "size, middle", "90 % from", "to", "unit")
    yield table("causes", "Causes", head, rows)
    asked = [(READINGS[n.what].asked, n.bits, n.minutes, n.rate) for n in answer.next]
    note = "Minutes from memory: trade practice, to be replaced by your own."
    yield table("next", "What to read next", _NEXT, asked, note)
    out = [(x.name, round(100.0 * x.probability, 3), x.why) for x in answer.excluded]
    yield table("excluded", "Ruled out", ("cause", "likely [%]", "why"), out)


def _size(r: Ranked) -> tuple[float | None, float | None, float | None, str]:
    if r.size is None:
        return None, None, None, ""
    low, middle, high = r.size
    return middle, low, high, r.unit
