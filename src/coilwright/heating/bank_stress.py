"""Every bank of a tank as built: its layout, and the worst that stands across it cold, hot and empty."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from coilwright.heating.electrical import TankReport
from coilwright.job import Job
from coilwright.job.schema_workshop import Workshop
from coilwright.tank.inputs import Bank, Can, TankInput
from coilwright.tank.layout import BankLayout, bank_layout, can_sizes
from coilwright.tank.result import OperatingPoint
from coilwright.tank.stock import read_stock
from coilwright.tank.stress import stress_table


@dataclass(frozen=True)
class BankStress:
    """`voltage` (V rms) and the layout with current, frequency and peak voltage, the worst of all operating points."""

    bank: Bank
    voltage: float
    layout: BankLayout


def bank_stresses(report: TankReport, job: Job, workshop: Workshop) -> tuple[BankStress, ...]:
    """Peak voltages are those of the steady state, with the direct voltage of a half bridge where the bank holds it; the tank
    bank's include the first periods after switch-on where they were computed."""
    points = [p for p in (report.cold, report.hot, report.empty) if p is not None]
    stock: tuple[Can, ...] = ()
    if report.tank.stock is not None:
        stock = tuple(item.can for item in read_stock(job.folder / Path(report.tank.stock)))
    stated = {c.name: (c.width, c.depth, c.height) for c in workshop.can}
    out = []
    for place, bank in report.tank.banks():
        volts, amps, hertz = _worst(points, place)
        peak = max(_peak(report.tank, p, place, bank) for p in points)
        if place == "tank" and report.start_up is not None:
            peak = max(peak, report.start_up.ring_up.peak_bank_voltage)
        sizes = can_sizes((g.can for g in bank.groups), stated, stock)
        out.append(BankStress(bank, volts, bank_layout(place, bank, sizes, amps, hertz, peak)))
    return tuple(out)


def _peak(tank: TankInput, point: OperatingPoint, place: str, bank: Bank) -> float:
    """Peak (V) across a bank, any direct voltage it holds included."""
    loads = [load for load in stress_table(tank, point) if load.place == place]
    return max(load.peak_voltage * group.series for load, group in zip(loads, bank.groups, strict=True))


def _worst(points: list[OperatingPoint], place: str) -> tuple[float, float, float]:
    """(V, A, Hz): the largest voltage and current of the bank, and the frequency where the current is largest."""
    states = [(p.component(place), p.frequency) for p in points]
    current, frequency = max((s.current, f) for s, f in states)
    return max(s.voltage for s, _ in states), current, frequency
