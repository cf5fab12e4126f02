"""The tank as a study: everything electrical about the shot."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilwright.bench.shown import drawn, shown, table
from coilwright.bench.study_kinds import Report
from coilwright.heating.electrical import TankReport
from coilwright.job import Job
from coilwright.pack.supply_tables import circuit_table, stresses
from coilwright.pack.tables import Table
from coilwright.pack.tank_pictures import tank_pictures
from coilwright.steps.tank import TankStudy, cold_netlist, tank
from coilwright.tank.choose import BankChoice
from coilwright.tank.result import OperatingPoint

# what is shown, how it is read from an operating point, scale to the unit shown
_FIGURES = (
    ("frequency", "kHz", "frequency", 1e-3),
    ("phase, current lags", "°", "phase", 180.0 / math.pi),
    ("coil current", "A rms", "coil_current", 1.0),
    ("coil voltage", "V rms", "coil_voltage", 1.0),
    ("coil power", "W", "coil_power", 1.0),
    ("source voltage", "V rms", "source_voltage", 1.0),
    ("source current", "A rms", "source_current", 1.0),
    ("source power", "W", "source_power", 1.0),
    ("drive", "%", "drive", 100.0),
    ("coil power over source power", "%", "efficiency", 100.0),
    ("loaded Q", "", "loaded_q", 1.0),
    ("unloaded Q", "", "unloaded_q", 1.0),
)

_COMPONENTS = ("component", "voltage [V rms]", "current [A rms]", "reactive power [kvar]", "loss [W]")
_BANKS = ("bank", "capacitance [µF]", "frequency [kHz]", "used [%]", "price", "cans", "verdict")


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Run it; pictures and the circuit as SPICE cards go into the folder."""
    study = tank(job, report=lambda share: report(0.85 * share, "marching"))
    found = study.report
    report(0.87, "drawing")
    pictures = drawn(tank_pictures, found, folder)
    deck = folder / "tank.cir"
    deck.write_text(cold_netlist(found), encoding="utf-8")
    most = max((r.used for r in found.worst), default=None)
    said = f"{found.cold.frequency / 1e3:.4g} kHz, {found.cold.coil_power:.4g} W in the coil cold"
    return shown(
        said + ("" if most is None else f"; most used rating {100.0 * most:.0f} %"),
        lines=() if found.empty is not None else ("The source finds no place to run on the empty coil.",),
        tables=tables(study),
        pictures=pictures,
        cautions=found.cautions,
        findings=found.findings,
        files=(deck,),
        figures=study.to_dict(),
    )


def tables(study: TankStudy) -> Iterator[Table]:
    """Operating points, components, ratings, banks, other ratios, start-up, water."""
    report = study.report
    points = (report.cold, report.hot, report.empty)
    rows: list[tuple[Any, ...]] = [
        (label, *(_scaled(p, read, scale) for p in points), unit) for label, unit, read, scale in _FIGURES
    ]
    rows.append(("held back by", *(None if p is None else p.limiting or "nothing" for p in points), ""))
    yield table("operating-points", "Operating points", ("what", "cold", "end of shot", "empty coil", "unit"), rows)
    loads, ratings = stresses(report)
    yield ratings
    rows = [(c.name, c.voltage, c.current, c.reactive_power / 1e3, c.loss) for c in report.cold.components]
    yield table("components", "Every component, cold", _COMPONENTS, rows)
    yield loads
    if study.banks is not None:
        banks = (*study.banks.fitting, *study.banks.near_misses)
        yield table("banks", "Banks from the shelf", _BANKS, [_bank(b) for b in banks])
    if study.matches:
        what = (
            "Other transformer turns, cold" if report.tank.transformer is not None else "Other coupling inductors, cold"
        )
        rows = [(m.label, m.coil_power, m.verdict or "first choice") for m in study.matches]
        yield table("matches", what, ("value", "most coil power [W]", "why not"), rows)
    if report.start_up is not None:
        yield _start_up(report)
    if report.cooling is not None:
        yield circuit_table(report.cooling)


def _scaled(point: OperatingPoint | None, read: str, scale: float) -> float | None:
    """A figure of an operating point in the unit shown; None where there is none."""
    value = None if point is None else getattr(point, read)
    return None if value is None else float(value) * scale


def _bank(b: BankChoice) -> tuple[Any, ...]:
    verdict = b.verdict or ("fits" if b.fits else "")
    return (b.label, b.capacitance * 1e6, b.frequency / 1e3, 100.0 * b.used, b.price, b.cans, verdict)


def _start_up(report: TankReport) -> Table:
    start = report.start_up
    rows: list[tuple[Any, ...]] = []
    if start is not None:
        up = start.ring_up
        rows = [
            ("coil current within 10 % of its end after", up.ring_up_time * 1e6, "µs"),
            ("peak of the source current", up.peak_source_current, "A"),
            ("peak of the coil current", up.peak_coil_current, "A"),
            ("peak of the bank voltage", up.peak_bank_voltage, "V"),
        ]
        for n, mode in enumerate(start.modes, 1):
            rows.append((f"rings by itself at ({n})", mode.frequency / 1e3, "kHz"))
            rows.append((f"down to 1/e in ({n})", mode.time_constant * 1e6, "µs"))
        rows += [
            (f"harmonic {h.order}: source current", h.source_current, "A rms") for h in start.harmonics if h.order > 1
        ]
    note = "Cold part, switched on at once; peaks are instantaneous values."
    return table("start-up", "Start-up and ringing", ("what", "value", "unit"), rows, note)
