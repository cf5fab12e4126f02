"""What a search found: the front, what stopped the rest, and how it was looked for."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.evidence import Finding
from coilwright.job import Job, set_value
from coilwright.job.lookup import value_at
from coilwright.safety.cautions import Caution
from coilwright.seek.evaluate import INNER_FAULT, Outcome
from coilwright.seek.figures import FIGURES, Figure
from coilwright.seek.front import balanced
from coilwright.seek.search import costs_of
from coilwright.seek.space import Space

_AT_BOUND = 0.02  # of an axis: nearer to its end than this is at the end


@dataclass(frozen=True)
class SeekPoint:
    """One point: its number (0: the job as drawn), the changed job, and what came of it on the finer meshes."""

    number: int
    job: Job
    outcome: Outcome

    @property
    def values(self) -> Mapping[str, Any]:
        return self.outcome.values

    @property
    def figures(self) -> Mapping[str, float]:
        """Figures by name, SI and kelvin."""
        return self.outcome.figures

    @property
    def file(self) -> str:
        return f"point-{self.number:02d}.toml"

    def shown(self, figure: Figure) -> str:
        """A figure for a person, "-" when it is not known."""
        value = self.figures.get(figure.name)
        if value is None:
            return "-"
        return ("> " if figure.name in self.outcome.beyond else "") + figure.shown(value)

    def text(self, folder: Path | None = None) -> str:
        """The job file of this point; files it names are named as seen from `folder`."""
        text = self.job.text
        if folder is None:
            return text
        for key in _file_keys(self.job):
            given = Path(str(value_at(self.job.document, key)))
            if not given.is_absolute():
                seen = Path(os.path.relpath((self.job.folder / given).resolve(), folder.resolve()))
                text = set_value(text, key, seen.as_posix())
        return text

    def to_dict(self) -> dict[str, Any]:
        figures = {FIGURES[n].key: FIGURES[n].in_json(v) for n, v in self.figures.items()}
        return {
            "number": self.number,
            "values": dict(self.values),
            "changes": dict(self.outcome.changes),
            "figures": figures,
            "at_least": [FIGURES[n].key for n in self.outcome.beyond],
            "passes": self.outcome.passes,
            "accept": list(self.outcome.said),
            "stops": {name: {"by": by, "said": said} for name, (by, said) in self.outcome.stops.items()},
        }


def _file_keys(job: Job) -> Iterator[str]:
    """Keys of the job that name other files."""
    for n, body in enumerate(job.document.get("body", ()), 1):
        if isinstance(body.get("shape"), Mapping) and "file" in body["shape"]:
            yield f"body.{n}.shape.file"
    if isinstance(job.later.get("tank"), Mapping) and "stock" in job.later["tank"]:
        yield "tank.stock"
    over = job.later.get("seek", {}).get("over", ())
    for n, table in enumerate(over, 1):
        if "stock" in table:
            yield f"seek.over.{n}.stock"


@dataclass(frozen=True)
class Stopped:
    """One thing that stops points: how many of those that fail, and the least by which one that fails nothing else misses
    it, with what was said of that one."""

    name: str
    count: int
    least: float
    said: str


@dataclass(frozen=True, eq=False)
class SeekResult:
    """The answer of `seek`. `front`: points better than none of the others, best first in the first objective, figures as
    `heat` gives them; `nearest`: when nothing passes, the points nearest to passing; `explored`: figures of every point of
    the search that passed, on coarse meshes; `stopped`: what stopped the others, most often first."""

    title: str
    space: Space
    objectives: tuple[Figure, ...]
    front: tuple[SeekPoint, ...]
    nearest: tuple[SeekPoint, ...]
    as_drawn: SeekPoint
    explored: tuple[Mapping[str, float], ...]
    stopped: tuple[Stopped, ...]
    evaluations: int
    shots: int
    computed: int
    seconds: float
    method: str
    seed: int
    findings: tuple[Finding, ...]
    cautions: tuple[Caution, ...]

    @property
    def passed(self) -> bool:
        """Whether any point passes everything."""
        return bool(self.front)

    @property
    def balanced(self) -> SeekPoint | None:
        """The point of the front where every objective gives up about equally much."""
        if not self.front:
            return None
        return self.front[balanced(costs_of([p.outcome for p in self.front], self.objectives))]

    @property
    def beats_drawn(self) -> tuple[SeekPoint, ...]:
        """Points of the front that are as good as the job as drawn in every objective and better in one; all of them when
        the job as drawn does not pass."""
        drawn = self.as_drawn.outcome
        if not drawn.passes:
            return self.front
        here = costs_of([drawn], self.objectives)[0]
        out = []
        for point in self.front:
            costs = costs_of([point.outcome], self.objectives)[0]
            if np.all(costs <= here) and np.any(costs < here):
                out.append(point)
        return tuple(out)

    def write(self, folder: Path) -> list[Path]:
        """Every point of the front (else the nearest ones) as a job file in a folder."""
        out = []
        for point in self.front or self.nearest:
            path = folder / point.file
            path.write_text(point.text(folder), encoding="utf-8")
            out.append(path)
        return out

    def plot(self, path: Any = None) -> Any:
        """The front among all points that pass; written to `path` when given, else the figure is returned."""
        # by name, because pictures stand above the physics and are loaded only when one is asked for
        return import_module("coilwright.pack.seek_pictures").front_picture(self, path)

    def to_dict(self) -> dict[str, Any]:
        middle = self.balanced
        return {
            "title": self.title,
            "objectives": [
                {"name": f.name, "key": f.key, "better": "more" if f.more else "less"} for f in self.objectives
            ],
            "front": [p.to_dict() for p in self.front],
            "balanced": None if middle is None else middle.number,
            "better_than_drawn": [p.number for p in self.beats_drawn],
            "nearest": [p.to_dict() for p in self.nearest],
            "as_drawn": self.as_drawn.to_dict(),
            "evaluations": self.evaluations,
            "passed": len(self.explored),
            "stopped": [{"by": s.name, "points": s.count, "least": s.least, "said": s.said} for s in self.stopped],
            "shots": self.shots,
            "method": self.method,
            "seed": self.seed,
            "time_s": self.seconds,
            "findings": [f.to_dict() for f in self.findings],
            "cautions": [{"hazard": c.hazard, "text": c.text, "figure": c.figure} for c in self.cautions],
        }

    def __repr__(self) -> str:
        names = ", ".join(f.name for f in self.objectives)
        head = f"<seek {self.title!r}: {len(self.front)} points on the front of {names}; {self.evaluations} looked at>"
        lines = [f"  {p.number}: " + ", ".join(f"{f.name} {p.shown(f)}" for f in self.objectives) for p in self.front]
        return "\n".join([head, *lines])


def stopped_by(outcomes: Sequence[Outcome]) -> tuple[Stopped, ...]:
    """What stops points, most often first."""
    out = []
    names = dict.fromkeys(name for o in outcomes for name in o.stops)
    for name in names:
        hit = [o for o in outcomes if name in o.stops]
        alone = [o for o in hit if len(o.stops) == 1] or hit
        near = min(alone, key=lambda o: o.stops[name][0])
        out.append(Stopped(name, len(hit), near.stops[name][0], near.stops[name][1]))
    return tuple(sorted(out, key=lambda s: -s.count))


def findings_of(
    space: Space,
    front: Sequence[SeekPoint],
    outcomes: Sequence[Outcome],
    fallen: int,
    *,
    without_pymoo: bool,
    skipped: int,
) -> Iterator[Finding]:
    """What a careful engineer would say about a search."""
    if without_pymoo:
        text = "the package pymoo is not installed, so all points are an even scan and none is bred from the best."
        yield Finding("seek-scan-only", "note", "seek", text, "Install it with  pip install 'coilwright[design]'")
    if skipped:
        text = f"{skipped} lines of the record could not be read and were looked at anew if they were needed."
        yield Finding("seek-record-damaged", "warning", "seek", text)
    faulty = sum(INNER_FAULT in o.stops for o in outcomes)
    if faulty:
        text = f"{faulty} points ended in a fault of coilwright itself and count as failing; what stops points tells them."
        yield Finding("seek-inner-fault", "serious", "seek", text, "Please report it with the job file.")
    if fallen:
        text = f"{fallen} points of the coarse front fail, or are no better than others, on the finer meshes; they were left out."
        yield Finding("seek-front-thinned", "note", "seek", text)
    if not front:
        yield _nothing_passes(outcomes)
        return
    if len(front) == 1:
        text = "one point is the best in everything asked, so there is nothing to weigh."
        yield Finding("seek-one-point", "note", "seek", text, "Ask for objectives that pull against each other.")
    yield from _at_bounds(space, front)


def _nothing_passes(outcomes: Sequence[Outcome]) -> Finding:
    most = stopped_by(outcomes)[0]
    text = (
        f"none of {len(outcomes)} points passes. Most are stopped by [{most.name}]: {most.count} of {len(outcomes)}; "
        f"the nearest of them: {most.said}."
    )
    advice = "Widen the bounds, raise the drive, or ask for less; the nearest points are listed."
    return Finding("seek-nothing-passes", "serious", "seek", text, advice)


def _at_bounds(space: Space, front: Sequence[SeekPoint]) -> Iterator[Finding]:
    """Axes along which the whole front lies at one end: the bound decides, not the job."""
    for axis in space.axes:
        if len(axis.values) < 3 or axis.labels or any(isinstance(v, Mapping) for v in (axis.values[0],)):
            continue
        places = np.array([axis.place(p.values[axis.what]) for p in front])
        for end, beyond in ((0.0, "below"), (1.0, "above")):
            if np.all(np.abs(places - end) <= _AT_BOUND):
                value = axis.shown(axis.values[0 if end == 0.0 else len(axis.values) - 1])
                text = f"the whole front lies at {value}, an end of its bounds: better points may lie {beyond}."
                yield Finding("seek-at-bound", "note", axis.what, text, "Widen the bound if the shop can.")
