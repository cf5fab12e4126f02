"""The section as a workshop drawing with its main dimensions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coilwright.pack.field_pictures import finish, frame, outlines, points_key
from coilwright.pack.looks import HOT, INK, PAPER, save, sheet
from coilwright.section.geometry import Section

if TYPE_CHECKING:
    from coilwright.field.look import CheckResult

_MM = 1e3
_SHOWN = 3  # clearances drawn
_TWO_LINES = 0.3  # inches of a name with its size


def section_picture(result: CheckResult, path: Path | None = None) -> Any:
    """Bodies, turns and points with names, diameters, heights and the smallest gaps."""
    section = result.scene.section
    box = frame(section)
    wide, high = 2.0 * box[0], box[2] - box[1]
    scale = min(6.0 / wide, 7.0 / high)
    with sheet(max(wide * scale + 2.8, 6.2), max(high * scale + 1.4, 4.0)) as (figure, axes):
        outlines(axes, section)
        _names(axes, section, box, scale)
        _gaps(axes, result)
        finish(axes, box, result.scene.job.title)
        axes.set_xlabel("r, mm\n" + "\n".join(_legend(result)), fontsize=8)
        return save(figure, path)


def _names(axes: Any, section: Section, box: tuple[float, float, float], scale: float) -> None:
    """Names with sizes in a column left of the drawing, spread so that none covers another."""
    labels = []
    for body in section.bodies:
        loop = body.outer.polyline(1e-4)
        far = loop[loop[:, 0].argmax()]
        size = f"Ø {2 * loop[:, 0].max() * _MM:.4g} x {_MM * (loop[:, 1].max() - loop[:, 1].min()):.4g}"
        labels.append((float(far[1]), -float(far[0]), f"{body.name}\n{size}"))
    gap = max(0.075 * (box[2] - box[1]), _TWO_LINES / scale)
    place = float("inf")
    for z, r, text in sorted(labels, reverse=True):
        place = min(z, place - gap)
        axes.annotate(
            text, (r * _MM, z * _MM), (-1.04 * box[0] * _MM, place * _MM), ha="right", va="center", fontsize=7.5,
            color=INK, zorder=6, annotation_clip=False, arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.5},
        )  # fmt: skip
    axes.tick_params(axis="y", left=False, labelleft=False, right=True, labelright=True)
    axes.yaxis.set_label_position("right")
    axes.spines["left"].set_visible(False)
    axes.spines["right"].set_visible(True)
    for turn in section.turns:
        axes.annotate(
            f"{turn.number}", (-turn.r * _MM, turn.z * _MM), ha="center", va="center", fontsize=6.5, color=INK, zorder=6
        )


def _gaps(axes: Any, result: CheckResult) -> None:
    """The smallest clearances as lines between the two places, numbered as in the legend."""
    for number, gap in enumerate(result.clearances[:_SHOWN], 1):
        (r0, z0), (r1, z1) = gap.here, gap.there
        axes.plot([r0 * _MM, r1 * _MM], [z0 * _MM, z1 * _MM], color=HOT, lw=1.6, zorder=5)
        middle = (0.5 * (r0 + r1) * _MM, 0.5 * (z0 + z1) * _MM)
        axes.annotate(
            str(number), middle, (0, 7), textcoords="offset points", ha="center", fontsize=7.5, color=HOT,
            fontweight="bold", zorder=7, bbox={"boxstyle": "circle,pad=0.15", "fc": PAPER, "ec": HOT, "lw": 0.7},
        )  # fmt: skip


def _legend(result: CheckResult) -> list[str]:
    section = result.scene.section
    lines = [
        f"gap {n}: {g.first} to {g.second}, {g.distance * _MM:.3g} mm"
        for n, g in enumerate(result.clearances[:_SHOWN], 1)
    ]
    text = ["; ".join(lines)] if lines else []
    if section.points:
        text.append(points_key(section))
    coil = result.scene.job.coil
    if coil is not None:
        count = sum(t.weight for t in section.turns)
        text.append(f"coil: {count:g} turns of {coil.conductor.section}, {coil.conductor.material}; sizes in mm")
    return text
