"""Every station by itself over time: its share of bad pieces and its readings, charted, with the day it changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from coilwright.line.charts import Array, Chart, Cusum, cusum, ewma, exact_p_chart, individuals, mean_sigma, p_chart
from coilwright.line.course import Change, change_of_mean, change_of_share
from coilwright.store.shots import Tally

_SHOWN = 0.01  # chance of so large a change in an unchanged series, below which limits are those of the time before it
_LEAST = 4  # points from which a course is charted
_FEW = 5.0  # bad pieces a slice, on the average, below which limits come from the binomial itself
_WIDTH, _DECISION = 0.5, 5.0  # of the CUSUM, in sigma: the usual choice for a shift of one sigma (Montgomery, from memory)


@dataclass(frozen=True, eq=False)
class ShareCourse:
    """Bad pieces of one station over time: `times` (k,) s in the middle of each slice, chart, change point if it can be told."""

    station: int
    times: Array
    chart: Chart
    change: Change | None

    def to_dict(self) -> dict[str, Any]:
        return {
            "station": self.station,
            "time_s": self.times.tolist(),
            "chart": self.chart.to_dict(),
            "change": None if self.change is None else self.change.to_dict(),
        }


@dataclass(frozen=True, eq=False)
class ReadingCourse:
    """Means of one reading of one station over time, charted singly, as EWMA and as CUSUM. Limits are those of the time before
    the change, where there was one."""

    station: int
    times: Array
    singly: Chart
    ewma: Chart
    cusum: Cusum
    change: Change | None

    def to_dict(self) -> dict[str, Any]:
        return {
            "station": self.station,
            "time_s": self.times.tolist(),
            "individuals": self.singly.to_dict(),
            "ewma": self.ewma.to_dict(),
            "cusum": self.cusum.to_dict(),
            "change": None if self.change is None else self.change.to_dict(),
        }


def share_courses(cells: Tally, first: float, width: float) -> tuple[ShareCourse, ...]:
    """From counts by (station, lot, shift, slice) as the store sums them; slices without pieces are left out."""
    sums: dict[tuple[int, int], list[int]] = {}
    for (station, _, _, part), tried, bad in zip(cells.keys, cells.tried, cells.bad, strict=True):
        total = sums.setdefault((station, part), [0, 0])
        total[0] += int(tried)
        total[1] += int(bad)
    out = []
    for station in sorted({k[0] for k in sums}):
        parts = sorted(k[1] for k in sums if k[0] == station)
        tried, bad = (np.array([sums[station, p][n] for p in parts]) for n in (0, 1))
        change = change_of_share(bad, tried) if len(parts) >= _LEAST and bad.any() and np.any(bad < tried) else None
        base = len(parts) if change is None else _before(change, len(parts))
        few = bad[:base].sum() < _FEW * base
        chart = exact_p_chart(bad, tried, base=base) if few else p_chart(bad, tried, base > 8, base)
        out.append(ShareCourse(station, _middles(parts, first, width), chart, change))
    return tuple(out)


def reading_courses(table: Array, first: float, width: float) -> tuple[ReadingCourse, ...]:
    """From rows (station, slice, number, mean, variance); stations with too few slices, or none of whose means differ, are
    left out."""
    out = []
    for station in np.unique(table[:, 0]):
        own = table[table[:, 0] == station]
        values = own[np.argsort(own[:, 1]), 3]
        if len(values) < _LEAST or not np.ptp(values) > 0.0:
            continue
        change = change_of_mean(values)
        base = _before(change, len(values))
        target, sigma = mean_sigma(values[:base])
        if not sigma > 0.0:
            continue
        times = _middles(np.sort(own[:, 1]).tolist(), first, width)
        out.append(ReadingCourse(int(station), times, individuals(values, base), ewma(values, target, sigma),
                                 cusum(values, target, _WIDTH * sigma, _DECISION * sigma), change))  # fmt: skip
    return tuple(out)


def _before(change: Change, number: int) -> int:
    """How many first points the limits are taken from: those before a change that can be told, else all."""
    return change.at if change.p < _SHOWN and change.at >= _LEAST else number


def _middles(parts: Sequence[float], first: float, width: float) -> Array:
    return first + width * (np.asarray(parts, dtype=float) + 0.5)
