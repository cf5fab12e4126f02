"""Winding card, order of work, parts, cuts and settings."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from coilwright.cooling.inputs import Circuit, Element, Passage, Path, SetPressure, rectangular_bore, round_bore
from coilwright.cooling.solve import solve_cooling
from coilwright.field.targets import coil_target
from coilwright.heating.bank_stress import bank_stresses
from coilwright.job.schema_fixture import read_fixture
from coilwright.pack.coil_drawing import conductor_bends
from coilwright.pack.contents import PackContents
from coilwright.pack.gauge_drawing import gauges
from coilwright.pack.tables import Cell, Column, Table
from coilwright.section.forming import BENDER_SOURCE, FILLED_SOURCE, SPRING_SOURCE, described, mandrel_diameter
from coilwright.section.winding import Winding, winding_of
from coilwright.section.work_order import TEST_PRESSURE, winding_steps
from coilwright.tank.inputs import TankInput
from coilwright.units import ZERO_CELSIUS

MM: Final = 1e3
Row = tuple[Cell, ...]
_FLOW_TEST: Final = 2e5  # Pa, about what a mains tap gives (common practice, no source)
_CARD: Final = (Column("item"), Column("figure", digits=5), Column("unit"), Column("remark"))


def missing_table(name: str, title: str, why: str) -> Table:
    """A table that cannot be written, and why."""
    return Table(name, title, (Column("not given"),), ((why,),))


def _winding(contents: PackContents) -> Winding | None:
    coil = contents.job.coil
    return None if coil is None else winding_of(coil, contents.workshop, contents.check.scene.section)


def winding_card(contents: PackContents) -> Table:
    """Everything the winder measures to."""
    title, winding = "Winding card", _winding(contents)
    if winding is None:
        return missing_table("winding-card", title, "the job has no [coil]")
    rows = [
        *_coil_rows(contents, winding),
        *_bend_rows(contents),
        *_flow_rows(contents, winding),
        *_target_rows(contents),
    ]
    notes = [
        *winding.notes,
        f"Least bend radius, filled: {FILLED_SOURCE}. In a bender: {BENDER_SOURCE}.",
        f"Spring-back: {SPRING_SOURCE}, copper of 200 MPa flow stress [memory]; wind one turn first and measure.",
    ]
    return Table("winding-card", title, _CARD, tuple(rows), tuple(notes))


def _coil_rows(contents: PackContents, winding: Winding) -> Iterator[Row]:
    coil, shop = contents.job.coil, contents.workshop
    if coil is None:
        return
    yield "conductor", described(coil.conductor), "", "annealed" if "tube" in coil.conductor.section else ""
    yield "winding", winding.kind, "", ""
    yield "turns", float(winding.turns), "", ""
    yield "hand", winding.hand, "", "assumed" if shop.assumed("hand") else "as stated"
    if coil.winding == "helix":
        yield "mean diameter", coil.mean_diameter * MM, "mm", "to the centre line"
        yield "inside diameter", (coil.mean_diameter - coil.conductor.radial_size) * MM, "mm", "after spring-back"
        mandrel = mandrel_diameter(coil.conductor, coil.mean_diameter) * MM
        yield "mandrel diameter", mandrel, "mm", "computed for the spring-back; try one turn first"
        if coil.pitch is not None:
            yield "pitch", coil.pitch * MM, "mm", ""
    elif coil.winding == "spiral":
        yield "mean diameter of the first turn", coil.inner_diameter * MM, "mm", "to the centre line"
        yield "mean diameter of the last turn", coil.outer_diameter * MM, "mm", "to the centre line"
        yield "radial pitch", coil.radial_pitch * MM, "mm", ""
    else:
        for k, turn in enumerate(coil.turn, 1):
            yield f"turn {k}, mean diameter", turn.mean_diameter * MM, "mm", f"height {turn.z * MM:g} mm"
            yield f"turn {k}, mandrel", mandrel_diameter(coil.conductor, turn.mean_diameter) * MM, "mm", ""
    yield "length of the turns", winding.wound_length * MM, "mm", "centre line, whole turns"
    yield "developed length", winding.length * MM, "mm", "with leads and their bends"
    yield "cut length", (winding.length + shop.cut_allowance) * MM, "mm", "with the allowance to trim"
    if coil.leads is not None:
        yield "lead length", coil.leads.length * MM, "mm", "from the centre line of the outermost turn"
        yield "lead spacing", coil.leads.spacing * MM, "mm", "centre to centre"


def _flow_rows(contents: PackContents, winding: Winding) -> Iterator[Row]:
    """What a clear tube lets through: a kink or braze inside shows as less."""
    coil, turns = contents.job.coil, contents.check.scene.section.turns
    if coil is None or not turns:
        return
    section, around = coil.conductor, 2.0 * math.fsum(t.r for t in turns) / len(turns)
    if section.section == "round tube":
        bore = round_bore(section.bore, winding.length, coil_diameter=around)
    elif section.section == "rectangular tube":
        inside = section.width - 2.0 * section.wall, section.height - 2.0 * section.wall
        bore = rectangular_bore(*inside, winding.length, coil_diameter=around)
    else:
        return
    circuit = Circuit(SetPressure(_FLOW_TEST), (Path("coil", (Element("coil", bore),)),))
    flow = solve_cooling(circuit).flow * 60000.0
    yield "water flow, clear", flow, "L/min", f"at {_FLOW_TEST / 1e5:g} bar from end to end, cold water"


def _bend_rows(contents: PackContents) -> Iterator[Row]:
    for what, bend in conductor_bends(contents):
        remark = "tighter than usual practice: trial bend first" if bend.tight else "within usual practice"
        yield f"{what}, radius", bend.radius * MM, "mm", remark
        yield f"{what}, least radius filled", bend.least_filled * MM, "mm", "common practice, no source"
        if bend.least_in_bender is not None:
            yield f"{what}, least radius in a bender", bend.least_in_bender * MM, "mm", "published, see below"
        yield f"{what}, strain of the outer face", 100.0 * bend.strain, "%", ""
        if bend.wall is not None and bend.wall_outside is not None:
            yield f"{what}, wall at the outside", bend.wall_outside * MM, "mm", f"of {bend.wall * MM:.3g} mm"


def _target_rows(contents: PackContents) -> Iterator[Row]:
    target = coil_target(contents.field, contents.workshop)
    if target is not None:
        said = "tolerance assumed" if target.assumed else "tolerance as stated"
        yield "measured at", target.frequency / 1e3, "kHz", "lead ends, no part near"
        for name, value, (low, high), factor, unit in (
            ("inductance", target.inductance, target.inductance_range, 1e6, "µH"),
            ("resistance", target.resistance, target.resistance_range, 1e3, "mΩ"),
        ):
            yield f"{name} to read", value * factor, unit, said
            yield f"{name} at least", low * factor, unit, ""
            yield f"{name} at most", high * factor, unit, ""
    coil = contents.job.coil
    if coil is not None and "tube" in coil.conductor.section:
        yield "pressure test", TEST_PRESSURE / 1e5, "bar", "water, 10 min; common practice, no source"


def winding_steps_table(contents: PackContents) -> Table:
    """The order of work."""
    title, winding = "Order of winding", _winding(contents)
    if winding is None:
        return missing_table("winding-steps", title, "the job has no [coil]")
    steps = winding_steps(contents.job.coil, winding, contents.workshop)
    rows = tuple((k, step) for k, step in enumerate(steps, 1))
    return Table("winding-steps", title, (Column("step"), Column("what to do")), rows, ("Common practice, no source.",))


def parts_list(contents: PackContents) -> Table:
    """What must be bought or taken from the store."""
    columns = (Column("item"), Column("part"), Column("what"), Column("count"), Column("each", "mm"), Column("remark"))
    rows = [(k, *row) for k, row in enumerate(_parts(contents), 1)]
    if not rows:
        return missing_table("parts-list", "Parts list", "the job describes neither coil nor tank")
    notes = ("Fittings, clamps, insulation, hoses, covers and control are not described by the job and not listed.",)
    return Table("parts-list", "Parts list", columns, tuple(rows), notes)


def _parts(contents: PackContents) -> Iterator[Row]:
    coil, winding = contents.job.coil, _winding(contents)
    stations = read_fixture(contents.job).stations
    if coil is not None and winding is not None:
        length = (winding.length + contents.workshop.cut_allowance) * MM
        yield "work coil conductor", described(coil.conductor), stations, length, "one coil per station"
    for gauge in gauges(contents):
        limits = f"{gauge.low * MM:.3f} goes, {gauge.high * MM:.3f} does not; limits from {_article(gauge.limited_by)}"
        yield gauge.name, gauge.what, 1, gauge.distance * MM, limits
    if contents.tank is None:
        return
    for stress in bank_stresses(contents.tank, contents.job, contents.workshop):
        for group in stress.bank.groups:
            what = f"{group.can.name}, {group.can.capacitance * 1e6:.4g} µF"
            yield (
                f"capacitor, {stress.layout.place}",
                what,
                group.cans,
                None,
                f"strings {group.parallel}, in series {group.series}",
            )
        bars = f"copper bar {stress.layout.bar_width * MM:g} x {stress.layout.bar_thickness * MM:g}"
        yield f"busbar, {stress.layout.place}", bars, 2, stress.layout.width * MM, "feed and return"
    yield from _circuit_parts(contents.tank.tank)


def _article(words: str) -> str:
    return f"the {words}"


def _circuit_parts(tank: TankInput) -> Iterator[Row]:
    if tank.transformer is not None:
        yield (
            "matching transformer",
            f"ratio {tank.transformer.ratio:g} : 1",
            1,
            None,
            f"bank on the {tank.bank_side} side",
        )
    if tank.inductor_inductance > 0.0:
        yield "coupling inductor", f"{tank.inductor_inductance * 1e6:.4g} µH", 1, None, ""
    if tank.cable is not None:
        yield "cable to the work head", f"on the {tank.cable.place} side", 1, tank.cable.length * MM, "go and return"
    if tank.source is not None:
        unit = "A" if tank.source.current_fed else "V"
        yield "source", tank.source.kind, 1, None, f"supply {tank.source.supply:g} {unit} dc"
        if tank.source.choke > 0.0:
            yield "choke", f"{tank.source.choke * 1e3:.4g} mH", 1, None, ""


def cut_list(contents: PackContents) -> Table:
    """Every length that is cut from stock."""
    columns = (
        Column("piece"), Column("stock"), Column("count"), Column("length", "mm", 5), Column("total", "mm", 5), Column("remark"),
    )  # fmt: skip
    rows: list[Row] = []
    coil, winding = contents.job.coil, _winding(contents)
    if coil is not None and winding is not None:
        n = read_fixture(contents.job).stations
        length = (winding.length + contents.workshop.cut_allowance) * MM
        said = "assumed" if contents.workshop.assumed("cut_allowance") else "as stated"
        remark = f"{contents.workshop.cut_allowance * MM:g} mm to trim, {said}"
        rows.append(("work coil", described(coil.conductor), n, length, n * length, remark))
    if contents.tank is not None:
        for stress in bank_stresses(contents.tank, contents.job, contents.workshop):
            bank = stress.layout
            stock = f"copper bar {bank.bar_width * MM:g} x {bank.bar_thickness * MM:g} mm"
            name = f"busbar, {bank.place}"
            rows.append((name, stock, 2, bank.width * MM, 2.0 * bank.width * MM, "feed and return"))
        rows += list(_hoses(contents))
    if not rows:
        return missing_table("cut-list", "Cut list", "the job describes neither coil nor tank")
    return Table("cut-list", "Cut list", columns, tuple(rows))


def _hoses(contents: PackContents) -> Iterator[Row]:
    """Hoses to and from the machine."""
    cooling = None if contents.tank is None else contents.tank.cooling
    if cooling is None:
        return
    for element in (*cooling.circuit.feed, *cooling.circuit.back):
        run = element.hydraulics
        if isinstance(run, Passage):
            length = run.length * MM
            yield (
                element.name,
                f"hose, bore {run.hydraulic_diameter * MM:g} mm",
                1,
                length,
                length,
                "insulating",
            )


def settings_table(contents: PackContents) -> Table:
    """What is set at the machine, and within which limits where the window tells."""
    columns = (
        Column("setting"),
        Column("value", digits=5),
        Column("unit"),
        Column("lowest"),
        Column("highest"),
        Column("from"),
    )
    notes = ["Limits: how far each may be out alone, the rest as drawn."] if contents.window is not None else []
    if contents.window is None:
        why = contents.missing.get("window", "no window was computed")
        notes.append(f"No limits of the settings: {why}.")
    return Table("settings", "Settings", columns, tuple(_settings(contents)), tuple(notes))


def _settings(contents: PackContents) -> Iterator[Row]:
    trace, drive, report = contents.shot.trace.coil, contents.job.drive, contents.tank
    told = "[drive]"
    if report is not None and report.tank.source is not None:
        source = report.tank.source
        yield "source follows", source.follow, "", None, None, "[source]"
        unit = {"level": "of full drive", "power": "W", "coil current": "A rms", "coil voltage": "V rms"}[source.hold]
        yield f"source holds {source.hold}", source.held, unit, None, None, "[source]"
        yield "frequency, cold part", report.cold.frequency / 1e3, "kHz", None, None, "computed"
        yield "frequency, end of the shot", report.hot.frequency / 1e3, "kHz", None, None, "computed"
        yield "coil current, cold part", report.cold.coil_current, "A rms", None, None, "computed"
    else:
        if drive.frequency is not None:
            yield "frequency", drive.frequency / 1e3, "kHz", *_limits(contents, "drive.frequency"), told
        for key, value, unit in (
            ("coil_current", drive.coil_current, "A rms"),
            ("coil_voltage", drive.coil_voltage, "V rms"),
            ("coil_power", drive.coil_power, "W"),
        ):
            if value is not None:
                yield key.replace("_", " "), value, unit, *_limits(contents, f"drive.{key}"), told
        if drive.through is not None:
            yield f"current through {drive.through.body}", drive.through.current, "A rms", None, None, told
        if drive.coil_current is None and drive.through is None and len(trace.current):
            yield "coil current at the start", float(trace.current[0]), "A rms", None, None, "computed"
    if drive.on_time is not None:
        yield "on-time", drive.on_time, "s", *_limits(contents, "drive.on_time"), told
    for k, step in enumerate(drive.step, 1):
        yield f"step {k}, {step.start:g} s to {step.end:g} s, level", step.level, "of the full", None, None, told
    for gauge in gauges(contents):
        row = gauge.low * MM, gauge.high * MM
        yield gauge.what, gauge.distance * MM, "mm", f"{row[0]:.3f}", f"{row[1]:.3f}", f"gauge, {gauge.limited_by}"
    for t in () if contents.window is None else contents.window.tolerances:
        if t.quantity.role == "mains":  # the other settings stand above with their limits
            yield (
                "mains voltage",
                100.0 * t.quantity.nominal,
                "% of nominal",
                *_limits(contents, t.quantity.what),
                "window",
            )
    if report is not None and report.cooling is not None:
        water = report.cooling
        yield "water flow", water.flow * 60000.0, "L/min", None, None, "[cooling]"
        yield "water inlet", water.circuit.inlet_temperature - ZERO_CELSIUS, "°C", None, None, "[cooling]"


def _limits(contents: PackContents, what: str) -> tuple[Cell, Cell]:
    """How far a quantity may go alone, as the window shows it; None where no limit was found or nothing was varied."""
    if contents.window is None:
        return None, None
    for t in contents.window.tolerances:
        if t.quantity.what == what:
            low, high = (None if end is None else t.quantity.shown(end) for end in (t.low, t.high))
            return low, high
    return None, None
