"""What the log of a machine says by itself: station, tray, lot, shift, drift, the day it changed, and the readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from coilwright.line import compare
from coilwright.line.charts import Chart, individuals, p_chart
from coilwright.line.compare import Test
from coilwright.line.course import Change, Dispersion, change_of_share, dispersion, trays_needed
from coilwright.line.stations import ReadingCourse, ShareCourse, reading_courses, share_courses
from coilwright.store.shots import ShotStore, Tally

_RISK = 0.01
_MOST_GROUPS = 60
_MOST_TRAYS = 300


@dataclass(frozen=True, eq=False)
class ReadingWatch:
    """One reading: mean by station (m,), chart of the machine's mean over time, stations that stand apart, charts of each, and
    the `spread` within a station and from station to station."""

    name: str
    stations: tuple[int, ...]
    means: tuple[float, ...]
    apart: tuple[int, ...]
    chart: Chart | None
    courses: tuple[ReadingCourse, ...] = ()
    spread: compare.Components | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "reading": self.name,
            "spread": None if self.spread is None else self.spread.to_dict(),
            "stations": [{"station": s, "mean": m} for s, m in zip(self.stations, self.means, strict=True)],
            "apart": list(self.apart),
            "chart": None if self.chart is None else self.chart.to_dict(),
            "station_charts": [c.to_dict() for c in self.courses],
        }


@dataclass(frozen=True, eq=False)
class Watch:
    """The log looked at in every way; `said` are the conclusions, gravest first."""

    machine: str
    tried: int
    bad: int
    interval: tuple[float, float]
    stations: Tally
    worst: Test
    against_rest: tuple[float, ...]
    trays: Dispersion | None
    lots: Test | None
    shifts: Test | None
    drift: Test
    change: Change | None
    changed_at: str
    changed_seconds: float | None
    chart: Chart
    readings: tuple[ReadingWatch, ...]
    aside: dict[str, int]
    more_trays: int | None
    said: tuple[str, ...]
    courses: tuple[ShareCourse, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        def shown(x: Any) -> Any:
            return None if x is None else x.to_dict()

        return {
            "machine": self.machine,
            "tried": self.tried,
            "bad": self.bad,
            "share_bad": self.bad / self.tried,
            "share_low": self.interval[0],
            "share_high": self.interval[1],
            "stations": self.stations.to_dict(),
            "worst_station": self.worst.to_dict(),
            "station_against_rest_p": list(self.against_rest),
            "trays": shown(self.trays),
            "lots": shown(self.lots),
            "shifts": shown(self.shifts),
            "drift": self.drift.to_dict(),
            "change": shown(self.change),
            "changed_at": self.changed_at,
            "chart": self.chart.to_dict(),
            "station_charts": [c.to_dict() for c in self.courses],
            "readings": [r.to_dict() for r in self.readings],
            "set_aside": self.aside,
            "more_trays": self.more_trays,
            "said": list(self.said),
        }


def watch(store: ShotStore, machine: str, slices: int = 40) -> Watch:
    """Charts and tests of everything kept of a machine. Raises BadInput when there is nothing."""
    cells, first, width = store.cells(machine, slices)
    course, stations = _by(cells, 3), _by(cells, 0)
    tried, bad = int(stations.tried.sum()), int(stations.bad.sum())
    _, adjusted = compare.each_against_rest(stations.bad, stations.tried, worse_only=True)
    several = len(course.keys) >= 3
    worst = compare.largest_cell(stations.bad, stations.tried)
    change = change_of_share(course.bad, course.tried) if several and bad else None
    found = Watch(
        machine, tried, bad, compare.clopper_pearson(bad, tried), stations,
        worst, tuple(float(p) for p in adjusted),
        _trays(store, machine, len(stations.keys), _recent(course, first, width)), _strata(cells, 1), _strata(cells, 2),
        compare.trend(course.bad, course.tried, course.keys) if len(course.keys) > 1 else Test("Cochran-Armitage", 0.0, 1.0),
        change, "" if change is None else _date(first + width * course.keys[change.at]),
        None if change is None else first + width * course.keys[change.at],
        p_chart(course.bad, course.tried, overdispersed=len(course.keys) > 8),
        tuple(_reading(store, machine, name, slices, first, width) for name in store.reading_names(machine)),
        store.aside(0)[0], _more(stations, len(stations.keys), worst.p), (), share_courses(cells, first, width),
    )  # fmt: skip
    return Watch(**{**found.__dict__, "said": tuple(_said(found))})


def _date(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d %H:%M")


def _trays(store: ShotStore, machine: str, stations: int, since: float) -> Dispersion | None:
    table = store.per_tray(machine, since)
    full = table[table[:, 0] == stations]
    number = int(full[:, 2].sum()) if len(full) else 0
    if stations < 2 or number < 5:
        return None
    counts = np.repeat(full[:, 1], full[:, 2])
    if number > _MOST_TRAYS:  # more trays sharpen nothing that a person acts on
        counts = np.random.default_rng(0).choice(counts, _MOST_TRAYS, replace=False)
    return dispersion(counts, stations)


def _by(cells: Tally, place: int) -> Tally:
    """Cells summed over all but one of their keys."""
    keys = sorted({k[place] for k in cells.keys})
    row = {k: n for n, k in enumerate(keys)}
    index = np.array([row[k[place]] for k in cells.keys])
    tried, bad = (np.bincount(index, weights=x, minlength=len(keys)).astype(np.int64) for x in (cells.tried, cells.bad))
    return Tally(tuple(keys), tried, bad)


def _recent(course: Tally, first: float, width: float) -> float:
    """Time from which the latest slices hold enough shots for the trays to speak."""
    reach = np.cumsum(course.tried[::-1])
    k = len(reach) - 1 - int(np.searchsorted(reach, 20 * _MOST_TRAYS))
    return first + width * int(course.keys[max(k, 0)])


def _strata(cells: Tally, place: int) -> Test | None:
    """Lots (place 1) or shifts (place 2), stations as strata; None with one group or too many to compare."""
    groups, stations = sorted({k[place] for k in cells.keys}), sorted({k[0] for k in cells.keys})
    if not 2 <= len(groups) <= _MOST_GROUPS:
        return None
    column, row = {g: n for n, g in enumerate(groups)}, {s: n for n, s in enumerate(stations)}
    at = [row[k[0]] for k in cells.keys], [column[k[place]] for k in cells.keys]
    tried, bad = np.zeros((len(stations), len(groups))), np.zeros((len(stations), len(groups)))
    np.add.at(tried, at, cells.tried)
    np.add.at(bad, at, cells.bad)
    return compare.stratified(bad, tried)


def _reading(store: ShotStore, machine: str, name: str, slices: int, first: float, width: float) -> ReadingWatch:
    table = store.means(machine, name, slices)
    stations = np.unique(table[:, 0]).astype(int)
    weight = [float(table[table[:, 0] == s, 2].sum()) for s in stations]
    means = [
        float(table[table[:, 0] == s, 2] @ table[table[:, 0] == s, 3]) / w
        for s, w in zip(stations, weight, strict=True)
    ]
    middle = float(np.median(means))
    spread = 1.4826 * float(np.median(np.abs(np.array(means) - middle)))
    error = np.sqrt(float(table[:, 2] @ table[:, 4]) / float(table[:, 2].sum()) / np.array(weight))
    apart = [int(s) for s, m, e in zip(stations, means, error, strict=True)
             if abs(m - middle) > max(5.0 * spread, 4.0 * e, 0.02 * abs(middle))]  # fmt: skip
    times = np.unique(table[:, 1])
    course = [float(np.average(table[table[:, 1] == t, 3], weights=table[table[:, 1] == t, 2])) for t in times]
    chart = individuals(course) if len(course) > 2 else None
    courses = reading_courses(table, first, width)
    parts = None
    if len(stations) > 1 and sum(weight) > len(stations):
        own = [table[table[:, 0] == s] for s in stations]
        variances = [float(t[:, 2] @ (t[:, 4] + (t[:, 3] - m) ** 2)) / w for t, m, w in zip(own, means, weight, strict=True)]
        parts = compare.components(weight, means, variances)
    return ReadingWatch(name, tuple(int(s) for s in stations), tuple(means), tuple(apart), chart, courses, parts)


def _more(stations: Tally, number: int, worst: float) -> int | None:
    """Further trays that would show the worst station, if its present share is its true one."""
    if number < 2 or not stations.bad.sum():
        return None
    if worst < _RISK:
        return 0
    k = int(np.argmax(stations.bad / stations.tried))
    rest = float((stations.bad.sum() - stations.bad[k]) / (stations.tried.sum() - stations.tried[k]))
    share = float(stations.bad[k] / stations.tried[k])
    if share <= 1.5 * rest or stations.tried.max() > 400:
        return None
    needed = trays_needed(number, min(share, 0.99), max(rest, 0.002), _RISK)
    return None if needed is None else max(needed - int(stations.tried.min()), 0)


def _said(w: Watch) -> Sequence[str]:
    low, high = w.interval
    out = [
        f"{w.bad} bad of {w.tried} ({100 * w.bad / w.tried:.2g} %; 95 % between {100 * low:.2g} and {100 * high:.2g} %)."
    ]
    if w.worst.p < _RISK:
        k = int(np.argmin(w.against_rest))
        out.append(
            f"Station {w.stations.keys[k]} is worse than the others: {w.stations.bad[k]} of {w.stations.tried[k]} bad "
            f"(chance of that with equal stations {w.worst.p:.2g})."
        )
    elif w.more_trays:
        out.append(
            f"No station stands out yet; about {w.more_trays} more full trays would show the worst one if it is real."
        )
    else:
        out.append("No station stands out.")
    if w.trays is not None and min(w.trays.p_even, w.trays.p_bunched) < _RISK:
        out.append(f"Per tray: {w.trays.verdict(_RISK)}.")
    for name, test in (("lots", w.lots), ("shifts", w.shifts)):
        if test is not None and test.p < _RISK:
            out.append(f"The {name} differ, stations taken apart (p = {test.p:.2g}).")
    if w.change is not None and w.change.p < _RISK:
        before, after = 100 * w.change.before, 100 * w.change.after
        out.append(
            f"The share changed about {w.changed_at}: {before:.2g} % before, {after:.2g} % after. What happened then?"
        )
    elif w.drift.p < _RISK:
        out.append(f"The share drifts {'up' if w.drift.statistic > 0 else 'down'} (p = {w.drift.p:.2g}).")
    for r in w.readings:
        if r.apart:
            out.append(f"{r.name}: station {', '.join(map(str, r.apart))} stands apart from the others.")
    if w.aside:
        out.append("Set aside: " + ", ".join(f"{n} {reason}" for reason, n in w.aside.items()) + ".")
    return out
