"""Pictures of a window: tolerance ladder, maps of two quantities, yield by station, what moves the margin, what shows a fault."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.pack.looks import COPPER, CURRENT, FAINT, GOOD, HOT, INK, PAPER, save, sheet
from coilwright.window.limits import Tolerance
from coilwright.window.quantities import VariedQuantity
from coilwright.window.result import WindowResult
from coilwright.window.yields import SETTING, TOO_LITTLE, TOO_MUCH, Map

_NAMES = {SETTING: "setting of the source, %", "drive.on_time": "on-time, s"}


def window_pictures(result: WindowResult, target: Path) -> list[Path]:
    """All pictures of a window into a folder."""
    out = [
        ladder_picture(result, target / "tolerances.png"),
        stations_picture(result, target / "stations.png"),
        variance_picture(result, target / "causes.png"),
        setting_picture(result, target / "setting.png"),
    ]
    for n, plan in enumerate(result.maps, 1):
        out.append(map_picture(result, plan, target / f"map-{n}.png"))
    if result.sights:
        out.append(readings_picture(result, target / "readings.png"))
    return out


def _scaled(q: VariedQuantity) -> tuple[float, float, str]:
    """(scale, offset, unit) for showing a quantity: shown = (value - offset) * scale."""
    if q.role in ("mains", "setting"):
        return 100.0 / q.nominal, 0.0, "%"
    units = {"length": (1e3, "mm"), "angle": (180.0 / math.pi, "deg"), "mass": (1e6, "mg")}
    if q.kind in units:
        return units[q.kind][0], 0.0, units[q.kind][1]
    if q.kind == "temperature":
        return 1.0, 273.15, "°C"
    return 1.0, 0.0, q.unit


def ladder_picture(result: WindowResult, path: Path | None = None) -> Any:
    """How far each quantity may be out alone (bar), what it usually does (line, two deviations), and all at once."""
    rungs = result.tolerances
    with sheet(8.2, 1.3 + 0.52 * len(rungs)) as (figure, axes):
        for row, t in enumerate(reversed(rungs)):
            _rung(axes, row, t)
        axes.set_yticks(range(len(rungs)), [t.quantity.what for t in reversed(rungs)])
        axes.set_ylim(-0.6, len(rungs) - 0.1)
        axes.set_xlim(-1.32, 1.32)
        axes.set_xticks([-1, -0.5, 0, 0.5, 1], ["−100", "−50", "drawn", "50", "100"])
        axes.set_xlabel("share of the range looked at, %")
        axes.grid(axis="y", visible=False)
        axes.set_title(f"{result.title}: how far each thing may be out")
        handles = [
            axes.barh(-9, 0, color=GOOD, alpha=0.55, label="passes, all else as drawn"),
            axes.barh(-9, 0, color=HOT, alpha=0.6, label="fails"),
            axes.plot([], [], color=INK, lw=2.2, label="usual: two deviations either way")[0],
            axes.plot([], [], color=CURRENT, lw=5, alpha=0.9, label="all at once")[0],
        ]
        figure.legend(handles=handles, loc="outside lower center", ncols=4, fontsize=8)
        return save(figure, path)


def _rung(axes: Any, row: int, t: Tolerance) -> None:
    q = t.quantity
    low, high = t.searched

    def x(value: float) -> float:
        reach = (high - q.nominal) if value >= q.nominal else (q.nominal - low)
        return (value - q.nominal) / reach if reach > 0.0 else 0.0

    left = -1.0 if q.nominal > low else 0.0
    right = 1.0 if high > q.nominal else 0.0
    fail_left = left if t.low is None else x(t.low)
    fail_right = right if t.high is None else x(t.high)
    axes.barh(row, fail_right - fail_left, left=fail_left, height=0.46, color=GOOD, alpha=0.55)
    axes.barh(row, fail_left - left, left=left, height=0.46, color=HOT, alpha=0.6)
    axes.barh(row, right - fail_right, left=fail_right, height=0.46, color=HOT, alpha=0.6)
    axes.plot([x(t.together[0]), x(t.together[1])], [row, row], color=CURRENT, lw=5, alpha=0.9, solid_capstyle="butt")
    middle = float(q.ppf(0.5))
    usual = [max(low, middle - 2 * q.sigma), min(high, middle + 2 * q.sigma)]
    axes.plot([x(v) for v in usual], [row + 0.31, row + 0.31], color=INK, lw=2.2, solid_capstyle="butt")
    for value, at, side in ((t.low, fail_left, "left"), (t.high, fail_right, "right")):
        end = (low if side == "left" else high) if value is None else value
        text = q.shown(end) if value is not None else f"> {q.shown(end)}" if side == "right" else f"< {q.shown(end)}"
        edge = left if side == "left" else right
        colour = INK if value is not None else FAINT
        place = (edge - 0.03, row) if side == "left" else (edge + 0.03, row)
        axes.annotate(text, place, va="center", ha="right" if side == "left" else "left", fontsize=7.5, color=colour)
        if value is not None:
            axes.plot([at, at], [row - 0.23, row + 0.23], color=INK, lw=1.2)


def stations_picture(result: WindowResult, path: Path | None = None) -> Any:
    """Scrap of every station with its interval, and the power each gets as drawn."""
    shares = result.forecast.stations
    n = np.arange(1, len(shares) + 1)
    bad = 100.0 * (1.0 - np.array([s.share for s in shares]))
    low = 100.0 * (1.0 - np.array([s.high for s in shares]))
    high = 100.0 * (1.0 - np.array([s.low for s in shares]))
    with sheet(7.2, 4.4) as (figure, axes):
        axes.bar(n, bad, width=0.55, color=HOT, alpha=0.75)
        axes.errorbar(
            n,
            bad,
            yerr=[np.maximum(bad - low, 0), np.maximum(high - bad, 0)],
            fmt="none",
            ecolor=INK,
            capsize=4,
            lw=1.2,
        )
        axes.set(xlabel="station", ylabel="scrap, %", xticks=n, ylim=(0, max(1.25 * float(high.max()), 0.01)))
        axes.grid(axis="x", visible=False)
        right = axes.twinx()
        right.grid(False)
        right.spines["right"].set_visible(True)
        powers = result.stations.powers
        right.plot(n, powers, color=CURRENT, marker="o", lw=1.2, ls="--")
        room = max(float(powers.max() - powers.min()), 0.04 * float(powers.max()))
        right.set_ylim(float(powers.min()) - 1.5 * room, float(powers.max()) + 0.6 * room)
        right.set_ylabel("power in the part, cold, as drawn, W", color=CURRENT)
        parts = result.forecast.parts
        axes.set_title(f"{result.title}: yield {100 * parts.share:.2f} %")
        return save(figure, path)


def variance_picture(result: WindowResult, path: Path | None = None) -> Any:
    """What moves the margin, and what share of the scrap each quantity's nominal value would have saved."""
    v = result.variance
    names = sorted(v.total, key=lambda name: v.total[name])
    y = np.arange(len(names))
    with sheet(7.6, 1.4 + 0.46 * len(names)) as (figure, axes):
        axes.barh(
            y + 0.18,
            [100 * max(v.total[n], 0.0) for n in names],
            height=0.34,
            color=COPPER,
            label="share of the variance",
        )
        saved = [100 * result.blame[n] for n in names]
        axes.barh(y - 0.18, saved, height=0.34, color=HOT, alpha=0.75, label="scrap saved if it were as drawn")
        axes.set_yticks(y, names)
        axes.set(xlabel="%", xlim=(0, 100))
        axes.grid(axis="y", visible=False)
        axes.legend(loc="lower right", fontsize=8)
        axes.set_title(f"{result.title}\nwhat moves “{v.limit}” at station {v.station}")
        return save(figure, path)


def _inside(axis: Any, values: Any, room: float) -> float:
    """The middle of some values, kept off the ends of the axis."""
    span = room * (axis[-1] - axis[0])
    return float(np.clip(np.median(values), axis[0] + span, axis[-1] - span))


def map_picture(result: WindowResult, plan: Map, path: Path | None = None) -> Any:
    """Pass region of two quantities: too little, good, too much, with the drawn point and the usual spread."""
    x, kx, label_x = _axis(result, plan.across, plan.x)
    y, ky, label_y = _axis(result, plan.up, plan.y)
    with sheet(6.6, 5.2) as (figure, axes):
        axes.set_facecolor("#cfdcb4")
        for margins, colour in ((plan.too_much, "#e3b294"), (plan.too_little, "#a9c3cf")):
            if margins.min() < 0.0:
                axes.contourf(x, y, margins, levels=[-1e9, 0.0], colors=[colour])
            if margins.min() < 0.0 < margins.max():
                axes.contour(x, y, margins, levels=[0.0], colors=[INK], linewidths=1.4)
        _spread(axes, result, plan, kx, ky)
        for code, word in ((TOO_LITTLE, "too little"), (1, "good"), (TOO_MUCH, "too much")):
            inside = plan.outcome == code
            if inside.mean() > 0.002:
                rows, columns = np.nonzero(inside)
                place = (_inside(x, x[columns], 0.08), _inside(y, y[rows], 0.05))
                axes.annotate(
                    word, place, (0, 24 if inside.mean() > 0.2 else 0),
                    textcoords="offset points", ha="center", va="center", fontsize=10, color=INK,
                    bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.6, "pad": 1.5},
                )  # fmt: skip
        axes.set(xlabel=label_x, ylabel=label_y)
        axes.grid(False)
        axes.set_title(f"{result.title}\nstation {plan.station}, all else as drawn")
        return save(figure, path)


def _axis(result: WindowResult, name: str, values: Any) -> tuple[Any, tuple[float, float], str]:
    """Shown values, (scale, offset), label."""
    if name in _NAMES:
        scale = 100.0 if name == SETTING else 1.0
        return values * scale, (scale, 0.0), _NAMES[name]
    q = next(q for q in result.study.varied if q.what == name)
    scale, offset, unit = _scaled(q)
    return (values - offset) * scale, (scale, offset), f"{name}, {unit}".rstrip(", ")


def _spread(axes: Any, result: WindowResult, plan: Map, kx: tuple[float, float], ky: tuple[float, float]) -> None:
    """The drawn point, and an ellipse of two deviations where both quantities vary."""
    from matplotlib.patches import Ellipse

    sizes, centre = [], []
    for name, (scale, offset) in ((plan.across, kx), (plan.up, ky)):
        q = next((q for q in result.study.varied if q.what == name), None)
        nominal = (1.0 if name == SETTING else result.study.on_time) if q is None else q.nominal
        centre.append((nominal - offset) * scale)
        sizes.append(0.0 if q is None else 4.0 * q.sigma * scale)
    axes.plot(*centre, marker="+", color=INK, ms=12, mew=1.6)
    if all(sizes):
        axes.add_patch(Ellipse((centre[0], centre[1]), sizes[0], sizes[1], fill=False, ec=INK, lw=1.0, ls="--"))
        axes.annotate("two deviations", (centre[0], centre[1] - 0.5 * sizes[1]), xytext=(0, -4), fontsize=8,
                      textcoords="offset points", ha="center", va="top", color=INK)  # fmt: skip


def setting_picture(result: WindowResult, path: Path | None = None) -> Any:
    """Yield against the setting of the source, with where it stands and the middle of the window."""
    c = result.centre
    settings, yields = c.curve
    with sheet(7.2, 4.2) as (figure, axes):
        axes.plot(100 * settings, 100 * yields, color=HOT)
        word = "least good setting" if c.open_top else "middle of the window"
        axes.axvline(100.0, color=INK, lw=1.2, label="as set")
        axes.axvline(100 * c.setting, color=GOOD, lw=1.6, ls="--", label=f"{word}: {100 * c.setting:.1f} %")
        if c.source_end is not None:
            axes.axvline(
                100 * c.source_end, color=INK, lw=1.2, ls=":", label=f"source at its limit: {100 * c.source_end:.1f} %"
            )
        figure.legend(loc="outside lower center", ncols=3, fontsize=8)
        axes.set(xlabel="setting of the source, all stations together, %", ylabel="yield, %", ylim=(0, 102))
        axes.set_title(f"{result.title}: where to put the setting")
        return save(figure, path)


def readings_picture(result: WindowResult, path: Path | None = None) -> Any:
    """Every fault against every reading: how many times its uncertainty it moves."""
    names = [c.reading.name for c in result.sights[0].changes]
    faults = [s.fault.name for s in result.sights]
    size = np.array([[min(s.change(n).sigmas, 99.0) for n in names] for s in result.sights])
    with sheet(9.4, 1.9 + 0.36 * len(faults)) as (figure, axes):
        shown = np.log10(np.clip(size, 0.2, 50.0))
        axes.imshow(shown, cmap="YlOrBr", vmin=np.log10(0.5), vmax=np.log10(60.0), aspect="auto")
        for i in range(len(faults)):
            for j in range(len(names)):
                value = size[i, j]
                text = "·" if value < 0.5 else f"{value:.0f}" if value >= 9.95 else f"{value:.1f}"
                axes.text(j, i, text, ha="center", va="center", fontsize=7.5, color=INK if value < 20 else PAPER,
                          weight="bold" if value >= 2.0 else "normal")  # fmt: skip
        at = sum(c.reading.at == "terminals" for c in result.sights[0].changes)
        axes.axvline(at - 0.5, color=INK, lw=1.6)
        words = [c.reading.words for c in result.sights[0].changes]
        axes.set_xticks(range(len(names)), words, rotation=35, ha="right", fontsize=8)
        axes.set_yticks(range(len(faults)), faults, fontsize=8)
        axes.grid(False)
        axes.set_title(
            f"{result.title}: what a reading moves by a fault at station {result.sights[0].fault.station},\n"
            "in times its uncertainty (bold: seen). Left of the line: at the terminals",
            fontsize=10,
        )
        return save(figure, path)
