"""Pictures of the operator's card: where the coil stands, and what the shot looks like in time. Hardly a word in them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from coilwright.pack.contents import PackContents
from coilwright.pack.field_pictures import finish, frame, outlines
from coilwright.pack.looks import FAINT, GOOD, HOT, INK, PAPER, save, series, sheet
from coilwright.units import ZERO_CELSIUS

_MM = 1e3


def position_picture(contents: PackContents, path: Path | None = None) -> Any:
    """The section with the gap between coil and part that the setting gauge checks, its figure in large type."""
    section = contents.check.scene.section
    box = frame(section)
    high = 4.6 * min(1.25, max(0.75, (box[2] - box[1]) / (2.0 * box[0])))
    with sheet(5.2, high) as (figure, axes):
        outlines(axes, section)
        finish(axes, box, "")
        axes.set_axis_off()
        for gap in contents.check.clearances:
            names = (gap.first, gap.second)
            if any("turn" in n for n in names) and not all("turn" in n for n in names):
                _mark(
                    axes,
                    np.array([gap.here, gap.there]) * _MM,
                    f"{gap.distance * _MM:.3g} mm".replace(".", contents_mark(contents)),
                )
                break
        return save(figure, path)


def contents_mark(contents: PackContents) -> str:
    """Decimal mark of the card's language."""
    return "." if contents.documents.language == "en" else ","


def _mark(axes: Any, ends: Any, text: str) -> None:
    axes.plot(ends[:, 0], ends[:, 1], color=HOT, lw=3.2, zorder=8, solid_capstyle="round")
    middle = ends.mean(axis=0)
    axes.annotate(
        text, middle, (46, 34), textcoords="offset points", fontsize=17, fontweight="bold", color=HOT, zorder=9, ha="center",
        bbox={"boxstyle": "round,pad=0.25", "fc": PAPER, "ec": HOT, "lw": 1.2},
        arrowprops={"arrowstyle": "-", "color": HOT, "lw": 1.4},
    )  # fmt: skip


def limits_picture(contents: PackContents, path: Path | None = None) -> Any:
    """The hottest and coldest of the work in time, switch-off, and what must be reached: the course of a good shot."""
    shot = contents.shot
    with sheet(5.2, 3.0) as (figure, axes):
        time = shot.trace.time
        work = [b.name for b in contents.job.bodies if b.role == "work" and b.name in shot.trace.bodies]
        for n, name in enumerate(work):
            body = shot.trace.bodies[name]
            look = series(n)
            axes.plot(time, body.mean - ZERO_CELSIUS, lw=2.6, label=name, **look)
            axes.fill_between(
                time, body.minimum - ZERO_CELSIUS, body.maximum - ZERO_CELSIUS, color=look["color"], alpha=0.18, lw=0
            )
        for v in shot.verdicts:
            limit = v.details.get("reaches_degC")
            if limit is not None and v.body in work:
                axes.axhline(float(limit), color=GOOD, lw=1.4)
                axes.annotate(
                    f"{float(limit):.0f} °C",
                    (0.0, float(limit)),
                    (4, 4),
                    textcoords="offset points",
                    fontsize=11,
                    color=GOOD,
                )
        end = contents.job.drive.shot_time
        if end is not None:
            axes.axvline(end, color=INK, lw=1.2, ls=(0, (4, 2)))
        axes.set(xlim=(0, time[-1]), ylim=(0, None))
        axes.set_xlabel("s", fontsize=12)
        axes.set_ylabel("°C", fontsize=12)
        axes.tick_params(labelsize=11)
        if len(work) > 1:
            axes.legend(fontsize=10, loc="lower right")
        axes.spines["left"].set_color(FAINT)
        return save(figure, path)
