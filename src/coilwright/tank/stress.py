"""What the capacitors see: volts, amps and kvar of each can, its share, and what happens when something changes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from coilwright.errors import BadInput, Fault
from coilwright.tank.inputs import Bank, BankGroup, Derating, TankInput
from coilwright.tank.result import RatingCheck

if TYPE_CHECKING:
    from coilwright.tank.chain import CoilImpedance
    from coilwright.tank.result import OperatingPoint


@dataclass(frozen=True)
class CanLoad:
    """One can of a group at the operating point, rms: V, A, var, W, share of the bank's current (one string), F in circuit."""

    place: str
    name: str
    voltage: float
    current: float
    reactive_power: float
    loss: float
    share: float
    peak_voltage: float


@dataclass(frozen=True)
class Change:
    """A what-if: relative changes of frequency, coil current and source power, the worst rating after it, the new point."""

    what: str
    frequency: float
    coil_current: float
    power: float
    coil_power: float
    worst: RatingCheck | None
    point: OperatingPoint


def can_loads(place: str, bank: Bank, voltage: float, frequency: float, dc_voltage: float = 0.0) -> tuple[CanLoad, ...]:
    """Load of one can of each group when the bank has `voltage` (V rms) across it; dc_voltage is what else stands on it.

    Groups share the current by their admittances, bars included; cans inside a group are equal.
    """
    omega = 2.0 * math.pi * frequency
    impedances = [complex(z) for z in bank.group_impedances(omega)]
    total = abs(sum(1.0 / z for z in impedances)) * voltage
    loads = []
    for group, z in zip(bank.groups, impedances, strict=True):
        current = voltage / abs(z) / group.parallel
        can = group.can
        reactance = 1.0 / (omega * can.capacitance_at(bank.temperature))
        across = current * math.hypot(
            reactance * can.loss_tangent + can.series_resistance, omega * can.series_inductance - reactance
        )
        loss = current**2 * (can.loss_tangent * reactance + can.series_resistance)
        peak = math.sqrt(2.0) * across + dc_voltage / group.series
        loads.append(CanLoad(place, can.name, across, current, current**2 * reactance, loss, current / total, peak))
    return tuple(loads)


def bank_checks(place: str, bank: Bank, voltage: float, frequency: float, derating: Derating) -> list[RatingCheck]:
    """Every stated rating of every group against what one can of it sees; bank `voltage` in V rms."""
    checks = []
    for group, load in zip(bank.groups, can_loads(place, bank, voltage, frequency), strict=True):
        can = group.can
        where = f"{place}: {can.name}"
        for quantity, value, curve, share in (
            ("voltage", load.voltage, can.voltage, derating.voltage),
            ("current", load.current, can.current, derating.current),
            ("reactive power", load.reactive_power, can.reactive_power, derating.reactive_power),
        ):
            if curve is not None:
                checks.append(RatingCheck(where, quantity, value, float(curve.at(frequency)), share))
    return checks


def worst_check(checks: tuple[RatingCheck, ...]) -> RatingCheck | None:
    """The rating that is used most, None when no rating is stated."""
    return max(checks, key=lambda c: c.used, default=None)


def uneven_string(group: BankGroup) -> float:
    """Largest voltage on one can over the even share, when one can of a string is low and the others high in tolerance.

    Equal charge: V_i goes with 1/C_i, so (1 + t) s / ((1 + t) + (s - 1)(1 - t)) for s cans in series.
    """
    t, s = group.can.tolerance, group.series
    return (1.0 + t) * s / ((1.0 + t) + (s - 1) * (1.0 - t))


def uneven_parallel(group: BankGroup) -> float:
    """Largest current of one string over the even share, one string high and the others low in tolerance."""
    t, p = group.can.tolerance, group.parallel
    return (1.0 + t) * p / ((1.0 + t) + (p - 1) * (1.0 - t))


def with_string_lost(bank: Bank, group: int) -> Bank:
    """The bank with one string of a group gone (a can open); the group itself goes when it was the only string."""
    groups = list(bank.groups)
    if groups[group].parallel > 1:
        groups[group] = replace(groups[group], parallel=groups[group].parallel - 1)
    else:
        del groups[group]
    if not groups:
        raise BadInput(Fault("[[capacitor]]", "the bank has a single string, so the tank is open when it fails"))
    return replace(bank, groups=tuple(groups))


def one_string_lost(tank: TankInput, coil: CoilImpedance | tuple[float, float], group: int = 0) -> Change:
    """The tank after one string of the tank bank's group has gone open, the source following."""
    return change(
        tank,
        replace(tank, bank=with_string_lost(tank.bank, group)),
        coil,
        f"one string of {tank.bank.groups[group].can.name} lost",
    )


def at_temperature(tank: TankInput, coil: CoilImpedance | tuple[float, float], temperature: float) -> Change:
    """The tank with its bank at another temperature (K): capacitance follows the stated coefficient."""
    other = replace(tank, bank=replace(tank.bank, temperature=temperature))
    return change(tank, other, coil, f"bank at {temperature - 273.15:.4g} degC")


def empty_coil(
    tank: TankInput, coil: CoilImpedance | tuple[float, float], empty: CoilImpedance | tuple[float, float]
) -> Change:
    """The same tank and source with the part taken out: what the volts and amps rise to."""
    return change(tank, tank, coil, "coil empty", empty)


def change(
    before: TankInput,
    after: TankInput,
    coil: CoilImpedance | tuple[float, float],
    what: str,
    coil_after: CoilImpedance | tuple[float, float] | None = None,
) -> Change:
    """Relative changes between two tanks (or two coils on one tank) at their own operating points."""
    from coilwright.tank.operating import operating_point

    old = operating_point(before, coil)
    new = operating_point(after, coil if coil_after is None else coil_after)
    return Change(
        what,
        new.frequency / old.frequency - 1.0,
        new.coil_current / old.coil_current - 1.0,
        new.source_power / old.source_power - 1.0,
        new.coil_power / old.coil_power - 1.0,
        worst_check(new.ratings),
        new,
    )


def stress_table(tank: TankInput, point: OperatingPoint) -> tuple[CanLoad, ...]:
    """Every kind of can in the tank at an operating point, peak voltage with the direct voltage it also holds.

    A half bridge fed from one supply puts half of it, as direct voltage, on the blocking capacitors, or on the tank's own
    when it has none, they stand in series and no transformer comes before them. Other banks hold none.
    """
    source = tank.source
    half = source.supply / 2.0 if source is not None and source.kind == "voltage-fed half bridge" else 0.0
    behind = tank.arrangement != "series" or (tank.transformer is not None and tank.bank_side == "coil")
    holder = "block" if tank.block is not None else ("" if behind else "tank")
    loads: list[CanLoad] = []
    for place, bank in tank.banks():
        direct = half if place == holder else 0.0
        loads += can_loads(place, bank, point.component(place).voltage, point.frequency, direct)
    return tuple(loads)
