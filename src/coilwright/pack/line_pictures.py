"""Pictures of the line: stations compared, charts over time with the change marked, causes with their probability."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.line.charts import Chart, Cusum
from coilwright.line.compare import clopper_pearson
from coilwright.line.course import Change
from coilwright.line.machine import READINGS
from coilwright.line.stations import ReadingCourse
from coilwright.line.watch import ReadingWatch, Watch
from coilwright.line.why import Answer
from coilwright.pack.looks import CURRENT, FAINT, GOOD, HOT, INK, PAPER, save, sheet

_MOST = 8  # stations on one sheet
_RISK = 0.01
_MARK = {"marker": "o", "markersize": 3.2, "linewidth": 1.0}


def watch_pictures(found: Watch, target: Path) -> list[Path]:
    """All charts of a machine into a folder: stations, shares over time, every reading."""
    out = [stations_picture(found, target / "stations.png"), shares_picture(found, target / "shares.png")]
    for reading in found.readings:
        if reading.courses:
            name = "".join(c if c.isalnum() or c in "-_" else "-" for c in reading.name)
            out.append(reading_picture(found, reading, target / f"reading-{name}.png"))
    return out


def stations_picture(found: Watch, path: Path | None = None) -> Any:
    """Share of bad pieces by station with its exact 95 % interval, the whole machine as a line."""
    t = found.stations
    with sheet(7.2, 1.6 + 0.36 * len(t.keys)) as (figure, axes):
        overall = 100.0 * found.bad / found.tried
        axes.axvline(overall, color=FAINT, lw=1.2, ls="--")
        axes.text(overall, -0.75, f" all {overall:.2g} %", color=INK, fontsize=8, va="center")
        for row, (tried, bad, p) in enumerate(zip(t.tried, t.bad, found.against_rest, strict=True)):
            low, high = clopper_pearson(int(bad), int(tried))
            worse = p < _RISK
            share = 100.0 * bad / tried
            colour = HOT if worse else CURRENT
            axes.plot([100.0 * low, 100.0 * high], [row, row], color=colour, lw=2.2 if worse else 1.4)
            axes.plot([share], [row], marker="s" if worse else "o", color=colour, markersize=6)
            chance = f"{p:.1g}" if p > 1e-6 else "below one in a million"
            note = f"{bad} of {tried}" + (f": worse than the others (chance {chance})" if worse else "")
            beyond = worse and share > 0.5 * _reach(found)  # the words end with the bar, not at the edge of the sheet
            where = (0, 10) if worse else (8, 0)  # above it where they are long
            axes.annotate(note, (100.0 * (low if worse and not beyond else high), row), where, textcoords="offset points",
                          fontsize=8, va="center", ha="right" if beyond else "left")  # fmt: skip
        axes.set_yticks(range(len(t.keys)), [f"station {k}" for k in t.keys])
        axes.set_ylim(len(t.keys) - 0.4, -1.1)
        axes.set_xlim(0.0, _reach(found))
        axes.set_xlabel("bad pieces, % (bars: 95 %, exact)")
        axes.grid(axis="y", visible=False)
        axes.set_title(f"{found.machine}: station against station")
        return save(figure, path)


def _reach(found: Watch) -> float:
    highs = [clopper_pearson(int(b), int(n))[1] for b, n in zip(found.stations.bad, found.stations.tried, strict=True)]
    return min(100.0, 115.0 * max(highs))


def shares_picture(found: Watch, path: Path | None = None) -> Any:
    """Share of bad pieces of every station over time, limits widened where lots differ more than dice, the change marked."""
    shown = _worst([c.station for c in found.courses], found)
    courses = [c for c in found.courses if c.station in shown]
    with sheet(8.2, 1.2 + 1.15 * len(courses), nrows=len(courses), sharex=True, squeeze=False) as (figure, grid):
        span = _span([c.times for c in courses])
        for axes, c in zip(grid[:, 0], courses, strict=True):
            _chart(axes, c.times, c.chart, 100.0)
            axes.set_ylim(0.0, max(5.0, 105.0 * float(np.max(c.chart.values)), 105.0 * float(np.max(c.chart.upper))))
            _label(axes, f"station {c.station}", f"{100 * c.chart.centre:.2g} %")
            if c.change is not None and c.change.p < _RISK:
                _change(axes, c.times, c.change, f"{100 * c.change.before:.2g} → {100 * c.change.after:.2g} %")
        _dates(grid[-1, 0], span)
        notes = sorted({n for c in courses for n in c.chart.notes})
        figure.suptitle(f"{found.machine}: share of bad pieces, %", x=0.02, ha="left", fontsize=11, weight="bold")
        figure.supxlabel(_legend(bool(notes)), fontsize=8)
        return save(figure, path)


def reading_picture(found: Watch, reading: ReadingWatch, path: Path | None = None) -> Any:
    """One reading of every station: singly, smoothed, summed up; points outside the limits filled."""
    shown = _worst([c.station for c in reading.courses], found, reading.apart)
    courses = [c for c in reading.courses if c.station in shown]
    size = (10.0, 1.3 + 1.25 * len(courses))
    with sheet(*size, nrows=len(courses), ncols=3, sharex=True, squeeze=False) as (figure, grid):
        span = _span([c.times for c in courses])
        for row, c in zip(grid, courses, strict=True):
            _reading_row(row, c)
            _label(row[0], f"station {c.station}", "" if c.station not in reading.apart else "stands apart")
        for axes, title in zip(grid[0], ("singly", "EWMA (smoothed)", "CUSUM (summed up)"), strict=True):
            axes.set_title(title, fontsize=9)
        for axes in grid.flat:
            axes.tick_params(labelsize=7)
        for axes in grid[-1]:
            _dates(axes, span, 3)
        figure.suptitle(
            f"{found.machine}: {reading.name} (SI), means over time", x=0.02, ha="left", fontsize=11, weight="bold"
        )
        figure.supxlabel(_legend(False), fontsize=8)
        return save(figure, path)


def _reading_row(row: Sequence[Any], c: ReadingCourse) -> None:
    _chart(row[0], c.times, c.singly, 1.0)
    _chart(row[1], c.times, c.ewma, 1.0)
    _sums(row[2], c.times, c.cusum)
    if c.change is not None and c.change.p < _RISK:
        _change(row[0], c.times, c.change, f"{c.change.before:.4g} → {c.change.after:.4g}")


def _chart(axes: Any, times: Any, chart: Chart, scale: float) -> None:
    days = times / 86400.0
    axes.axhline(scale * chart.centre, color=FAINT, lw=1.0)
    for limit in (chart.lower, chart.upper):
        axes.step(days, scale * limit, where="mid", color=INK, lw=0.9, ls="--")
    axes.plot(days, scale * chart.values, color=CURRENT, markerfacecolor="none", **_MARK)
    outside = list(chart.alarms)
    axes.plot(days[outside], scale * chart.values[outside], "s", color=HOT, markersize=5)


def _sums(axes: Any, times: Any, sums: Cusum) -> None:
    days = times / 86400.0
    for values, way in ((sums.high, 1.0), (-sums.low, -1.0)):
        axes.plot(days, values, color=CURRENT, markerfacecolor="none", ls="-" if way > 0 else ":", **_MARK)
        axes.axhline(way * sums.h, color=INK, lw=0.9, ls="--")
        outside = np.abs(values) > sums.h
        axes.plot(days[outside], values[outside], "s", color=HOT, markersize=5)
    axes.axhline(0.0, color=FAINT, lw=1.0)


def _change(axes: Any, times: Any, change: Change, text: str) -> None:
    """Between which points the change lies (90 %), and the likeliest place."""
    days = times / 86400.0
    edges = np.concatenate([[days[0]], 0.5 * (days[1:] + days[:-1]), [days[-1]]])
    low, high = edges[change.interval[0]], edges[min(change.interval[1], len(edges) - 1)]
    axes.axvspan(low, max(high, low + 0.004 * (days[-1] - days[0])), color=HOT, alpha=0.14, lw=0)
    axes.axvline(edges[change.at], color=HOT, lw=1.3)
    left = edges[change.at] > days[0] + 0.25 * (days[-1] - days[0])
    axes.annotate(text, (edges[change.at], 0.97), xycoords=("data", "axes fraction"), xytext=(-4 if left else 4, 0), color=HOT,
                  textcoords="offset points", ha="right" if left else "left", va="top", fontsize=7.5, zorder=6,
                  bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1.0})  # fmt: skip


def _label(axes: Any, name: str, more: str) -> None:
    axes.set_ylabel(f"{name}\n{more}" if more else name, fontsize=8, rotation=0, ha="right", va="center", labelpad=8)
    axes.tick_params(labelsize=7)


def _span(times: Sequence[Any]) -> tuple[float, float]:
    return float(min(t[0] for t in times)) / 86400.0, float(max(t[-1] for t in times)) / 86400.0


def _dates(axes: Any, span: tuple[float, float], number: int = 6) -> None:
    ticks = np.linspace(*span, number)
    form = "%d %b %Y" if span[1] - span[0] > 2.0 else "%d %b %H:%M"
    axes.set_xticks(ticks, [datetime.fromtimestamp(86400.0 * t, UTC).strftime(form) for t in ticks], fontsize=7)


def _legend(widened: bool) -> str:
    more = "; limits widened by how much the lots differ" if widened else ""
    return f"dashed: limits; squares: outside; line and band: where it changed, 90 %{more}; by the machine's own clock"


def _worst(stations: Sequence[int], found: Watch, apart: Sequence[int] = ()) -> set[int]:
    """Those shown when there are more than fit: the ones that stand apart, then the worst."""
    share = {
        int(k): b / n for k, b, n in zip(found.stations.keys, found.stations.bad, found.stations.tried, strict=True)
    }
    return set(sorted(stations, key=lambda k: (k not in apart, -share.get(k, 0.0)))[:_MOST])


def causes_picture(answer: Answer, path: Path | None = None) -> Any:
    """Causes with their probability and size, and what the next readings would tell per minute."""
    ranked = [r for r in answer.ranked if r.probability >= 0.005][::-1]
    ask = answer.next[::-1]
    height = 1.7 + 0.36 * (len(ranked) + max(len(ask), 1))
    ratios = {"height_ratios": [len(ranked) + 0.8, max(len(ask), 1) + 0.8]}
    with sheet(8.6, height, nrows=2, gridspec_kw=ratios) as (figure, (top, low)):
        told = {"cause": HOT, "station": CURRENT, "nothing": FAINT}[answer.told]
        for row, r in enumerate(ranked):
            first = row == len(ranked) - 1
            top.barh(
                row, 100.0 * r.probability, color=told if first else FAINT, alpha=0.9 if first else 0.6, height=0.66
            )
            size = "" if r.size is None else f",  {r.size[1]:.2g} ({r.size[0]:.2g} to {r.size[2]:.2g}) {r.unit}"
            inside = r.probability > 0.6
            top.annotate(f" {100 * r.probability:.0f} %{size} ", (100.0 * r.probability, row), va="center", fontsize=8,
                         ha="right" if inside else "left", color="white" if inside and first else INK)  # fmt: skip
        top.set_yticks(range(len(ranked)), [_wrapped(r.name) for r in ranked], fontsize=8)
        top.set_xlim(0, 100)
        top.set_xlabel("probability, %")
        top.set_title({"cause": "The cause is told", "station": "The station is told, its cause is not",
                       "nothing": "Cannot be told from these readings"}[answer.told])  # fmt: skip
        low.barh(range(len(ask)), [n.rate for n in ask], color=GOOD, alpha=0.75, height=0.62)
        for row, n in enumerate(ask):
            low.annotate(f" {n.bits:.2g} bit in {n.minutes:g} min", (n.rate, row), va="center", fontsize=8)
        low.set_yticks(range(len(ask)), [_wrapped(READINGS[n.what].asked) for n in ask], fontsize=8)
        low.set_xlim(0, 1.35 * max((n.rate for n in ask), default=1.0))
        low.set_xlabel("what the next reading would tell, bit per minute")
        for axes in (top, low):
            axes.grid(axis="y", visible=False)
        return save(figure, path)


def _wrapped(text: str) -> str:
    words, lines = text.split(), [""]
    for word in words:
        if len(lines[-1]) + len(word) > 44:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return "\n".join(lines)
