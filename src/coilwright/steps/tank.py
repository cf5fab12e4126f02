"""The electrical side of a job: tank, source, leads, water, cautions, and banks from the shelf."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.heating.electrical import TankReport, cooling_of, electrical_report
from coilwright.heating.result import ShotResult
from coilwright.heating.rough import rough_shot
from coilwright.heating.tank_source import has_source, tank_source
from coilwright.job import Job
from coilwright.section.scene import scene
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from coilwright.tank.choose import BankTable, choose_bank
from coilwright.tank.match import Match, choose_inductor, choose_transformer
from coilwright.tank.netlist import tank_netlist
from coilwright.tank.stock import read_stock
from coilwright.units import ZERO_CELSIUS

_WORTH_REPEATING = 2.0  # K between the copper temperature assumed and found


@dataclass(frozen=True, eq=False)
class TankStudy:
    """The report; the banks that could be made from the shelf (None without a stock list); what other transformer
    ratios or coupling inductors would do at the cold operating point (empty without either)."""

    report: TankReport
    banks: BankTable | None
    matches: tuple[Match, ...]

    def to_dict(self) -> dict[str, Any]:
        data = self.report.to_dict()
        if self.banks is not None:
            data["banks"] = [
                {
                    "label": b.label,
                    "capacitance_F": b.capacitance,
                    "frequency_Hz": b.frequency,
                    "used": b.used,
                    "price": b.price,
                    "cans": b.cans,
                    "fits": b.fits,
                    "verdict": b.verdict,
                }
                for b in (*self.banks.fitting, *self.banks.near_misses)
            ]
        data["matches"] = [{"label": m.label, "coil_power_W": m.coil_power, "verdict": m.verdict} for m in self.matches]
        return data


def tank(job: Job, *, report: Callable[[float], None] | None = None) -> TankStudy:
    """Run the shot with the job's own source and look at everything electrical on the way.

    Raises BadInput when the job has no [source] and [tank], or when the source cannot start.
    """
    if not has_source(job):
        what = "is missing; a tank is judged with the source that drives it: add [tank], [[capacitor]] and [source]"
        raise BadInput(Fault(f"{job.name}: source", what))
    warmer, _ = warm_copper(job)
    study = _study(warmer, report)
    return TankStudy(study, _banks(job, study), _matches(study))


def cold_netlist(report: TankReport) -> str:
    """The cold tank as a circuit in the open SPICE syntax."""
    cold, source = report.cold, report.tank.source
    amplitude = cold.source_current if source is not None and source.current_fed else cold.source_voltage
    return tank_netlist(report.tank, _cold_coil(report), cold.frequency, amplitude)


def _cold_coil(study: TankReport) -> tuple[float, float]:
    """Resistance and inductance of the coil at the cold operating point."""
    z = study.cold.coil_impedance
    return z.real, z.imag / (2.0 * math.pi * study.cold.frequency)


def warm_copper(job: Job) -> tuple[Job, ShotResult]:
    """The job at the copper temperature that its water leaves, as a rough shot finds it (the job itself where that is as
    assumed, or nothing is said of the water), and that rough shot."""
    rough = rough_shot(scene(job))
    cooling = cooling_of(job, rough)
    if cooling is None or "coil" not in {e.name for e in cooling.elements}:
        return job, rough
    warm = cooling.element("coil").metal_temperature
    if warm is None or abs(warm - rough.model.scene.coil_temperature) <= _WORTH_REPEATING:
        return job, rough
    return job.with_value("coil.water_temperature", f"{warm - ZERO_CELSIUS:.1f} degC"), rough


def _study(job: Job, report: Callable[[float], None] | None) -> TankReport:
    cold = field(job, estimate_error=False)
    shot = heat(job, estimate_error=False, report=report)
    return electrical_report(shot, tank_source(job), cold.result)


def _matches(study: TankReport) -> tuple[Match, ...]:
    """Neighbouring transformer ratios, or coupling inductors, tried at the cold point."""
    tank_input, coil = study.tank, _cold_coil(study)
    try:
        if tank_input.transformer is not None:
            nearest = max(round(tank_input.transformer.ratio), 1)
            turns = [(n, 1) for n in range(max(nearest - 2, 1), nearest + 3)]
            return choose_transformer(tank_input, coil, turns)
        if tank_input.inductor_inductance > 0.0:
            values = [tank_input.inductor_inductance * x for x in (0.7, 0.85, 1.0, 1.2, 1.4)]
            return choose_inductor(tank_input, coil, values)
    except BadInput:  # none of the neighbours can start; the one in the file can
        return ()
    return ()


def _banks(job: Job, study: TankReport) -> BankTable | None:
    if study.tank.stock is None:
        return None
    stock = read_stock(job.folder / Path(study.tank.stock))
    return choose_bank(study.tank, _cold_coil(study), stock)
