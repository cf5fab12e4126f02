"""The electrical side of a job: tank, source, leads, water, cautions, and banks from the shelf."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.heating.electrical import TankReport, electrical_report
from coilwright.heating.tank_source import has_source, tank_source
from coilwright.job import Job
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from coilwright.tank.choose import BankTable, choose_bank
from coilwright.tank.stock import read_stock


@dataclass(frozen=True, eq=False)
class TankStudy:
    """The report, and the banks that could be made from the shelf (None without a stock list)."""

    report: TankReport
    banks: BankTable | None

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
        return data


def tank(job: Job, *, report: Callable[[float], None] | None = None) -> TankStudy:
    """Run the shot with the job's own source and look at everything electrical on the way.

    Raises BadInput when the job has no [source] and [tank], or when the source cannot start.
    """
    if not has_source(job):
        what = "is missing; a tank is judged with the source that drives it: add [tank], [[capacitor]] and [source]"
        raise BadInput(Fault(f"{job.name}: source", what))
    source = tank_source(job)
    cold = field(job, estimate_error=False)
    shot = heat(job, estimate_error=False, report=report)
    study = electrical_report(shot, source, cold.result)
    return TankStudy(study, _banks(job, study))


def _banks(job: Job, study: TankReport) -> BankTable | None:
    if study.tank.stock is None:
        return None
    stock = read_stock(job.folder / Path(study.tank.stock))
    cold = study.cold.coil_impedance
    coil = (cold.real, cold.imag / (2.0 * math.pi * study.cold.frequency))
    return choose_bank(study.tank, coil, stock)
