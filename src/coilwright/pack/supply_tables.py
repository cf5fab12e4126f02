"""Water, wiring and capacitors as tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from coilwright.cooling.result import CoolingResult, ElementState
from coilwright.heating.bank_stress import bank_stresses
from coilwright.heating.electrical import TankReport
from coilwright.pack.contents import PackContents
from coilwright.pack.tables import Cell, Column, Table
from coilwright.pack.winding_tables import missing_table
from coilwright.section.forming import carrying_area, described
from coilwright.tank.layout import DENSITY_IN_AIR, copper_section, skin_depth_copper
from coilwright.tank.result import OperatingPoint, RatingCheck
from coilwright.tank.stress import stress_table
from coilwright.units import ZERO_CELSIUS

Row = tuple[Cell, ...]
_L_PER_MIN: Final = 60000.0
_BAR: Final = 1e5
_WATER_TITLE: Final = "Water circuit"
_WATER: Final = (
    Column("path"), Column("part"), Column("flow", "L/min"), Column("in", "°C"), Column("out", "°C"), Column("rise", "K"),
    Column("drop", "bar", 3), Column("heat", "W"), Column("speed", "m/s", 3), Column("to boiling", "K", 3),
)  # fmt: skip


def water_table(contents: PackContents) -> Table:
    """Flow, drop and temperatures of every part the water passes, then of every path and the whole."""
    cooling = None if contents.tank is None else contents.tank.cooling
    if cooling is None:
        why = (
            "the job has no [cooling]"
            if "cooling" not in contents.job.later
            else "[cooling] is computed with a [tank] and [source]"
        )
        return missing_table("water-circuit", _WATER_TITLE, f"{why}: no flow, drop or temperature is known")
    return circuit_table(cooling)


def circuit_table(cooling: CoolingResult) -> Table:
    """The same from the circuit alone."""
    notes = [str(f) for f in cooling.findings]
    notes.append("Drain, isolate and lock off before opening any joint; water near live parts.")
    notes += [f"Source: {s}." for s in cooling.sources]
    return Table("water-circuit", _WATER_TITLE, _WATER, tuple(_water(cooling)), tuple(notes))


def _water(cooling: CoolingResult) -> Iterator[Row]:
    for element in cooling.feed:
        yield _element("feed", element)
    for path in cooling.paths:
        for element in path.elements:
            yield _element(path.name, element)
        first = path.elements[0].inlet_temperature
        yield (
            path.name, "whole path", path.flow * _L_PER_MIN, first - ZERO_CELSIUS, path.outlet_temperature - ZERO_CELSIUS,
            path.outlet_temperature - first, path.pressure_drop / _BAR, sum(e.loss for e in path.elements), None, None,
        )  # fmt: skip
    for element in cooling.back:
        yield _element("return", element)
    inlet = cooling.circuit.inlet_temperature
    yield (
        "all", "whole circuit", cooling.flow * _L_PER_MIN, inlet - ZERO_CELSIUS, cooling.outlet_temperature - ZERO_CELSIUS,
        cooling.outlet_temperature - inlet, cooling.pressure_drop / _BAR, cooling.heat, None, None,
    )  # fmt: skip


def _element(path: str, e: ElementState) -> Row:
    return (
        path, e.name, e.flow * _L_PER_MIN, e.inlet_temperature - ZERO_CELSIUS, e.outlet_temperature - ZERO_CELSIUS,
        e.outlet_temperature - e.inlet_temperature, e.pressure_drop / _BAR, e.loss, e.velocity, e.boiling_margin,
    )  # fmt: skip


_WIRING: Final = (
    Column("run"), Column("conductor"), Column("current", "A rms"), Column("voltage", "V rms"), Column("frequency", "kHz"),
    Column("length", "mm"), Column("copper needed", "mm²", 3), Column("copper that carries", "mm²", 3), Column("remark"),
)  # fmt: skip


def wiring_table(contents: PackContents) -> Table:
    """Every conductor between source and coil, with the worst current it carries."""
    rows = tuple(_wiring(contents))
    if not rows:
        return missing_table("wiring-list", "Wiring list", "the job describes neither coil nor tank")
    notes = (
        f"Copper needed in air at {DENSITY_IN_AIR / 1e6:g} A/mm² (common practice, no source), where the current flows: within "
        "one skin depth of the surface, so strands thinner than two of them, tube, or flat bar. Where water takes the heat, the "
        "water circuit decides.",
        "Mains, protective conductors and control wiring are sized and connected by a licensed electrician under local codes.",
    )
    return Table("wiring-list", "Wiring list", _WIRING, rows, notes)


def _wiring(contents: PackContents) -> Iterator[Row]:
    coil, trace, report = contents.job.coil, contents.shot.trace.coil, contents.tank
    if coil is not None and len(trace.current):
        k = int(trace.current.argmax())
        amps, hertz, volts = float(trace.current[k]), float(trace.frequency[k]), float(trace.voltage.max())
        wet = "tube" in coil.conductor.section
        need = None if wet else copper_section(amps) * 1e6
        depth = skin_depth_copper(hertz)
        remark = f"skin depth {depth * 1e3:.3g} mm" + (", water-cooled" if wet else "")
        length = None if coil.leads is None else 2e3 * coil.leads.length
        yield (
            "coil leads, go and return", described(coil.conductor), amps, volts, hertz / 1e3, length, need,
            carrying_area(coil.conductor, depth) * 1e6, remark,
        )  # fmt: skip
    if report is not None:
        yield from _tank_wiring(report)


_INSIDE: Final = ("bridge", "transformer core", "coil")  # inside a part, or listed with the leads


def _tank_wiring(report: TankReport) -> Iterator[Row]:
    points = [p for p in (report.cold, report.hot, report.empty) if p is not None]
    for name in [c.name for c in report.cold.components if c.name not in _INSIDE]:
        states = [(p.component(name), p.frequency) for p in points]
        state, hertz = max(states, key=lambda s: s[0].current)
        volts = max(s.voltage for s, _ in states)
        length = report.tank.cable.length * 1e3 if name == "cable" and report.tank.cable is not None else None
        yield (
            f"to and from {name}", "flat bar, litz or cable of fine strands", state.current, volts, hertz / 1e3, length,
            copper_section(state.current) * 1e6, None, f"skin depth {skin_depth_copper(hertz) * 1e3:.3g} mm",
        )  # fmt: skip
    top = max(points, key=lambda p: p.source_current)
    yield (
        "source output", "flat bar, litz or cable of fine strands", top.source_current, max(p.source_voltage for p in points),
        top.frequency / 1e3, None, copper_section(top.source_current) * 1e6, None, "worst of cold, hot and empty",
    )  # fmt: skip


_LOADS: Final = (
    Column("point"), Column("place"), Column("capacitor"), Column("voltage", "V rms"), Column("peak", "V"),
    Column("current", "A rms"), Column("reactive power", "kvar"), Column("loss", "W"), Column("share of the bank", "%"),
)  # fmt: skip
_RATINGS: Final = (
    Column("capacitor"), Column("quantity"), Column("value"), Column("rating"), Column("unit"), Column("shop allows", "%"),
    Column("used", "%"), Column("margin", "%"),
)  # fmt: skip
_TITLES: Final = (
    ("capacitor-loads", "Capacitors: what each sees"),
    ("capacitor-ratings", "Capacitors: ratings and margins"),
)
_UNITS: Final = {"voltage": ("V rms", 1.0), "current": ("A rms", 1.0), "reactive power": ("kvar", 1e-3)}


def capacitor_tables(contents: PackContents) -> tuple[Table, Table]:
    """What one can of each kind sees at every operating point, and the worst of it against its ratings."""
    report = contents.tank
    if report is None:
        why = contents.missing.get("tank", "the job has no [tank] and [source]")
        loads, ratings = (missing_table(name, title, why) for name, title in _TITLES)
        return loads, ratings
    return stresses(report)


def stresses(report: TankReport) -> tuple[Table, Table]:
    """The same two tables from the electrical report alone."""
    note = "Figures for one capacitor; peak with any direct voltage it holds."
    loads = Table(*_TITLES[0], _LOADS, tuple(_loads(report)), (note,))
    if not report.worst:
        return loads, missing_table(*_TITLES[1], "no [[capacitor]] states a rating, so no margin is known")
    rows = tuple(_rating(r) for r in report.worst)
    notes = ("Worst value through the shot and with the coil empty. Margin: what is left of what the shop allows.",)
    return loads, Table(*_TITLES[1], _RATINGS, rows, notes)


_BUILT: Final = (
    Column("place"), Column("can"), Column("capacitor"), Column("marked", "µF"), Column("at least", "µF"),
    Column("at most", "µF"), Column("serial number"), Column("measured", "µF"),
)  # fmt: skip


def bank_as_built(contents: PackContents) -> Table:
    """Every can at its place in the drawing of the bank, with room for what was fitted there."""
    name, title, report = "capacitors-as-built", "Capacitors as built", contents.tank
    if report is None:
        return missing_table(name, title, contents.missing.get("tank", "the job has no [tank] and [source]"))
    known = {group.can.name: group.can for _, bank in report.tank.banks() for group in bank.groups}
    rows: list[Row] = []
    for stress in bank_stresses(report, contents.job, contents.workshop):
        for place in stress.layout.cans:
            can = known[place.name]
            marked, out = 1e6 * can.capacitance, 1e6 * can.capacitance * can.tolerance
            at = f"{place.string}.{place.row}"
            rows.append((stress.layout.place, at, can.name, marked, marked - out, marked + out, "", ""))
    notes = (
        "Numbered as in the drawing: string, then row from the upper bar. Measure every can isolated and proved dead, before it "
        "is bolted in; tighten to what its maker states. With the sum measured, the frequency can be told again.",
    )
    return Table(name, title, _BUILT, tuple(rows), notes)


def _loads(report: TankReport) -> Iterator[Row]:
    points: dict[str, OperatingPoint | None] = {"cold": report.cold, "hot": report.hot, "coil empty": report.empty}
    for name, point in points.items():
        if point is None:
            yield (name, "the source cannot run on the empty coil", *([None] * 7))
            continue
        for load in stress_table(report.tank, point):
            yield (
                name, load.place, load.name, load.voltage, load.peak_voltage, load.current, load.reactive_power / 1e3, load.loss,
                100.0 * load.share,
            )  # fmt: skip


def _rating(r: RatingCheck) -> Row:
    unit, factor = _UNITS[r.quantity]
    return (
        r.component, r.quantity, r.value * factor, r.rating * factor, unit, 100.0 * r.derating, 100.0 * r.used, 100.0 * r.margin,
    )  # fmt: skip
