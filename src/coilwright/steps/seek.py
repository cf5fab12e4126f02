"""Look for a better coil, frequency and tank within the bounds of a job's [seek]."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.heating.hazards import facts_of
from coilwright.heating.setup import programme_of
from coilwright.job import Job
from coilwright.safety.cautions import cautions
from coilwright.section.sizes import Level
from coilwright.seek.effort import Effort
from coilwright.seek.evaluate import Evaluator, Outcome
from coilwright.seek.figures import FIGURES, Figure, Requirement, check_needs
from coilwright.seek.front import spread_out, undominated
from coilwright.seek.record import NAME, Record, fingerprint
from coilwright.seek.result import SeekPoint, SeekResult, findings_of, stopped_by
from coilwright.seek.schema import Seek, objectives_of, read_seek
from coilwright.seek.search import Asked, costs_of, search
from coilwright.seek.space import Place, Space, Values, drawn_place, key_of, space_of
from coilwright.seek.workers import Workers, workers_for
from coilwright.steps.field import field as cold_field
from coilwright.steps.heat import heat

_NEAREST = 3  # points shown when nothing passes
_ROUNDS = 3  # of taking points to the finer meshes when all of a front fall there
_SEARCH_SHARE = 0.8  # of the progress told


def seek(job: Job, effort: Effort | None = None, *, report: Callable[[float], None] | None = None) -> SeekResult:
    """Search over what [[seek.over]] names for points that no other beats in every objective.

    `effort` (`seek.Effort`) says how many points, where they are computed, and which folder keeps them.
    Points are looked at on coarse meshes, the front is computed again as `heat` does; its figures are those `heat` gives for
    the written job files. Raises BadInput (quantity unknown, nothing between the bounds, figure that cannot be had,
    record of another search), MissingExtra.
    """
    effort = effort or Effort()
    wanted = read_seek(job)
    space = space_of(job, wanted)
    objectives, required = objectives_of(wanted), _requirements(job, wanted)
    _check(job, wanted, space)
    evaluator = Evaluator(job, objectives, required)
    with ExitStack() as stack:
        record = _record(stack, job, wanted, effort)
        workers = stack.enter_context(
            workers_for(evaluator, effort.processes or min(2, os.cpu_count() or 1), effort.scheduler)
        )
        run = _Run(evaluator, space, objectives, effort, workers, record, report or (lambda share: None))
        return run.result(effort.evaluations or wanted.evaluations)


def _requirements(job: Job, wanted: Seek) -> tuple[Requirement, ...]:
    out = []
    for n, r in enumerate(wanted.require, 1):
        figure, where = FIGURES[r.what], f"{job.name}: seek.require.{n}"
        least, most = (
            None if bound is None else figure.read(bound, f"{where}.{key}")
            for key, bound in (("at_least", r.at_least), ("at_most", r.at_most))
        )
        if least is not None and most is not None and least > most:
            raise BadInput(
                Fault(where, f"at_least {r.at_least} lies above at_most {r.at_most}; nothing can be between")
            )
        out.append(Requirement(figure, least, most))
    return tuple(out)


def _check(job: Job, wanted: Seek, space: Space) -> None:
    """What every point would lack is said before any is looked at."""
    faults = []
    for name in wanted.objectives:
        faults += check_needs(job, FIGURES[name], f"{job.name}: seek.objectives")
    for n, r in enumerate(wanted.require, 1):
        faults += check_needs(job, FIGURES[r.what], f"{job.name}: seek.require.{n}")
    if faults:
        raise BadInput(faults)
    if "drive.on_time" not in {a.what for a in space.axes}:
        programme_of(job)


def _record(stack: ExitStack, job: Job, wanted: Seek, effort: Effort) -> Record | None:
    if effort.folder is None:
        if effort.resume:
            raise BadInput(Fault("--resume", "needs the folder of the search to carry on; name it with --out"))
        return None
    folder = Path(effort.folder)
    if effort.resume and not (folder / NAME).exists():
        what = f"there is no {NAME} in it, so no search to carry on; leave --resume out to begin one"
        raise BadInput(Fault(f"--out {folder}", what))
    folder.mkdir(parents=True, exist_ok=True)
    import coilwright  # its version only; at the top it would import this module while it is being loaded

    version = coilwright.__version__
    return stack.enter_context(Record(folder, fingerprint(job, wanted, version), version))


@dataclass
class _Run:
    """One search while it runs."""

    evaluator: Evaluator
    space: Space
    objectives: tuple[Figure, ...]
    effort: Effort
    workers: Workers
    record: Record | None
    report: Callable[[float], None]
    computed: int = 0
    shots: int = 0
    known: dict[tuple[str, Level], Outcome] = field(default_factory=dict)

    def result(self, evaluations: int) -> SeekResult:
        begun = time.perf_counter()
        if self.record is not None:
            self.known = self.record.known
        as_drawn = self.look([{}], "normal")[0]
        asked = self._search(evaluations)
        places, fallen = self._front(asked)
        front = tuple(self._point(n, p, "normal") for n, p in enumerate(places, 1))
        drawn = SeekPoint(0, self.evaluator.job, as_drawn)
        nearest = () if front else self._nearest(asked)
        outcomes = list(asked.found.values())
        findings = tuple(
            findings_of(
                self.space, front, outcomes, fallen,
                without_pymoo=asked.without_pymoo, skipped=0 if self.record is None else self.record.skipped,
            )
        )  # fmt: skip
        result = SeekResult(
            self.evaluator.job.title, self.space, self.objectives, front, nearest, drawn,
            tuple(o.figures for o in outcomes if o.passes),
            stopped_by([o for o in outcomes if not o.passes]),
            len(outcomes), self.shots, self.computed, time.perf_counter() - begun, asked.method, self.effort.seed,
            findings, (),
        )  # fmt: skip
        return _with_cautions(result)

    def look(self, points: list[Values], level: Level, done: Callable[[int], None] | None = None) -> list[Outcome]:
        """Outcomes of points in order, from the record where it has them."""
        new = list({key_of(v): v for v in points if (key_of(v), level) not in self.known}.values())
        for count, (n, outcome) in enumerate(self.workers([(v, level) for v in new]), 1):
            del n
            self.computed += 1
            self.known[key_of(outcome.values), level] = outcome
            if self.record is not None:
                self.record.add(outcome, level)
            if done is not None:
                done(count)
        out = [self.known[key_of(v), level] for v in points]
        self.shots += sum(o.shots for o in out)
        return out

    def _search(self, evaluations: int) -> Asked:
        total = min(evaluations, self.space.size)
        seen = 0

        def ask(places: list[Place]) -> list[Outcome]:
            nonlocal seen
            out = self.look(
                [self.space.values(p) for p in places],
                "coarse",
                lambda n: self.report(_SEARCH_SHARE * (seen + n) / total),
            )
            seen += len(places)
            return out

        first = [drawn_place(self.space, self.evaluator.job)]
        return search(self.space, self.objectives, ask, evaluations, self.effort.seed, first)

    def _front(self, asked: Asked) -> tuple[list[Place], int]:
        """Places of the front as computed on the finer meshes, best first in the first objective; how many fell on the way."""
        left = asked.passing()
        tried = 0
        for _ in range(_ROUNDS):
            if not left:
                break
            costs = costs_of([asked.found[p] for p in left], self.objectives)
            best = undominated(costs)
            chosen = [left[k] for k in best[spread_out(costs[best], self.effort.most)]]
            fine = dict(zip(chosen, self._finer(chosen), strict=True))
            tried += len(chosen)
            good = [p for p in chosen if fine[p].passes]
            if good:
                costs = costs_of([fine[p] for p in good], self.objectives)
                keep = [good[k] for k in undominated(costs)]
                keep.sort(key=lambda p: tuple(costs_of([fine[p]], self.objectives)[0]))
                return keep, tried - len(keep)
            left = [p for p in left if p not in fine]
        return [], tried

    def _finer(self, places: Iterable[Place]) -> list[Outcome]:
        points: list[Values] = [self.space.values(p) for p in places]
        rest = 1.0 - _SEARCH_SHARE
        return self.look(points, "normal", lambda n: self.report(_SEARCH_SHARE + rest * n / len(points)))

    def _point(self, number: int, place: Place, level: Level) -> SeekPoint:
        outcome = self.known[key_of(self.space.values(place)), level]
        return SeekPoint(number, self.evaluator.job.with_values(outcome.changes), outcome)

    def _nearest(self, asked: Asked) -> tuple[SeekPoint, ...]:
        """The points nearest to passing that can be drawn at all."""
        order = sorted(
            (p for p, o in asked.found.items() if o.stage != "drawn"), key=lambda p: asked.found[p].violation
        )
        return tuple(self._point(n, p, "coarse") for n, p in enumerate(order[:_NEAREST], 1))


def _with_cautions(result: SeekResult) -> SeekResult:
    """With the cautions that belong to the balanced point, whose settings somebody may take."""
    point = result.balanced
    if point is None:
        return result
    shot = heat(point.job, estimate_error=False)
    cold = cold_field(point.job, level="coarse", estimate_error=False).result
    source = shot.trace.source
    bank = None if source is None else float(np.max(source.bank_voltage))
    facts = facts_of(point.job, shot, cold, float(shot.trace.coil.frequency[0]), bank_voltage=bank)
    return replace(result, cautions=tuple(cautions(facts)))
