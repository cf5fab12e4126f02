"""The commands about the machine itself: tank."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import FAILS_ACCEPTANCE, folder, print_json, progress, table

if TYPE_CHECKING:
    from coilwright.heating.electrical import TankReport
    from coilwright.steps.tank import TankStudy
    from coilwright.tank.choose import BankTable
    from coilwright.tank.result import OperatingPoint


def tank(path: Path, as_json: bool, out: Path | None) -> int:
    from coilwright.job import load
    from coilwright.steps.tank import tank as study_of

    job = load(path)
    target = folder(out)
    with progress("tank", as_json) as advance:
        study = study_of(job, report=advance)
    written: list[Path] = []
    if target is not None:
        from coilwright.pack.tank_pictures import tank_pictures
        from coilwright.steps.tank import cold_netlist

        deck = target / "tank.cir"
        deck.write_text(cold_netlist(study.report), encoding="utf-8")
        written = [*tank_pictures(study.report, target), deck]
    if as_json:
        print_json({**study.to_dict(), "files": [str(p) for p in written]})
    else:
        print(_text(study))
        if written:
            print("written: " + ", ".join(str(p) for p in written))
    return 0 if study.report.shot.passed else FAILS_ACCEPTANCE


def _text(study: TankStudy) -> str:
    report = study.report
    head = ("", "cold", "end of shot", "empty coil")
    points = (report.cold, report.hot, report.empty)
    parts = [f"{report.title}: source and tank", table(_rows(points), head)]
    if report.empty is None:
        parts.append("the source finds no place to run on the empty coil")
    parts.append(_components(report))
    parts.append(_ratings(report))
    parts.append(_start_up(report))
    if study.matches:
        rows = [(m.label, f"{m.coil_power:.4g} W", m.verdict or "first choice") for m in study.matches]
        what = "transformer turns, cold" if report.tank.transformer is not None else "coupling inductor, cold"
        parts.append(table(rows, (what, "most coil power", "why not")))
    if study.banks is not None:
        parts.append(_banks(study.banks))
    if report.cooling is not None:
        parts.append(_water(report))
    parts += [f"  {f}" for f in report.findings]
    parts.append("\n".join(["cautions", *(f"  {c}" for c in report.cautions)]))
    return "\n\n".join(p for p in parts if p)


def _rows(points: tuple[OperatingPoint | None, ...]) -> list[tuple[str, ...]]:
    def row(label: str, read: str, scale: float, unit: str) -> tuple[str, ...]:
        return (label, *("-" if p is None else f"{getattr(p, read) * scale:.4g} {unit}" for p in points))

    return [
        row("frequency", "frequency", 1e-3, "kHz"),
        row("phase (current lags)", "phase", 180.0 / math.pi, "deg"),
        row("coil current", "coil_current", 1.0, "A"),
        row("coil voltage", "coil_voltage", 1.0, "V"),
        row("coil power", "coil_power", 1.0, "W"),
        row("source voltage", "source_voltage", 1.0, "V"),
        row("source current", "source_current", 1.0, "A"),
        row("source power", "source_power", 1.0, "W"),
        row("drive", "drive", 100.0, "%"),
        row("loaded Q", "loaded_q", 1.0, ""),
        ("held back by", *("-" if p is None else (p.limiting or "nothing") for p in points)),
    ]


def _components(report: TankReport) -> str:
    rows = [
        (c.name, f"{c.voltage:.4g} V", f"{c.current:.4g} A", f"{c.reactive_power / 1e3:.4g} kvar", f"{c.loss:.4g} W")
        for c in report.cold.components
    ]
    return table(rows, ("component, cold", "volts", "amps", "reactive", "loss"))


def _ratings(report: TankReport) -> str:
    if not report.worst:
        return "no capacitor ratings given: nothing to compare the stresses with"
    rows = [
        (r.component, r.quantity, f"{r.value:.4g}", f"{r.rating * r.derating:.4g}", f"{100 * r.used:.0f} %")
        for r in sorted(report.worst, key=lambda r: -r.used)
    ]
    return table(rows, ("worst through the shot and empty", "quantity", "value", "allowed here", "used"))


def _start_up(report: TankReport) -> str:
    start = report.start_up
    if start is None:
        return ""
    up = start.ring_up
    lines = [
        f"start-up: the coil current is within 10 % of its end after {up.ring_up_time * 1e6:.3g} us; peaks "
        f"{up.peak_source_current:.4g} A at the source, {up.peak_coil_current:.4g} A in the coil, "
        f"{up.peak_bank_voltage:.4g} V on the bank"
    ]
    for mode in start.modes:
        lines.append(
            f"rings by itself at {mode.frequency / 1e3:.4g} kHz, down to 1/e in {mode.time_constant * 1e6:.3g} us"
        )
    third = next((h for h in start.harmonics if h.order == 3), None)
    first = start.harmonics[0]
    if third is not None:
        share = 100.0 * third.source_current / first.source_current
        lines.append(f"third harmonic of a square drive: {share:.2g} % of the source current")
    return "\n".join(lines)


def _banks(banks: BankTable) -> str:
    rows = [
        (
            b.label,
            f"{b.capacitance * 1e6:.4g} uF",
            f"{b.frequency / 1e3:.4g} kHz",
            f"{100 * b.used:.0f} %",
            f"{b.price:.4g}",
            b.verdict or "first choice",
        )
        for b in (*banks.fitting, *banks.near_misses)
    ]
    title = f"banks from the shelf: {banks.candidates} looked at, {banks.fitting_count} fit"
    return title + "\n" + table(rows, ("bank", "C", "rings at", "used", "price", "why not first"))


def _water(report: TankReport) -> str:
    cooling = report.cooling
    if cooling is None:
        return ""
    rows = [
        (
            e.name,
            f"{e.loss:.4g} W",
            f"{e.flow * 60000:.3g} L/min",
            f"{e.pressure_drop / 1e5:.3g} bar",
            f"{e.outlet_temperature - 273.15:.1f} degC",
            "-" if e.wall_temperature is None else f"{e.wall_temperature - 273.15:.0f} degC",
        )
        for e in cooling.elements
    ]
    return table(rows, ("water through", "takes up", "flow", "drop", "leaves at", "hottest wall"))
