"""The real source behind its tank as the fixture sees it: what flows at the terminals for any impedance there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.interpolate import RectBivariateSpline

from coilwright.errors import BadInput, Fault
from coilwright.heating.drive import Answer
from coilwright.heating.tank_source import TankSource, has_source, tank_of
from coilwright.job import Job
from coilwright.job.schema_fixture import Feed
from coilwright.section.quad9 import Array
from coilwright.tank.drive import TankDrive, drive_for_heating
from coilwright.tank.inputs import SourceInput, TankInput
from coilwright.window.circuit import Complex

_SPAN, _POINTS = 0.35, 9  # of ln R and ln X about the healthy ones, and how many responses along each
_STRONG = 1e4  # times a source that has no end for what is asked of it


def decides(job: Job) -> bool:
    """Whether the job's own source sets the current: it has one, and no [fixture] states what is held instead."""
    fixture = job.later.get("fixture")
    return has_source(job) and not (isinstance(fixture, Mapping) and "control" in fixture)


@dataclass(frozen=True, eq=False)
class FixtureSource:
    """The source of a job feeding `stations` equal coils: together through one tank, or each through its own."""

    job: Job
    stations: int
    feed: Feed

    def common(self, impedance: complex) -> complex:
        """Impedance (ohm) at the terminals when every coil has this one."""
        if self.feed == "separate":
            return impedance
        return impedance * self.stations if self.feed == "series" else impedance / self.stations

    @cached_property
    def _tank(self) -> TankInput:
        return tank_of(self.job)

    @cached_property
    def usual(self) -> TankSource:
        """As the job has it."""
        return self.under()

    def under(self, mains: float = 1.0, capacitance: float = 1.0) -> TankSource:
        """With the supply and the bank at these ratios to the job's."""
        tank = self._tank
        if capacitance != 1.0:
            groups = tuple(
                replace(g, can=replace(g.can, capacitance=g.can.capacitance * capacitance)) for g in tank.bank.groups
            )
            tank = replace(tank, bank=replace(tank.bank, groups=groups))
        drive = drive_for_heating(tank)
        if mains != 1.0:
            source = replace(drive.source, supply=drive.source.supply * mains)
            drive = drive_for_heating(tank, source)
        return self._at(drive)

    def with_source(self, source: SourceInput) -> TankSource:
        """The job's tank behind another source."""
        return self._at(drive_for_heating(self._tank, source))

    def _at(self, drive: TankDrive) -> TankSource:
        return TankSource(drive, self.job.drive.frequency or drive.middle_frequency)

    def answer(self, impedance: complex, frequency: float, mains: float = 1.0, capacitance: float = 1.0) -> Answer:
        """Current (A rms) at the terminals and frequency. Raises BadInput when the source finds nothing to follow."""
        source = self.usual if (mains, capacitance) == (1.0, 1.0) else self.under(mains, capacitance)
        found = source.respond(1.0, impedance, frequency)
        if found.current <= 0.0:
            raise BadInput(Fault(f"{self.job.name}: source", f"gives no current: {found.limited_by}"))
        return found


@dataclass(frozen=True, eq=False)
class SourceTable:
    """Current at the terminals as the source makes it, over the usual one into `middle` (ohm): the least of what it is told
    to hold, of what full drive gives, and of what its limits allow. `held`, `full`, `limit`: ln of each over ln R and ln X about
    the middle (None: no such end); `level`: the share of full drive it is set to, None when it holds something else.
    """

    middle: complex
    held: Any
    full: Any
    limit: Any
    level: float | None

    @staticmethod
    def of(source: FixtureSource, middle: complex, frequency: float) -> SourceTable:
        base = source.answer(middle, frequency).current
        axis = np.linspace(-_SPAN, _SPAN, _POINTS)
        own = source.usual.tank.source
        free = replace(own.limits, current=math.inf, voltage=math.inf, power=math.inf)
        strong = own.supply if own.hold == "level" else _STRONG * own.supply
        one_by_one: list[SourceInput | None] = [
            replace(own, limits=free, supply=strong, regulate="amplitude"),
            replace(own, limits=free, hold="level", held=1.0, regulate="amplitude"),
            replace(own, supply=_STRONG * own.supply, hold="coil current", held=_STRONG * base, regulate="amplitude"),
        ]
        if own.hold == "level":
            one_by_one[1] = None
        if not any(math.isfinite(x) for x in (own.limits.current, own.limits.voltage, own.limits.power)):
            one_by_one[2] = None

        def at(drive: TankSource, r: float, x: float) -> float:
            z = complex(middle.real * math.exp(r), middle.imag * math.exp(x))
            # a coil so far off that the source stops gives next to nothing
            return math.log(max(drive.respond(1.0, z, frequency).current / base, 1e-3))

        def spline(changed: SourceInput | None) -> Any:
            if changed is None:
                return None
            drive = source.with_source(changed)
            return RectBivariateSpline(axis, axis, np.array([[at(drive, r, x) for x in axis] for r in axis]))

        held, full, limit = (spline(x) for x in one_by_one)
        return SourceTable(middle, held, full, limit, own.held if own.hold == "level" else None)

    def current(self, impedance: Complex, setting: Array | float = 1.0, mains: Array | float = 1.0) -> Array:
        """Current at impedances (n,) over the usual one, told to give `setting` times it, at `mains` times the usual ones."""
        r, x = np.log(impedance.real / self.middle.real), np.log(impedance.imag / self.middle.imag)
        r, x = np.clip(r, -_SPAN, _SPAN), np.clip(x, -_SPAN, _SPAN)
        out = np.exp(self.held.ev(r, x)) * self._turned_up(setting, mains)
        if self.full is not None:
            out = np.minimum(out, np.exp(self.full.ev(r, x)) * mains)
        if self.limit is not None:
            out = np.minimum(out, np.exp(self.limit.ev(r, x)))
        return np.asarray(out, dtype=np.float64)

    def _turned_up(self, setting: Array | float, mains: Array | float) -> Array | float:
        return setting if self.level is None else np.minimum(setting, 1.0 / self.level) * mains

    @property
    def most(self) -> float:
        """Setting from which on the source gives no more into the usual impedance; inf when nothing stops it."""
        tops = [math.inf if self.level is None else 1.0 / self.level]
        tops += [math.exp(float(s.ev(0.0, 0.0) - self.held.ev(0.0, 0.0))) for s in (self.full, self.limit) if s is not None]
        return min(tops)


@dataclass(frozen=True)
class SourceDrift:
    """The source as one station sees it while its part heats (all stations alike): `current` (A) in the coil when cold,
    and what the source makes of the impedance from there."""

    current: float
    source: FixtureSource
    cold: complex
    frequency: float

    @cached_property
    def _before(self) -> float:
        return self.source.answer(self.source.common(self.cold), self.frequency).current

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        if level <= 0.0:
            return Answer(0.0, frequency)
        now = self.source.usual.respond(level, self.source.common(impedance), frequency)
        return Answer(self.current * now.current / self._before, now.frequency, now.limited_by)
