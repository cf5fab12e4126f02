"""Pictures of a search: the front among all points that pass, and where on its bounds each point of it lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.pack.looks import CURRENT, FAINT, GOOD, HOT, INK, PAPER, save, sheet
from coilwright.seek.figures import FIGURES, Figure
from coilwright.seek.result import SeekPoint, SeekResult

_MOST_PANELS = 6
_PANEL = 230.0  # points: about the side of a panel
_LETTER = 0.014  # width of a letter as a share of an axis
_LONGEST = 16  # characters of a value written beside an axis


def seek_pictures(result: SeekResult, target: Path) -> list[Path]:
    """All pictures of a search into a folder: none when nothing passes."""
    if not result.front:
        return []
    return [front_picture(result, target / "front.png"), choices_picture(result, target / "choices.png")]


def front_picture(result: SeekResult, path: Path | None = None) -> Any:
    """The points of the front, numbered, among all that pass: one panel for each pair of objectives."""
    pairs = _pairs(result.objectives)
    columns = min(len(pairs), 3)
    rows = -(-len(pairs) // columns)
    width, height = (6.8, 4.9) if len(pairs) == 1 else (4.1 * columns + 0.4, 3.9 * rows + 0.7)
    with sheet(width, height, nrows=rows, ncols=columns, squeeze=False) as (figure, axes):
        for n, panel in enumerate(axes.flat):
            if n < len(pairs):
                _panel(panel, result, *pairs[n])
            else:
                panel.set_visible(False)
        handles, labels = axes.flat[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=len(labels), fontsize=8)
        figure.suptitle(f"{result.title}: what can be had together", x=0.01, ha="left", fontsize=11, weight="bold")
        return save(figure, path)


def _pairs(objectives: Sequence[Figure]) -> list[tuple[Figure, Figure]]:
    """Every pair, the first along the bottom; a single objective with what it costs in kVA, which every shot tells."""
    if len(objectives) == 1:
        cost = FIGURES["coil kVA" if objectives[0].name != "coil kVA" else "coil current"]
        return [(objectives[0], cost)]
    pairs = [(a, b) for k, a in enumerate(objectives) for b in objectives[k + 1 :]]
    return pairs[:_MOST_PANELS]


def _panel(axes: Any, result: SeekResult, across: Figure, up: Figure) -> None:
    seen = _places(result.explored, across, up)
    axes.scatter(*seen.T, s=9, color=FAINT, alpha=0.65, lw=0, label="passes (coarse meshes)")
    front = _places([p.figures for p in result.front], across, up)
    order = np.argsort(front[:, 0])
    if len(result.objectives) == 2:
        axes.plot(*front[order].T, color=HOT, lw=1.0, alpha=0.6)
    axes.scatter(*front.T, s=34, color=HOT, zorder=3, edgecolor=PAPER, lw=0.7, label="front (as heat gives it)")
    middle = result.balanced
    for point, place in zip(result.front, front, strict=True):
        if point is middle:
            label = "balanced"
            axes.scatter(*place, s=120, facecolor="none", edgecolor=GOOD, lw=1.6, zorder=4, label=label)
    points = front
    drawn = result.as_drawn.figures
    if across.name in drawn and up.name in drawn:
        passes = result.as_drawn.outcome.passes
        label = "as drawn" if passes else "as drawn (fails)"
        here = _places([drawn], across, up)[0]
        axes.plot(*here, marker="P" if passes else "X", color=CURRENT, ms=8, ls="", zorder=4, label=label)
        front = np.vstack([front, here])
    axes.set_xlabel(_label(across))
    axes.set_ylabel(_label(up))
    axes.set(xlim=_frame(front[:, 0]), ylim=_frame(front[:, 1]))
    _number(axes, [p.number for p in result.front], points)


def _frame(values: Any) -> tuple[float, float]:
    """What is shown of an axis: the front and the job as drawn with room about them, not every point far from both."""
    low, high = float(values.min()), float(values.max())
    room = 0.3 * (high - low) or 0.1 * abs(high) or 1.0
    return (low - room if low < 0.0 else max(low - room, -0.05 * high)), high + room


def _number(axes: Any, numbers: Sequence[int], places: Any) -> None:
    """Numbers beside their points, each on the first side where nothing else stands near, else where most room is."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    x = (places - [left, low]) / [right - left, high - low]
    sides = [(6, 5), (6, -11), (-13, 5), (-13, -11), (-4, 9), (-4, -16), (12, 12), (12, -18), (-20, 12), (-20, -18)]
    middle = np.array([4.0, 3.0])  # of a number, from where its text begins
    steps = (np.array(sides, dtype=float) + middle) / _PANEL
    taken: list[Any] = list(x)
    for n, place in enumerate(x):
        free = [min(float(np.hypot(*(place + s - t))) for t in taken) for s in steps]
        best = next((k for k, f in enumerate(free) if f > 9.0 / _PANEL), int(np.argmax(free)))
        taken.append(place + steps[best])
        axes.annotate(
            str(numbers[n]), places[n], sides[best], textcoords="offset points", fontsize=7.5, color=INK, zorder=5
        )  # fmt: skip


def _places(figures: Sequence[Mapping[str, float]], across: Figure, up: Figure) -> Any:
    rows = [(across.in_unit(f[across.name]), up.in_unit(f[up.name])) for f in figures]
    return np.array(rows, dtype=float).reshape(-1, 2)


def _label(figure: Figure) -> str:
    unit = f", {figure.unit}" if figure.unit and figure.unit not in figure.name else ""
    return f"{figure.name}{unit}  ({'more' if figure.more else 'less'} is better)"


def choices_picture(result: SeekResult, path: Path | None = None) -> Any:
    """Along every bound of the search, where the points of the front lie: what all share, and what makes them differ."""
    space = result.space.axes
    tones = np.linspace(0.0, 1.0, max(len(result.front), 2))
    with sheet(7.6, 1.5 + 0.62 * len(space)) as (figure, axes):
        for row, axis in enumerate(reversed(space)):
            last = len(axis.values) - 1
            axes.plot([0, 1], [row, row], color=FAINT, lw=1.2, zorder=1)
            for k, at, side in ((0, -0.02, "right"), (last, 1.02, "left")):
                axes.annotate(
                    _short(axis.shown(axis.values[k])), (at, row), ha=side, va="center", fontsize=7.5, color=INK
                )
            _beads(axes, row, [axis.place(p.values[axis.what]) for p in result.front], result.front, tones)
        axes.set_yticks(range(len(space)), [a.what for a in reversed(space)])
        axes.set(ylim=(-0.6, len(space) - 0.35), xlim=(-0.24, 1.24), xticks=[])
        axes.grid(False)
        axes.spines["bottom"].set_visible(False)
        axes.spines["left"].set_visible(False)
        axes.tick_params(left=False)
        figure.suptitle(
            f"{result.title}\nwhere the front lies within its bounds; numbers as in the table",
            x=0.01, ha="left", fontsize=10, weight="bold",
        )  # fmt: skip
        return save(figure, path)


def _beads(axes: Any, row: int, places: Sequence[float], points: Sequence[SeekPoint], tones: Any) -> None:
    """Numbered beads; those at one place are listed together."""
    together: dict[float, list[int]] = {}
    for k, place in enumerate(places):
        together.setdefault(round(place, 2), []).append(k)
    ends = dict.fromkeys((9, -14, 18, -23), -1.0)  # right end of the last text at each height
    for place, members in sorted(together.items()):
        axes.scatter([place], [row], s=46, color=HOT, alpha=0.45 + 0.5 * float(tones[members[0]]), zorder=2, lw=0)
        text = _numbers([points[k].number for k in members])
        half = 0.5 * _LETTER * len(text)
        height = next((h for h, end in ends.items() if place - half > end), 9)
        ends[height] = place + half + _LETTER
        axes.annotate(text, (place, row), (0, height), textcoords="offset points", ha="center", fontsize=7)


def _numbers(numbers: Sequence[int]) -> str:
    """1, 2, 3, 5 as "1-3, 5"."""
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(", ".join(map(str, r)) if len(r) < 3 else f"{r[0]}–{r[-1]}" for r in runs)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
