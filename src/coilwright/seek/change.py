"""From chosen values to a changed job, with three quantities a winder thinks in and the job file does not hold.

- `coil.gap`: the coil stands before the part; it is moved along its axis until it is just so far from the nearest body.
- `coil.turn_gap`: clear space between neighbouring turns; pitch (or outer diameter of a spiral) follows from the conductor.
- `tank.frequency`: the best bank of the stock list that rings within 6 % of this frequency and keeps every rating.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.heating.model import FieldOfShot
from coilwright.heating.tank_source import has_source, tank_of
from coilwright.job import Job
from coilwright.job.schema_coil import Helix, Spiral
from coilwright.section.build import build_section
from coilwright.section.geometry import Section
from coilwright.section.nearest import nearest_pair
from coilwright.section.quad9 import Array
from coilwright.section.scene import scene
from coilwright.tank.choose import BankChoice, choose_bank
from coilwright.tank.inputs import BankGroup, RatingCurve
from coilwright.tank.stock import StockItem, read_stock
from coilwright.units import UnitFault, parse

GAP, TURN_GAP, TANK_FREQUENCY = "coil.gap", "coil.turn_gap", "tank.frequency"
DERIVED: Final = (GAP, TURN_GAP, TANK_FREQUENCY)
_ROUGHLY = 0.06  # the bank may ring so far, relative, from the frequency asked, its tolerance included
_FAR = "1 m"  # wide enough that no turns touch while the conductor is looked at


def apply(job: Job, values: Mapping[str, Any], *, check_only: bool = False) -> tuple[Job, dict[str, Any]]:
    """The job with the values put in, and all that was changed by key. A table is put in key by key.

    With `check_only` nothing that needs a field is looked at. Raises BadInput when the values cannot be.
    """
    changes: dict[str, Any] = {}
    for what, value in values.items():
        if what in DERIVED:
            continue
        if isinstance(value, Mapping):
            changes |= {f"{what}.{k}": v for k, v in value.items()}
        else:
            changes[what] = value
    if TURN_GAP in values:
        changes |= _pitch(job, changes, _length(values[TURN_GAP], TURN_GAP))
    changed = job.with_values(changes) if changes else job
    if GAP in values:
        centre = {"coil.centre": _millimetres(_centre(changed, _length(values[GAP], GAP)))}
        changed, changes = changed.with_values(centre), changes | centre
    if TANK_FREQUENCY in values:
        wanted = _parsed(values[TANK_FREQUENCY], "frequency", TANK_FREQUENCY)
        _stock_of(changed)
        if not check_only:
            bank = {"capacitor": _bank(changed, wanted)}
            changed, changes = changed.with_values(bank), changes | bank
    return changed, changes


def _parsed(text: object, kind: str, where: str) -> float:
    try:
        value = parse(text, kind)
    except UnitFault as fault:
        raise BadInput(Fault(where, str(fault))) from None
    if value <= 0.0:
        raise BadInput(Fault(where, f'must be greater than zero, not "{text}"'))
    return value


def _length(text: object, where: str) -> float:
    return _parsed(text, "length", where)


def _millimetres(value: float) -> str:
    return f"{round(value * 1e3, 4):.8g} mm"


# turns -----------------------------------------------------------------------------------------------------------------


def _pitch(job: Job, changes: Mapping[str, Any], gap: float) -> dict[str, Any]:
    """Pitch or outer diameter that leaves `gap` (m) clear between turns of the conductor that will be there."""
    coil = job.coil
    if isinstance(coil, Helix):
        wide = job.with_values({**changes, "coil.pitch": _FAR}).coil
        if isinstance(wide, Helix):
            return {"coil.pitch": _millimetres(wide.conductor.axial_size + gap)}
    if isinstance(coil, Spiral):
        wide = job.with_values({**changes, "coil.outer_diameter": "90 m"}).coil
        if isinstance(wide, Spiral):
            across = 2.0 * (wide.turns - 1.0) * (wide.conductor.radial_size + gap)
            return {"coil.outer_diameter": _millimetres(wide.inner_diameter + across)}
    raise BadInput(
        Fault(TURN_GAP, 'needs winding = "helix" or "spiral"; list the turns under winding = "turns" yourself')
    )


# the gap ---------------------------------------------------------------------------------------------------------------


def as_drawn(job: Job, what: str) -> float | None:
    """A derived length (m) as the job draws it, None where it has none."""
    coil = job.coil
    if what == TURN_GAP and isinstance(coil, Helix) and coil.pitch is not None:
        return coil.pitch - coil.conductor.axial_size
    if what == TURN_GAP and isinstance(coil, Spiral):
        return coil.radial_pitch - coil.conductor.radial_size
    if what == GAP and coil is not None:
        section = build_section(job)
        return float(nearest_pair(_segments(section), _turn_segments(section))[0]) if side_of(section) else None
    return None


def _turn_segments(section: Section) -> Array:
    return np.ascontiguousarray(np.concatenate([t.outer.segments for t in section.turns]))


def side_of(section: Section) -> float:
    """+1 when the coil stands wholly above every body, -1 wholly below, 0 when it is round or beside them."""
    boxes = [b.outer.box for b in section.bodies]
    low, high = min(t.outer.box[2] for t in section.turns), max(t.outer.box[3] for t in section.turns)
    if low > max(b[3] for b in boxes):
        return 1.0
    if high < min(b[2] for b in boxes):
        return -1.0
    return 0.0


def setback_directions(section: Section) -> tuple[float, ...]:
    """Ways (signs along z) in which the coil may be out: away from the part, or both when it stands round it."""
    side = side_of(section)
    return (side,) if side else (1.0, -1.0)


def _centre(job: Job, gap: float) -> float:
    """z of the winding's middle with its nearest point `gap` (m) from the nearest body."""
    coil = job.coil
    if not isinstance(coil, Helix | Spiral):
        raise BadInput(Fault(GAP, "needs a coil with a centre (helix or spiral); search over its places instead"))
    section = build_section(job)
    middle = float(np.mean([t.z for t in section.turns]))
    work = [b.outer.box for b in section.bodies if b.role == "work"] or [b.outer.box for b in section.bodies]
    part = 0.5 * (min(b[2] for b in work) + max(b[3] for b in work))
    side = 1.0 if middle >= part else -1.0
    bodies, turns = _segments(section), _turn_segments(section)
    # from well clear of everything towards the part, never farther than the distance still in hand
    start = _clear(section, side, gap) - middle
    up = start
    for _ in range(10_000):
        left = nearest_pair(bodies, _raised(turns, up))[0] - gap
        if left < 1e-8:
            return coil.centre + up
        up -= side * left
        if side * (middle + up - part) < 0.0:
            break
    what = (
        f"cannot be {gap * 1e3:.4g} mm: the coil passes round the part without ever standing so near; "
        "coil.gap is for a coil before its part, search over coil.mean_diameter for one that goes round it"
    )
    raise BadInput(Fault(GAP, what))


def _segments(section: Section) -> Array:
    films = np.zeros((len(section.films), 9))
    for row, film in zip(films, section.films, strict=True):
        row[:4] = *film.start, *film.end
    loops = [o.segments for b in section.bodies for o in b.outlines]
    return np.ascontiguousarray(np.concatenate([*loops, films]))


def _raised(segments: Array, up: float) -> Array:
    out = segments.copy()
    out[:, [1, 3, 5]] += up
    return out


def _clear(section: Section, side: float, gap: float) -> float:
    """Where the winding's middle stands with the whole coil clear of every body by more than the gap."""
    boxes = [b.outer.box for b in section.bodies]
    edge = max(b[3] for b in boxes) if side > 0.0 else min(b[2] for b in boxes)
    turns = [t.outer.box for t in section.turns]
    high = max(t[3] for t in turns) - min(t[2] for t in turns)
    return edge + side * (high + 2.0 * gap)


# the bank --------------------------------------------------------------------------------------------------------------


def _stock_of(job: Job) -> tuple[StockItem, ...]:
    if not has_source(job):
        what = "needs [tank], [[capacitor]] and [source]; without them search over drive.frequency"
        raise BadInput(Fault(TANK_FREQUENCY, what))
    stock = tank_of(job).stock
    if stock is None:
        raise BadInput(Fault(TANK_FREQUENCY, 'needs a list to choose from; write stock = "shelf.csv" in [tank]'))
    return read_stock(job.folder / Path(stock))


def _bank(job: Job, frequency: float) -> list[dict[str, Any]]:
    """[[capacitor]] tables: the best bank of the shelf near a frequency (Hz) for the cold coil, other places as they are."""
    tank, stock = tank_of(job), _stock_of(job)
    source = tank.source
    if source is None:
        raise BadInput(Fault(TANK_FREQUENCY, "needs a [source]"))
    low, high = source.limits.window
    window = (max(low, frequency * (1.0 - _ROUGHLY)), min(high, frequency * (1.0 + _ROUGHLY)))
    if not window[0] < window[1]:
        what = f"{frequency / 1e3:.4g} kHz lies outside the source's {low / 1e3:.4g} to {high / 1e3:.4g} kHz"
        raise BadInput(Fault(TANK_FREQUENCY, what))
    z = cold_impedance(job, frequency)
    found = choose_bank(tank, (z.real, z.imag / (2.0 * math.pi * frequency)), stock, window=window)
    if not found.fitting:
        why = f": {found.near_misses[0].verdict}" if found.near_misses else ""
        raise BadInput(Fault(TANK_FREQUENCY, f"no bank of the shelf fits near {frequency / 1e3:.4g} kHz{why}"))
    others = [dict(c) for c in job.document.get("capacitor", ()) if c.get("place", "tank") != "tank"]
    return [*_tables(found.fitting[0]), *others]


def cold_impedance(job: Job, frequency: float) -> complex:
    """Loaded impedance (ohm) at the coil's terminals, leads included, everything cold, coarse meshes."""
    meshed = mesh_scene(scene(job), frequency, "coarse")
    of_shot = FieldOfShot(meshed)
    temperatures = {b.name: meshed.scene.start_temperature(b.mesh.regions[0]) for b in of_shot.model.bodies}
    return Field.of(field_model(meshed)).state(temperatures).impedance + of_shot.leads(frequency)


def _tables(choice: BankChoice) -> list[dict[str, Any]]:
    return [_table(group) for group in choice.groups]


def _table(group: BankGroup) -> dict[str, Any]:
    can = group.can
    out: dict[str, Any] = {"name": can.name, "place": "tank", "capacitance": _farad(can.capacitance)}
    out |= {"series": group.series, "parallel": group.parallel}
    if can.tolerance:
        out["tolerance"] = can.tolerance
    if can.loss_tangent:
        out["loss_tangent"] = can.loss_tangent
    curves = (
        ("rated_voltage", can.voltage, "V"),
        ("rated_current", can.current, "A"),
        ("rated_reactive_power", can.reactive_power, "var"),
    )
    out |= {key: _curve(curve, unit) for key, curve, unit in curves if curve is not None}
    if can.temperature_coefficient:
        out["temperature_coefficient"] = f"{can.temperature_coefficient!r} 1/K"
    return out


def _farad(value: float) -> str:
    """In nF where that says the same number exactly, as it stands on the can."""
    short = f"{value * 1e9:.12g} nF"
    return short if parse(short, "capacitance") == value else f"{value!r} F"


def _curve(curve: RatingCurve, unit: str) -> Any:
    if len(curve.value) == 1:
        return f"{curve.value[0]!r} {unit}"
    return {"at": [f"{f!r} Hz" for f in curve.frequency], "is": [f"{v!r} {unit}" for v in curve.value]}


def bank_price(job: Job) -> float:
    """Price of the tank's cans by the stock list; a can that is not on the list costs what cannot be said: BadInput."""
    price = {item.can.name: item.price for item in _stock_of(job)}
    total = 0.0
    for group in tank_of(job).bank.groups:
        if group.can.name not in price:
            raise BadInput(
                Fault("bank price", f'"{group.can.name}" is not on the stock list, so its price is not known')
            )
        total += price[group.can.name] * group.cans
    return total
