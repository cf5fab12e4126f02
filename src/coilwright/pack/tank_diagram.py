"""The circuit from the source to the coil as a drawing with its figures, and the water circuit beside it.

Each step of the tank's chain takes one column: series parts on the upper rail, shunt parts between the rails.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.cooling.result import CoolingResult, ElementState
from coilwright.heating.electrical import TankReport
from coilwright.heating.hand_sheet import shown
from coilwright.pack.looks import BODY_FILL, CURRENT, HOT, INK, PAPER, save, sheet
from coilwright.tank.chain import Core, Step, Winding, build_chain
from coilwright.tank.result import OperatingPoint
from coilwright.units import ZERO_CELSIUS

_TOP, _LOW = 1.0, 0.0
_STEP = 1.25  # width of a column


def tank_diagram(report: TankReport, path: Path | None = None) -> Any:
    """Source, every part of the tank, the coil; with values and what they carry at the cold operating point."""
    chain = build_chain(report.tank)
    width = _STEP * (len(chain) + 2)
    with sheet(max(1.15 * width + 1.0, 6.0), 3.6) as (figure, axes):
        _source(axes, report)
        x = _STEP
        for step in chain:
            _step(axes, step, x, report.cold)
            x += _STEP
        _coil(axes, x, report.cold)
        axes.set(xlim=(-0.9, x + 0.9), ylim=(-0.75, 1.9))
        axes.set_axis_off()
        axes.set_title(f"{report.title}: from source to coil, cold, at {report.cold.frequency / 1e3:.4g} kHz (rms)")
        return save(figure, path)


def _wire(axes: Any, *points: tuple[float, float]) -> None:
    axes.plot([p[0] for p in points], [p[1] for p in points], color=INK, lw=1.3, solid_capstyle="round", zorder=1)


def _say(axes: Any, x: float, y: float, text: str, colour: str = INK, size: float = 8.0) -> None:
    axes.text(x, y, text, ha="center", va="center", fontsize=size, color=colour, linespacing=1.35)


def _source(axes: Any, report: TankReport) -> None:
    from matplotlib.patches import Circle

    _wire(axes, (0, _LOW), (0, 0.28))
    _wire(axes, (0, 0.72), (0, _TOP), (_STEP / 2, _TOP))
    _wire(axes, (0, _LOW), (_STEP / 2, _LOW))
    axes.add_patch(Circle((0, 0.5), 0.22, fc=PAPER, ec=INK, lw=1.3, zorder=2))
    wave = np.array([[-0.13, 0], [-0.13, 0.09], [0, 0.09], [0, -0.09], [0.13, -0.09], [0.13, 0]])
    axes.plot(wave[:, 0], 0.5 + wave[:, 1], color=CURRENT, lw=1.3, zorder=3)
    cold, source = report.cold, report.tank.source
    kind = "" if source is None else source.kind.replace(" bridge", "\nbridge")
    what = f"{_told(cold.source_voltage, 'V')}, {_told(cold.source_current, 'A')}\n{_told(cold.source_power, 'W')}"
    _say(axes, 0, -0.35, f"{kind}\n{what}")


def _step(axes: Any, step: Step, x: float, cold: OperatingPoint) -> None:
    left, right = x - _STEP / 2, x + _STEP / 2
    if step.kind != "ideal":
        _wire(axes, (left, _LOW), (right, _LOW))
    if step.kind in ("series", "line"):
        _wire(axes, (left, _TOP), (x - 0.3, _TOP))
        _wire(axes, (x + 0.3, _TOP), (right, _TOP))
        _symbol(step)(axes, x, _TOP, 0.0)
        _say(axes, x, _TOP + 0.45, _label(step, cold))
    elif step.kind == "shunt":
        _wire(axes, (left, _TOP), (right, _TOP))
        _wire(axes, (x, _TOP), (x, 0.8))
        _wire(axes, (x, 0.2), (x, _LOW))
        _symbol(step)(axes, x, 0.5, 90.0)
        _say(axes, x, -0.38, _label(step, cold))
    else:
        for side, edge in ((-0.16, left), (0.16, right)):
            _wire(axes, (edge, _TOP), (x + side, _TOP), (x + side, 0.8))
            _wire(axes, (edge, _LOW), (x + side, _LOW), (x + side, 0.2))
            _turns(axes, x + side, 0.5, 90.0 if side > 0 else -90.0)
        for bar in (-0.03, 0.03):
            _wire(axes, (x + bar, 0.22), (x + bar, 0.78))
        _say(axes, x, _TOP + 0.35, f"{step.name}\n{step.part:g} : 1")


def _label(step: Step, cold: OperatingPoint) -> str:
    part = step.part
    if isinstance(part, Winding):
        both = ((part.inductance, "H"), (part.resistance, "ohm"))
        value = ", ".join(_told(size, unit) for size, unit in both if size)
    elif isinstance(part, Core):
        value = f"{_told(part.inductance, 'H')} ∥ {_told(part.resistance, 'ohm')}"
    elif hasattr(part, "capacitance"):
        value = _told(part.capacitance, "F")
    else:
        value = ""
    name = step.name.replace(" winding", "\nwinding") if len(step.name) > 16 else step.name
    try:
        state = cold.component(step.name)
    except KeyError:
        return f"{name}\n{value}"
    return f"{name}\n{value}\n{_told(state.voltage, 'V')}, {_told(state.current, 'A')}"


def _told(value: float, unit: str) -> str:
    """With a prefix and three digits, in the signs of a drawing."""
    return shown(value, unit).replace(" u", " µ").replace("ohm", "Ω")


def _symbol(step: Step) -> Callable[[Any, float, float, float], None]:
    if step.kind == "line":
        return _cable
    if isinstance(step.part, Winding) and not step.part.inductance:
        return _resistor
    return _turns if isinstance(step.part, Winding | Core) else _plates


def _turned(points: Any, x: float, y: float, degrees: float) -> Any:
    a = np.radians(degrees)
    return np.asarray(points) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + np.array([x, y])


def _turns(axes: Any, x: float, y: float, degrees: float) -> None:
    """Four half circles: an inductor."""
    t = np.linspace(np.pi, 0, 20)
    arcs = np.concatenate(
        [np.column_stack([c + 0.075 * np.cos(t), 0.11 * np.sin(t)]) for c in (-0.225, -0.075, 0.075, 0.225)]
    )
    p = _turned(np.concatenate([[[-0.3, 0]], arcs, [[0.3, 0]]]), x, y, degrees)
    axes.plot(p[:, 0], p[:, 1], color=INK, lw=1.3, zorder=2)


def _resistor(axes: Any, x: float, y: float, degrees: float) -> None:
    """A flat box on the line."""
    p = _turned([[-0.2, -0.07], [0.2, -0.07], [0.2, 0.07], [-0.2, 0.07], [-0.2, -0.07]], x, y, degrees)
    axes.plot(p[:, 0], p[:, 1], color=INK, lw=1.3, zorder=2)
    for a, b in ((-0.3, -0.2), (0.2, 0.3)):
        end = _turned([[a, 0], [b, 0]], x, y, degrees)
        axes.plot(end[:, 0], end[:, 1], color=INK, lw=1.3)


def _plates(axes: Any, x: float, y: float, degrees: float) -> None:
    """Two plates: capacitors."""
    for points in ([[-0.3, 0], [-0.05, 0]], [[0.05, 0], [0.3, 0]]):
        p = _turned(points, x, y, degrees)
        axes.plot(p[:, 0], p[:, 1], color=INK, lw=1.3)
    for at in (-0.05, 0.05):
        p = _turned([[at, -0.16], [at, 0.16]], x, y, degrees)
        axes.plot(p[:, 0], p[:, 1], color=CURRENT, lw=2.6)


def _cable(axes: Any, x: float, y: float, degrees: float) -> None:
    from matplotlib.patches import FancyBboxPatch

    axes.add_patch(FancyBboxPatch((x - 0.3, y - 0.06), 0.6, 0.12, boxstyle="round,pad=0.02", fc=PAPER, ec=INK, lw=1.3))


def _coil(axes: Any, x: float, cold: OperatingPoint) -> None:
    _wire(axes, (x - _STEP / 2, _TOP), (x, _TOP), (x, 0.8))
    _wire(axes, (x - _STEP / 2, _LOW), (x, _LOW), (x, 0.2))
    _turns(axes, x, 0.5, 90.0)
    axes.plot([x + 0.3, x + 0.3], [0.3, 0.7], color=HOT, lw=7, solid_capstyle="butt")
    what = f"{_told(cold.coil_voltage, 'V')}, {_told(cold.coil_current, 'A')}\n{_told(cold.coil_power, 'W')}"
    text = f"work coil and part\n{what}"
    _say(axes, x + 0.1, -0.38, text)


def water_schematic(report: TankReport, path: Path | None = None) -> Any:
    """The water's way with flow, drop and temperature at every element; nothing without a [cooling] section."""
    cooling = report.cooling
    if cooling is None:
        return None
    rows = len(cooling.paths)
    longest = max(len(p.elements) for p in cooling.paths)
    columns = len(cooling.feed) + longest + len(cooling.back)
    with sheet(max(1.7 * (columns + 1.6), 7.5), 1.5 * rows + 1.2) as (figure, axes):
        _water(axes, cooling, longest)
        axes.set_axis_off()
        axes.set_title(
            f"{report.title}: water, {cooling.flow * 60000:.3g} L/min, {cooling.pressure_drop / 1e5:.3g} bar, "
            f"leaves at {cooling.outlet_temperature - ZERO_CELSIUS:.1f} °C"
        )
        return save(figure, path)


def _water(axes: Any, cooling: CoolingResult, longest: int) -> None:
    middle = -0.5 * (len(cooling.paths) - 1)
    x = 0.0
    axes.annotate("in →", (x - 0.05, middle), ha="right", va="center", fontsize=8)
    for element in cooling.feed:
        _box(axes, x + 0.6, middle, element)
        x += 1.0
    start, end = x + 0.1, x + longest + 0.1
    for row, path in enumerate(cooling.paths):
        y = -float(row)
        axes.plot([start - 0.1, start, start], [middle, middle, y], color=CURRENT, lw=2.0, zorder=0)
        axes.plot([start, end + 0.1], [y, y], color=CURRENT, lw=2.0, zorder=0)
        axes.plot([end + 0.1, end + 0.1, end + 0.2], [y, middle, middle], color=CURRENT, lw=2.0, zorder=0)
        for k, element in enumerate(path.elements):
            _box(axes, start + 0.5 + k, y, element)
    x = end + 0.2
    axes.plot([x, x + len(cooling.back)], [middle, middle], color=CURRENT, lw=2.0, zorder=0)
    for element in cooling.back:
        _box(axes, x + 0.5, middle, element)
        x += 1.0
    axes.plot([0, start - 0.1], [middle, middle], color=CURRENT, lw=2.0, zorder=0)
    axes.annotate("out →", (x + 0.1, middle), va="center", fontsize=8)
    axes.set(xlim=(-0.4, x + 0.5), ylim=(-len(cooling.paths) + 0.3, 0.7))


def _box(axes: Any, x: float, y: float, element: ElementState) -> None:
    leaves = f"{element.outlet_temperature - ZERO_CELSIUS:.1f} °C"
    text = f"{element.name}\n{element.loss:.3g} W\n{element.pressure_drop / 1e5:.2g} bar\n{leaves}"
    axes.text(
        x, y, text, ha="center", va="center", fontsize=7.5, linespacing=1.4,
        bbox={"boxstyle": "round,pad=0.35", "fc": BODY_FILL, "ec": INK, "lw": 0.9},
    )  # fmt: skip
