"""Drawn parts whose verdict is in doubt are shot in full, and what those shots teach settles the parts like them.

In doubt is a part whose margin of a limit lies within the stand-in's own error of zero. The least certain and least alike
are shot in full; each is compared with what the stand-in said of it before, which is the error stated; then the stand-in
learns from it and all others near that limit are told anew. So on until nothing is in doubt: a few dozen shots settle
what hundreds would have been needed for one by one, because the error falls as fast as the parts in doubt are shot (active
learning near a limit: B. Echard, N. Gayton, M. Lemaire, Structural Safety 33 (2011) 145).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.special import ndtr

from coilwright.section.quad9 import Array, BoolArray, IntArray
from coilwright.window.margins import Outcome
from coilwright.window.pool import run_all
from coilwright.window.study import Draws, Judged, Study
from coilwright.window.surrogate import Surrogate, least_certain

ALL = -1
_NEAR = 4.0  # standard errors of the study's stand-in from the limit: as far as parts are looked at again
_SURE = 3.0  # standard errors from the limit from which on a verdict is taken as settled
_BATCH, _CHECK = 24, 5
_LEARNT_OF = 48  # last shots whose misses are taken for the error of the stand-in


@dataclass(frozen=True)
class Settled:
    """`near` parts drawn near a limit, `shot` of them in full, `changed` verdicts of those; `left` still in doubt and the
    number of verdicts expected to be `wrong` among all that were not shot. `error`: by limit, rms miss of the stand-in on the
    last full shots before it learnt from them. `checked` parts taken as clear shot as well, `wrongly` of which changed."""

    near: int
    shot: int
    changed: int
    left: int
    wrong: float
    error: Mapping[str, float]
    checked: int
    wrongly: int

    @property
    def said(self) -> str:
        if not self.near:
            return "no part was drawn near a limit, so none was shot in full"
        doubt = "no verdict is left in doubt" if not self.left else f"{self.left} verdicts are left in doubt"
        check = f"; of {self.checked} clear ones shot as a check {self.wrongly} changed" if self.checked else ""
        return (
            f"{self.near} parts drawn near a limit: {self.shot} full shots of them changed {self.changed} verdicts and {doubt}, "
            f"{self.wrong:.2g} wrong ones expected{check}"
        )

    def to_dict(self) -> dict[str, Any]:
        return {
            "near": self.near, "shot": self.shot, "changed": self.changed, "left_in_doubt": self.left,
            "expected_wrong": self.wrong, "error": dict(self.error), "checked": self.checked, "check_changed": self.wrongly,
        }  # fmt: skip


@dataclass(eq=False)
class _Cases:
    """Parts against limits: `part` (n,) flat over shots and stations, `limit` (n,), `x` (n, d) what that limit sees of it in
    the box of the study; margin as told now, with its standard error, and whether it was shot."""

    part: IntArray
    limit: IntArray
    x: Array
    margin: Array
    error: Array
    shot: BoolArray

    @property
    def doubtful(self) -> BoolArray:
        return np.asarray(~self.shot & (np.abs(self.margin) < _SURE * self.error))

    @property
    def expected_wrong(self) -> float:
        z = np.abs(self.margin) / np.maximum(self.error, 1e-12)
        return float(ndtr(-z)[~self.shot].sum())


@dataclass(eq=False)
class _Work:
    """State of the settling: what is known of each limit, and what the shots said."""

    study: Study
    cases: _Cases
    report: Callable[[float], None]
    most: int
    x: Array
    outcomes: list[Outcome]
    stand_ins: dict[int, Surrogate] = field(default_factory=dict)
    misses: dict[int, list[float]] = field(default_factory=dict)
    ratios: dict[int, list[float]] = field(default_factory=dict)
    changed: int = 0

    def shoot(self, rows: IntArray) -> None:
        """Full shots of some cases; every stand-in concerned learns from them."""
        c = self.cases
        before = int(c.shot.sum())
        tasks = [self.study.task(c.x[n]) for n in rows]
        outcomes = run_all(
            self.study.runner, tasks, self.study.effort.workers, lambda n: self.report((before + n) / max(self.most, 1))
        )
        true = np.array([o.margins[c.limit[n]] for n, o in zip(rows, outcomes, strict=True)])
        for n, margin in zip(rows, true, strict=True):
            k, miss = int(c.limit[n]), float(margin - c.margin[n])
            self.misses.setdefault(k, []).append(miss)
            if k in self.stand_ins:
                told = float(self.stand_ins[k].deviation(self.study.inputs(k, c.x[n : n + 1]))[0])
                self.ratios.setdefault(k, []).append(miss / max(told, 1e-12))
        self.changed += int(np.count_nonzero((true >= 0.0) != (c.margin[rows] >= 0.0)))
        c.margin[rows], c.error[rows], c.shot[rows] = true, 0.0, True
        self.x = np.concatenate([self.x, c.x[rows]])
        self.outcomes += outcomes
        for k in np.unique(c.limit[rows]):
            self._learn(int(k))

    def _learn(self, k: int) -> None:
        """Tell every case of a limit anew. The error is the process's own deviation times what the last shots missed in terms
        of it; before there are such, what they missed."""
        c, study = self.cases, self.study
        before = self.stand_ins.get(k, study.surrogates[k])
        self.stand_ins[k] = study.stand_in(k, self.x, self.outcomes, before)
        rows = np.flatnonzero((c.limit == k) & ~c.shot)
        if not len(rows):
            return
        at = study.inputs(k, c.x[rows])
        deviation = self.stand_ins[k].deviation(at)
        c.margin[rows] = study.margin(k, c.x[rows], self.stand_ins[k](at))
        ratios = self.ratios.get(k, [])[-_LEARNT_OF:]
        if ratios:
            c.error[rows] = max(_rms(ratios), 1.0) * deviation
        else:
            c.error[rows] = np.maximum(deviation, _rms(self.misses[k]))

    def next(self, room: int) -> IntArray:
        """Cases to shoot: all that are in doubt when they are few, else the least certain and least alike."""
        c = self.cases
        doubtful = np.flatnonzero(c.doubtful)
        if len(doubtful) <= min(room, _BATCH):
            return doubtful
        half = 0.5 * np.ptp(self.study.box, axis=1)
        pick = least_certain(c.margin[doubtful], c.error[doubtful], c.x[doubtful], half, min(room, _BATCH))
        return doubtful[pick]


def _rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def settle(
    study: Study, draws: Draws, judged: Judged, doubt: Array, most: int, report: Callable[[float], None] | None = None
) -> tuple[Judged, Array, Settled]:
    """Settle by at most `most` full shots (ALL: besides, every failure is shot) what is in doubt; `doubt` (limits,) is the
    error of the stand-ins, two deviations. Returns the margins as now known, their doubt (shots, stations, limits that
    count), and what was done; the study keeps what was learnt. Raises NotConverged.
    """
    cases = _near(study, draws, judged, 0.5 * doubt)
    limit = len(cases.part) + judged.level.size if most == ALL else most
    work = _Work(study, cases, report or (lambda share: None), max(len(cases.part) if most == ALL else most, 1),
                 study.x, list(study.outcomes))  # fmt: skip
    while (spent := int(cases.shot.sum())) < limit:
        rows = work.next(limit - spent)
        if not len(rows):
            break
        work.shoot(rows)
    near, shot, left = len(np.unique(cases.part)), int(cases.shot.sum()), int(cases.doubtful.sum())
    error = {study.limits[k].name: _rms(m[-_LEARNT_OF:]) for k, m in work.misses.items()}
    checked, wrongly = _checks(work, limit - shot)
    margins, off = _written(study, judged, cases, doubt)
    told = Judged(margins, judged.level, judged.start, judged.side)
    if most == ALL:
        told, more, turned = _failures(study, draws, told, off, cases, work)
        shot, work.changed = shot + more, work.changed + turned
    study.learn(work.x, work.outcomes, work.stand_ins)
    said = Settled(near, shot, work.changed, left, cases.expected_wrong, error, checked, wrongly)
    return told, off, said


def _near(study: Study, draws: Draws, judged: Judged, error: Array) -> _Cases:
    """Every part against every limit that may decide about it: near the limit, and not far beyond another one."""
    counts = study.counts
    margins = judged.margins[..., counts].reshape(-1, len(counts))
    z = margins / np.maximum(error[counts], 1e-12)
    lost = np.any(z <= -_NEAR, axis=1)
    part, column = np.nonzero((np.abs(z) < _NEAR) & ~lost[:, None])
    limit = counts[column]
    x = _places(study, draws, judged, part, limit)
    return _Cases(part, limit, x, margins[part, column], np.maximum(error[limit], 1e-12), np.zeros(len(part), dtype=bool))


def _places(study: Study, draws: Draws, judged: Judged, part: IntArray, limit: IntArray) -> Array:
    """(n, d) places in the box as these limits see these parts."""
    stations = judged.level.shape[1]
    shot, station = part // stations, part % stations
    rows, where = np.unique(shot, return_inverse=True)
    every = study.points(draws.only(rows), judged.level[rows])
    x = every[where, station].copy()
    x[:, 0] += judged.side[shot, station, limit]
    return np.asarray(x, dtype=np.float64)


def _checks(work: _Work, room: int) -> tuple[int, int]:
    """Some parts on either side that are taken as settled, shot as well: how many, and how many were not."""
    c = work.cases
    rng = np.random.default_rng(work.study.effort.seed + 40)
    rows: list[int] = []
    for side in (c.margin < 0.0, c.margin >= 0.0):
        clear = np.flatnonzero(side & ~c.shot & ~c.doubtful)
        rows += list(rng.choice(clear, min(_CHECK, len(clear), max(room, 0)), replace=False))
    if not rows:
        return 0, 0
    changed, told = work.changed, c.margin.copy()
    work.shoot(np.array(rows, dtype=np.int64))
    wrongly = int(np.count_nonzero((told[rows] >= 0.0) != (c.margin[rows] >= 0.0)))
    work.changed = changed
    return len(rows), wrongly


def _written(study: Study, judged: Judged, c: _Cases, doubt: Array) -> tuple[Array, Array]:
    margins = judged.margins.copy()
    flat = margins.reshape(-1, margins.shape[-1])
    flat[c.part, c.limit] = c.margin
    off = np.broadcast_to(doubt[study.counts], (len(flat), len(study.counts))).copy()
    off[c.part, np.searchsorted(study.counts, c.limit)] = 2.0 * c.error
    return margins, off.reshape(*margins.shape[:-1], -1)


def _failures(
    study: Study, draws: Draws, judged: Judged, off: Array, c: _Cases, work: _Work
) -> tuple[Judged, int, int]:
    """Every failure that was not shot yet, at the limit it fails by most."""
    counts, margins = study.counts, judged.margins
    flat = margins.reshape(-1, margins.shape[-1])
    own = flat[:, counts]
    rows = np.flatnonzero(own.min(axis=1) < 0.0)
    limit = counts[np.argmin(own[rows], axis=1)]
    known = set(zip(c.part[c.shot].tolist(), c.limit[c.shot].tolist(), strict=True))
    todo = np.array([(int(p), int(k)) not in known for p, k in zip(rows, limit, strict=True)], dtype=bool)
    rows, limit = rows[todo], limit[todo]
    if not len(rows):
        return judged, 0, 0
    x = _places(study, draws, judged, rows, limit)
    outcomes = run_all(study.runner, [study.task(row) for row in x], study.effort.workers,
                       lambda n: work.report(n / len(rows)))  # fmt: skip
    true = np.array([o.margins[k] for o, k in zip(outcomes, limit, strict=True)])
    flat[rows, limit] = true
    off.reshape(len(flat), -1)[rows, np.searchsorted(counts, limit)] = 0.0
    return judged, len(rows), int(np.count_nonzero(true >= 0.0))
