"""The section with what the field does in it: lines of flux outside, loss density inside, mirrored about the axis."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from coilwright.pack.looks import COPPER, CURRENT, FAINT, GLASS_FILL, INK, POWER_MAP, TEMPERATURE_MAP, save, sheet
from coilwright.section.geometry import Section
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array
from coilwright.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from coilwright.field.report import FieldReport
    from coilwright.heating.result import ShotResult

_MM = 1e3
_GRID = 150  # points along the longer side of the flux-line grid
_LINES = 17
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # without I and O, as on drawings
# Corners of the four sub-quadrilaterals of a nine-node element: colours follow the field inside large elements too.
_QUARTERS = ((0, 1, 4, 3), (1, 2, 5, 4), (3, 4, 7, 6), (4, 5, 8, 7))


def field_picture(report: FieldReport, path: Path | None = None) -> Any:
    """Flux lines and loss density of a field report. Returns `path`, or the figure when no path is given."""
    section = report.meshed.scene.section
    box = frame(section)
    with sheet(*_size(box)) as (figure, axes):
        _flux_lines(axes, report, box)
        mesh, values = _loss(report)
        if mesh is not None:
            shown = values / 1e6
            image = _fill(axes, mesh, shown, POWER_MAP, 0.0, float(np.quantile(shown, 0.995)) or 1.0)
            figure.colorbar(image, ax=axes, label="loss density, W/cm³", shrink=0.8)
        outlines(axes, section)
        result = report.result
        title = f"{report.scene.job.title}: {result.frequency / 1e3:.4g} kHz, {abs(result.coil_current):.4g} A"
        finish(axes, box, title, points_key(section))
        return save(figure, path)


def temperature_map(shot: ShotResult, path: Path | None = None) -> Any:
    """Temperatures of all bodies at the end of the shot."""
    section = shot.model.scene.section
    operators = shot.model.stepper.operators
    kelvin = shot.state.temperature[operators.quads]
    box = frame(section)
    with sheet(*_size(box)) as (figure, axes):
        shown = kelvin - ZERO_CELSIUS
        image = _fill_elements(
            axes, operators.points[operators.quads], shown, TEMPERATURE_MAP, shown.min(), shown.max()
        )
        figure.colorbar(image, ax=axes, label="temperature, °C", shrink=0.8)
        outlines(axes, section)
        finish(axes, box, f"{shot.title}: after {shot.state.time:.3g} s", points_key(section))
        return save(figure, path)


def frame(section: Section) -> tuple[float, float, float]:
    """(largest r, lowest z, highest z) in m to show, with room around everything."""
    loops = [o for b in section.bodies for o in b.outlines] + [t.outer for t in section.turns]
    points = np.concatenate([o.polyline(1e-4) for o in loops])
    ends = np.array([p for f in section.films for p in (f.start, f.end)]).reshape(-1, 2)
    points = np.concatenate([points, ends])
    r, low, high = float(points[:, 0].max()), float(points[:, 1].min()), float(points[:, 1].max())
    room = 0.12 * max(2.0 * r, high - low)
    return r + room, low - room, high + room


def _size(box: tuple[float, float, float]) -> tuple[float, float]:
    """Width and height in inch of a sheet that fits the frame."""
    wide, high = 2.0 * box[0], box[2] - box[1]
    scale = min(7.0 / wide, 7.5 / high)
    return max(wide * scale + 2.2, 4.5), max(high * scale + 0.9, 3.2)


def outlines(axes: Any, section: Section, *, millimetres: bool = True) -> None:
    """Bodies, turns, films and named points on both sides of the axis; in metres only bodies and turns."""
    if not millimetres:
        for loop in [*(o for b in section.bodies for o in b.outlines), *(t.outer for t in section.turns)]:
            points = loop.polyline(1e-4)
            axes.fill(points[:, 0], points[:, 1], fc=COPPER, ec=INK, lw=0.6)
        return
    for body in section.bodies:
        fill = GLASS_FILL if body.role == "bystander" else "none"
        for loop in body.outlines:
            _both(axes, loop.polyline(2e-5), INK, fill, 0.9, zorder=1 if fill != "none" else 3)
            if fill != "none":
                _both(axes, loop.polyline(2e-5), INK, "none", 0.9, zorder=3)
    for turn in section.turns:
        _both(axes, turn.outer.polyline(2e-5), INK, COPPER, 0.9)
        if turn.bore is not None:
            _both(axes, turn.bore.polyline(2e-5), INK, "white", 0.6)
    for film in section.films:
        for side in (1, -1):
            r = [side * _MM * film.start[0], side * _MM * film.end[0]]
            axes.plot(r, [_MM * film.start[1], _MM * film.end[1]], color=CURRENT, lw=2.0, zorder=3)
    for letter, point in zip(LETTERS, section.points, strict=False):
        axes.plot([_MM * point.r], [_MM * point.z], "+", color=CURRENT, ms=7, mew=1.4, zorder=5)
        axes.annotate(
            letter, (_MM * point.r, _MM * point.z), (3, 4), textcoords="offset points",
            fontsize=8, fontweight="bold", color=CURRENT, zorder=6,
        )  # fmt: skip


def _both(axes: Any, loop: Array, edge: str, fill: str, width: float, zorder: int = 2) -> None:
    from matplotlib.patches import Polygon

    for side in (1.0, -1.0):
        corners = loop * np.array([side * _MM, _MM])
        axes.add_patch(Polygon(corners, closed=True, fc=fill, ec=edge, lw=width, zorder=zorder))


def finish(axes: Any, box: tuple[float, float, float], title: str, key: str = "") -> None:
    """Axis line, equal scales, labels; `key` says below what the letters are."""
    axes.axvline(0.0, color=FAINT, lw=0.8, ls=(0, (8, 3, 1, 3)), zorder=0.5)
    axes.set(xlim=(-_MM * box[0], _MM * box[0]), ylim=(_MM * box[1], _MM * box[2]), ylabel="z, mm")
    axes.set_xlabel(f"r, mm\n{key}" if key else "r, mm")
    axes.set_aspect("equal")
    axes.grid(False)
    axes.set_title(title)


def points_key(section: Section) -> str:
    """Which letter of the drawing is which named point."""
    return ", ".join(f"{letter} {p.name}" for letter, p in zip(LETTERS, section.points, strict=False))


def _flux_lines(axes: Any, report: FieldReport, box: tuple[float, float, float]) -> None:
    wide, high = box[0], box[2] - box[1]
    n = max(int(_GRID * min(1.0, wide / high)), 24), max(int(_GRID * min(1.0, high / wide)), 24)
    r, z = np.linspace(1e-6 * wide, wide, n[0]), np.linspace(box[1], box[2], n[1])
    psi = report.result.flux_function_grid(r, z).real
    largest = np.abs(psi).max()
    if largest == 0.0:
        return
    # Levels by equal flux crowd at the conductor; a square root spreads them over the drawing.
    levels = np.sign(psi.flat[np.argmax(np.abs(psi))]) * largest * np.linspace(0.12, 0.98, _LINES) ** 2
    for side in (1.0, -1.0):
        axes.contour(side * _MM * r, _MM * z, psi.T, levels=np.sort(levels), colors=CURRENT, linewidths=0.6, alpha=0.7)


def _loss(report: FieldReport) -> tuple[Mesh | None, Array]:
    live = report.result.state.reduced.live
    if live.size == 0:
        return None, np.zeros((0, 9))
    mesh = live.interior.mesh
    return mesh, to_nodes(report.result.loss_density)


def to_nodes(at_gauss: Array) -> Array:
    """(e, 9) from (e, 16): the biquadratic through Gauss values in the least-squares sense, never below zero."""
    from coilwright.section.quad9 import quad_table

    return np.maximum(at_gauss @ np.linalg.pinv(quad_table().shape), 0.0)


def _fill(axes: Any, mesh: Mesh, values: Array, colours: str, low: float, high: float) -> Any:
    return _fill_elements(axes, mesh.points[mesh.quads], values, colours, low, high)


def _fill_elements(axes: Any, corners: Array, values: Array, colours: str, low: float, high: float) -> Any:
    """Colour every element in four quarters, on both sides of the axis."""
    from matplotlib.collections import PolyCollection

    quarters = np.concatenate([corners[:, list(q)] for q in _QUARTERS])
    mean = np.concatenate([values[:, list(q)].mean(axis=1) for q in _QUARTERS])
    both = np.concatenate([quarters, quarters * np.array([-1.0, 1.0])]) * _MM
    shown = PolyCollection(
        list(both), array=np.tile(mean, 2), cmap=colours, edgecolors="face", linewidths=0.2, zorder=1.5
    )
    shown.set_rasterized(True)  # thousands of quarters: in a vector file they would weigh megabytes and show seams
    shown.set_clim(low, max(high, low + 1e-9))
    return axes.add_collection(shown)
