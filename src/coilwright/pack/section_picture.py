"""The section as a workshop drawing with its main dimensions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coilwright.pack.field_pictures import finish, frame, outlines
from coilwright.pack.looks import CURRENT, INK, save, sheet
from coilwright.section.geometry import Section

if TYPE_CHECKING:
    from coilwright.steps.check import CheckResult

_MM = 1e3


def section_picture(result: CheckResult, path: Path) -> Path:
    """Bodies, turns and points with names, diameters, heights and the smallest gaps."""
    section = result.scene.section
    box = frame(section)
    wide, high = 2.0 * box[0], box[2] - box[1]
    scale = min(6.6 / wide, 7.0 / high)
    with sheet(max(wide * scale + 2.2, 5.6), max(high * scale + 1.4, 4.0)) as (figure, axes):
        outlines(axes, section)
        _names(axes, section)
        _gaps(axes, result)
        finish(axes, box, result.scene.job.title)
        figure.text(0.01, 0.01, _legend(result), fontsize=7.5, va="bottom")
        return save(figure, path)


def _names(axes: Any, section: Section) -> None:
    for body in section.bodies:
        loop = body.outer.polyline(1e-4)
        top = loop[loop[:, 1].argmax()]
        left = float(-loop[:, 0].max()) * _MM
        axes.annotate(
            f"{body.name}\nØ {2 * loop[:, 0].max() * _MM:.4g}, {_MM * (loop[:, 1].max() - loop[:, 1].min()):.4g} high",
            (left, top[1] * _MM), (-6, 4), textcoords="offset points", ha="right", fontsize=7.5, color=INK, zorder=6,
        )  # fmt: skip
    for turn in section.turns:
        axes.annotate(
            f"{turn.number}", (turn.r * _MM, turn.z * _MM), ha="center", va="center", fontsize=6.5, color=INK, zorder=6
        )


def _gaps(axes: Any, result: CheckResult) -> None:
    """The three smallest clearances, as a line between the two places."""
    for gap in result.clearances[:3]:
        (r0, z0), (r1, z1) = gap.here, gap.there
        axes.plot([r0 * _MM, r1 * _MM], [z0 * _MM, z1 * _MM], color=CURRENT, lw=1.2, zorder=5)
        middle = (0.5 * (r0 + r1) * _MM, 0.5 * (z0 + z1) * _MM)
        axes.annotate(
            f"{gap.distance * _MM:.3g} mm", middle, (8, -3), textcoords="offset points",
            fontsize=7.5, color=CURRENT, zorder=6,
        )  # fmt: skip


def _legend(result: CheckResult) -> str:
    coil = result.scene.job.coil
    if coil is None:
        return "no coil"
    c = coil.conductor
    conductor = f"{c.section}, {c.material}"
    count = sum(t.weight for t in result.scene.section.turns)
    return f"coil: {count:g} turns of {conductor}; dimensions in mm; z upwards along the axis"
