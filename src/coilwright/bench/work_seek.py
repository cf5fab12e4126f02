"""The search as a study: the front, what stopped the rest, a job file of every point."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilwright.bench.shown import drawn, shown, table
from coilwright.bench.study_kinds import Report
from coilwright.job import Job
from coilwright.pack.seek_pictures import seek_pictures
from coilwright.pack.tables import Table
from coilwright.seek.effort import Effort
from coilwright.seek.result import SeekPoint, SeekResult
from coilwright.steps.seek import seek


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Search; the points of the front (else the nearest) go into the folder as job files that work beside the job."""
    effort = Effort(int(settings["evaluations"]), int(settings["seed"]))
    result = seek(job, effort, report=lambda share: report(0.95 * share, "looking at points"))
    points = result.front or result.nearest
    for point in points:
        (folder / point.file).write_text(point.text(), encoding="utf-8")
    head = (
        f"{len(result.front)} points that no other beats"
        if result.front
        else "nothing passes; the nearest points are shown"
    )
    return shown(
        f"{head}, of {result.evaluations} looked at",
        lines=_lines(result),
        tables=_tables(result, points),
        pictures=drawn(seek_pictures, result, folder),
        cautions=result.cautions,
        findings=result.findings,
        files=[folder / p.file for p in points],
        points=[{"number": p.number, "file": p.file} for p in points],
    )


def _lines(result: SeekResult) -> Iterator[str]:
    aims = ", ".join(f"{f.name} ({'more' if f.more else 'less'})" for f in result.objectives)
    yield f"Asked: {aims}. {len(result.explored)} of {result.evaluations} points pass; {result.shots} shots, seed {result.seed}."
    if result.balanced is not None:
        yield f"Point {result.balanced.number} is balanced: every objective gives up about equally much there."
    if result.front and result.as_drawn.outcome.passes:
        better = ", ".join(str(p.number) for p in result.beats_drawn)
        yield f"Better than the job as drawn in everything asked: {better or 'none'}."
    for point in () if result.front else result.nearest:
        for name, (_, said) in point.outcome.stops.items():
            yield f"Point {point.number}: {name}: {said}"


def _tables(result: SeekResult, points: tuple[SeekPoint, ...]) -> Iterator[Table]:
    axes, aims = result.space.axes, result.objectives
    rows = [
        (str(p.number), *(a.shown(p.values[a.what]) for a in axes), *(p.shown(f) for f in aims), p.file) for p in points
    ]
    rows.append(("as drawn", *("" for _ in axes), *(result.as_drawn.shown(f) for f in aims), ""))
    head = ("point", *(a.what for a in axes), *(f.name for f in aims), "job file")
    yield table("front", "The front" if result.front else "The nearest points", head, rows)
    stopped = [(s.name, s.count, s.said) for s in result.stopped]
    yield table("stopped", "What stops the others", ("what", "points", "the nearest of them"), stopped)
