"""The command that looks for something better: seek."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import FAILS_ACCEPTANCE, UNFINISHED, folder, print_json, progress, say, table

if TYPE_CHECKING:
    from coilwright.seek.result import SeekPoint, SeekResult

_MOST_REASONS = 6
_LONGEST = 72  # characters of a reason in the table


@dataclass(frozen=True)
class Asked:
    """The options of `seek` as typed."""

    evaluations: int
    seed: int
    workers: int
    scheduler: str | None
    points: int
    resume: bool


def seek(path: Path, as_json: bool, out: Path | None, asked: Asked) -> int:
    from coilwright.job import load
    from coilwright.seek.effort import Effort
    from coilwright.steps.seek import seek as look

    job = load(path)
    effort = Effort(
        asked.evaluations, asked.seed, asked.workers, asked.scheduler, asked.points, _there(out, asked), asked.resume
    )
    try:
        with progress("seek", as_json) as advance:
            result = look(job, effort, report=advance)
    except KeyboardInterrupt:
        kept = "nothing was written" if out is None else f"every finished point is kept in {out}; the same command carries on"
        say(f"stopped by you; {kept}")
        return UNFINISHED
    written = _write(result, out)
    if as_json:
        print_json({**result.to_dict(), "files": [str(p) for p in written]})
    else:
        print(_text(result, wrote=out is not None))
        if written:
            print(f"\nwritten to {out}: " + ", ".join(p.name for p in written))
        else:
            print("\nnothing was written; --out DIR keeps every point and writes the front as job files")
    return 0 if result.passed else FAILS_ACCEPTANCE


def _there(out: Path | None, asked: Asked) -> Path | None:
    """The folder; made now unless a search in it is to be carried on, which must be there already."""
    return out if asked.resume else folder(out)


def _write(result: SeekResult, out: Path | None) -> list[Path]:
    if out is None:
        return []
    from coilwright.pack.seek_pictures import seek_pictures

    return [*result.write(out), *seek_pictures(result, out)]


def _text(result: SeekResult, *, wrote: bool) -> str:
    parts = [_head(result), _points(result, wrote), _stopped(result)]
    parts.append("\n".join(f"  {f}" for f in result.findings))
    if result.cautions:
        parts.append("\n".join(["cautions (of the balanced point)", *(f"  {c}" for c in result.cautions)]))
    return "\n\n".join(p for p in parts if p)


def _head(result: SeekResult) -> str:
    aims = ", ".join(f"{f.name} ({'more' if f.more else 'less'})" for f in result.objectives)
    passing = len(result.explored)
    return (
        f"{result.title}: {len(result.front)} points that no other beats in {aims}\n"
        f"  {result.evaluations} points looked at ({result.method}; seed {result.seed}), {passing} pass; {result.shots} shots, "
        f"{result.computed} points computed now in {result.seconds:.0f} s"
    )


def _points(result: SeekResult, wrote: bool) -> str:
    points = result.front or result.nearest
    axes, aims = result.space.axes, result.objectives
    middle = result.balanced
    rows = []
    for p in points:
        mark = " *" if p is middle else ""
        rows.append(
            (f"{p.number}{mark}", *(a.shown(p.values[a.what]) for a in axes), *(p.shown(f) for f in aims), *_file(p, wrote))
        )
    rows.append(("as drawn", *("" for _ in axes), *(result.as_drawn.shown(f) for f in aims), *([""] if wrote else [])))
    head = ("front" if result.front else "nearest", *(a.what for a in axes), *(f.name for f in aims))
    text = table(rows, (*head, "file") if wrote else head)
    notes = []
    if result.front and result.as_drawn.outcome.passes:
        better = ", ".join(str(p.number) for p in result.beats_drawn)
        notes.append(f"better than the job as drawn in everything asked: {better or 'none'}")
    if middle is not None:
        notes.append("* balanced: here every objective gives up about equally much")
    if not result.as_drawn.outcome.passes:
        first = next(iter(result.as_drawn.outcome.stops.items()))
        notes.append(f"as drawn the job does not pass: {first[0]}: {first[1][1]}")
    if not result.front:
        notes += [f"{p.number}: {name}: {said}" for p in points for name, (_, said) in p.outcome.stops.items()]
    return "\n".join([text, *notes])


def _file(point: SeekPoint, wrote: bool) -> list[str]:
    return [point.file] if wrote else []


def _stopped(result: SeekResult) -> str:
    if not result.stopped:
        return ""
    rows = [(s.name, str(s.count), _short(s.said)) for s in result.stopped[:_MOST_REASONS]]
    rest = len(result.stopped) - len(rows)
    text = table(rows, ("what stops the others", "points", "the nearest of them"))
    return text + (f"\n... and {rest} more reasons (--json lists all)" if rest > 0 else "")


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
