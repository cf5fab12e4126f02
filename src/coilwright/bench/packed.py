"""Results as small plain data for the browser: millimetres, degrees Celsius, bytes for the colours of elements."""

from __future__ import annotations

import base64
import math
from typing import Any

import numpy as np

from coilwright.field.result import Error, FieldResult
from coilwright.heating.electrical import cooling_of
from coilwright.heating.result import ShotResult, Trace, Verdict
from coilwright.pack.field_pictures import frame, to_nodes
from coilwright.section.geometry import Section
from coilwright.section.overlap import clearances
from coilwright.section.quad9 import Array, IntArray
from coilwright.steps.live import Glance
from coilwright.units import ZERO_CELSIUS

_MM = 1e3
# Corners of the four sub-quadrilaterals of a nine-node element.
_QUARTERS = np.array([(0, 1, 4, 3), (1, 2, 5, 4), (3, 4, 7, 6), (4, 5, 8, 7)])
_FRAMES = 60  # instants of a shot that can be played
_GRID = 56  # points along the longer side of the flux-line grid
_GAPS = 4


def drawing(section: Section) -> dict[str, Any]:
    """Outlines (mm) of everything that is drawn, its frame, and the smallest gaps."""
    items = [
        {"id": f"body:{b.name}", "kind": "body", "name": b.name, "role": b.role, "material": b.material,
         "loops": [_loop(o) for o in b.outlines], "across": True}
        for b in section.bodies
    ]  # fmt: skip
    for film in section.films:
        line = [[_round(film.start[0]), _round(film.start[1])], [_round(film.end[0]), _round(film.end[1])]]
        items.append({"id": f"body:{film.name}", "kind": "film", "name": film.name, "role": film.role, "loops": [line]})
    for turn in section.turns:
        loops = [_loop(turn.outer), *([_loop(turn.bore)] if turn.bore is not None else [])]
        items.append({"id": f"turn:{turn.number}", "kind": "turn", "name": f"turn {turn.number}", "loops": loops})
    for point in section.points:
        items.append(
            {"id": f"point:{point.name}", "kind": "point", "name": point.name, "at": [_round(point.r), _round(point.z)]}
        )
    r, low, high = frame(section)
    gaps = [
        {"text": f"{g.distance * _MM:.2f}", "names": f"{g.first} to {g.second}",
         "from": [_round(x) for x in g.here], "to": [_round(x) for x in g.there]}
        for g in clearances(section)[:_GAPS]
    ]  # fmt: skip
    return {"items": items, "frame": [r * _MM, low * _MM, high * _MM], "gaps": gaps}


def _loop(outline: Any) -> list[list[float]]:
    return [[_round(r), _round(z)] for r, z in outline.polyline(2e-5)]


def _round(metres: float) -> float:
    return round(float(metres) * _MM, 4)


def elements(points: Array, quads: IntArray) -> str:
    """Corners (mm, float32, little-endian, base64) of the quarters of nine-node elements, eight numbers each."""
    corners = points[quads[:, _QUARTERS]] * _MM
    return _base64(np.ascontiguousarray(corners.reshape(-1, 8), dtype="<f4"))


def quarter_means(values: Array) -> Array:
    """(4 e,) means over the quarters of nodal values (e, 9), element by element."""
    return np.asarray(values[:, _QUARTERS].mean(axis=2).reshape(-1))


def loss_layer(result: FieldResult, shifts: dict[str, float], *, geometry: bool) -> dict[str, Any] | None:
    """Loss density (W/cm3) as bytes over the quarters; the corners only when `geometry` (they move with their body)."""
    live = result.state.reduced.live
    if not len(live.bodies):
        return None
    mesh = live.interior.mesh
    values = quarter_means(to_nodes(result.loss_density)) / 1e6
    top = float(np.quantile(values, 0.995)) or 1.0
    layer: dict[str, Any] = {
        "quantity": "loss density", "unit": "W/cm³", "low": 0.0, "high": top, "values": _bytes(values, 0.0, top),
        "counts": [4 * int(n) for n in np.diff(live.element_start)],
        "shifts": [shifts.get(b.name, 0.0) * _MM for b in live.bodies],
    }  # fmt: skip
    if geometry:
        layer["corners"] = elements(mesh.points, mesh.quads)
    return layer


def flux_grid(result: FieldResult, box: tuple[float, float, float], points: int = _GRID) -> dict[str, Any]:
    """Flux function on a grid as words, `points` along its longer side: the browser draws its level lines."""
    wide, high = box[0], box[2] - box[1]
    n = max(int(points * min(1.0, wide / high)), 16), max(int(points * min(1.0, high / wide)), 16)
    r, z = np.linspace(1e-6 * wide, wide, n[0]), np.linspace(box[1], box[2], n[1])
    psi = result.flux_function_grid(r, z).real
    psi = psi * np.sign(psi.flat[np.argmax(np.abs(psi))])
    top = float(psi.max()) or 1.0
    fine = np.clip(psi / top, 0.0, 1.0)
    words = np.ascontiguousarray(np.round(65535.0 * fine.T), dtype="<u2")
    return {"size": list(n), "box": [0.0, wide * _MM, box[1] * _MM, box[2] * _MM], "values": _base64(words)}


def numbers(glance: Glance) -> dict[str, Any]:
    """What the page shows beside the drawing, SI; keys end in their unit."""
    result = glance.field
    omega = 2.0 * math.pi * result.frequency
    z = glance.terminals
    current = abs(result.coil_current)
    roles = {b.name: b.role for b in glance.scene.job.bodies}
    data: dict[str, Any] = {
        "bodies": {n: {"power_W": p, "role": roles.get(n, "work")} for n, p in result.body_powers.items()},
        "coil_power_W": result.coil_power, "coil_current_A": current, "frequency_Hz": result.frequency,
        "coil_voltage_V": current * abs(z), "efficiency": finite(result.efficiency),
        "bank_voltage_V": glance.bank_voltage, "exact": glance.exact,
        "off": {"power": glance.off.power, "temperature_K": glance.off.temperature},
        "error": None if result.error is None else _error(result.error),
    }  # fmt: skip
    if result.loaded is not None and result.unloaded is not None:
        leads = z - complex(result.coil_voltage / result.coil_current)
        data["loaded"] = result.loaded.to_dict()
        data["unloaded"] = result.unloaded.to_dict()
        data["with_leads"] = {
            "inductance_H": z.imag / omega, "resistance_ohm": z.real, "leads_inductance_H": leads.imag / omega
        }  # fmt: skip
    return data


def _error(error: Error) -> float | None:
    """The largest error of what stands beside the drawing; flux densities at points do not stand there."""
    shown = [e for e in (error.resistance, error.inductance, *error.power.values()) if math.isfinite(e)]
    return max(shown, default=None)


def curve(trace: Trace, most: int = 300) -> dict[str, Any]:
    """A trace as lists, degC and s, thinned to `most` instants."""
    pick = np.unique(np.round(np.linspace(0, len(trace.time) - 1, min(most, len(trace.time)))).astype(int))
    bodies = {}
    for name, b in trace.bodies.items():
        bodies[name] = {k: _celsius(v[pick]) for k, v in (("min", b.minimum), ("mean", b.mean), ("max", b.maximum))}
        bodies[name]["power_W"] = _list(b.power[pick], 4)
        if b.charge_fired is not None:
            bodies[name]["charge_fired"] = _list(b.charge_fired[pick], 4)
    coil = trace.coil
    return {
        "time_s": _list(trace.time[pick], 5),
        "bodies": bodies,
        "points": {n: _celsius(t[pick]) for n, t in trace.points.items()},
        "coil": {
            "inductance_H": _list(coil.inductance[pick], 6), "resistance_ohm": _list(coil.resistance[pick], 6),
            "current_A": _list(coil.current[pick], 6), "voltage_V": _list(coil.voltage[pick], 6),
            "power_W": _list(coil.power[pick], 6), "frequency_Hz": _list(coil.frequency[pick], 8),
        },
    }  # fmt: skip


def through(shot: ShotResult) -> dict[str, Any]:
    """The most that the shot asks of coil, source and water; keys without a figure are left out."""
    coil, source = shot.trace.coil, shot.trace.source
    data = {"coil_power_W": float(coil.power.max()), "coil_current_A": float(coil.current.max())}
    data["coil_voltage_V"] = float(coil.voltage.max())
    if source is not None:
        data["source_power_W"] = float(source.power.max())
        data["source_current_A"] = float(source.current.max())
        data["bank_voltage_V"] = float(source.bank_voltage.max())
    water = cooling_of(shot.model.scene.job, shot)
    if water is not None:
        data["water_flow_m3_s"] = water.flow
        data["water_outlet_degC"] = water.outlet_temperature - ZERO_CELSIUS
    return data


def verdicts(found: tuple[Verdict, ...]) -> list[dict[str, Any]]:
    return [finite(v.to_dict()) for v in found]


def frames(shot: ShotResult) -> dict[str, Any]:
    """The shot as pictures to be played: one byte per quarter and instant, a common scale."""
    ops, moments = shot.model.stepper.operators, shot.course.moments
    pick = np.unique(np.round(np.linspace(0, len(moments) - 1, min(_FRAMES, len(moments)))).astype(int))
    kelvin = np.array([moments[k].state.temperature for k in pick])
    low, high = float(kelvin.min()) - ZERO_CELSIUS, float(kelvin.max()) - ZERO_CELSIUS
    values = [_bytes(quarter_means(t[ops.quads]) - ZERO_CELSIUS, low, high) for t in kelvin]
    return {
        "quantity": "temperature", "unit": "°C", "low": low, "high": high, "corners": elements(ops.points, ops.quads),
        "time_s": [float(moments[k].time) for k in pick], "frames": values,
    }  # fmt: skip


def finite(data: Any) -> Any:
    """The same data with numbers that are not finite as None."""
    if isinstance(data, dict):
        return {str(k): finite(v) for k, v in data.items()}
    if isinstance(data, list | tuple):
        return [finite(v) for v in data]
    if hasattr(data, "tolist"):
        return finite(data.tolist())
    if isinstance(data, float):
        return data if math.isfinite(data) else None
    return data


def _celsius(kelvin: Array) -> list[float]:
    return [round(float(t), 2) for t in kelvin - ZERO_CELSIUS]


def _list(values: Array, digits: int) -> list[float]:
    return [float(f"{v:.{digits}g}") for v in values]


def _bytes(values: Array, low: float, high: float) -> str:
    scaled = np.clip((values - low) / max(high - low, 1e-12), 0.0, 1.0)
    return _base64(np.round(255.0 * scaled).astype(np.uint8))


def _base64(array: Any) -> str:
    return base64.b64encode(array.tobytes()).decode("ascii")
