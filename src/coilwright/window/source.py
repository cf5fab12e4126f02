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
from coilwright.tank.drive import drive_for_heating
from coilwright.tank.inputs import TankInput
from coilwright.window.circuit import Complex

_SPAN, _POINTS = 0.35, 9  # of ln R and ln X about the healthy ones, and how many responses along each
_MAINS = np.linspace(0.8, 1.2, 9)


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
    """ln of the current at the terminals over that at impedance `middle` (ohm), as the source makes it."""

    middle: complex
    around: Any
    mains: Array

    @staticmethod
    def of(source: FixtureSource, middle: complex, frequency: float) -> SourceTable:
        base = source.answer(middle, frequency).current
        axis = np.linspace(-_SPAN, _SPAN, _POINTS)

        def at(r: float, x: float) -> float:
            z = complex(middle.real * math.exp(r), middle.imag * math.exp(x))
            # a coil so far off that the source stops gives next to nothing
            return math.log(max(source.usual.respond(1.0, z, frequency).current / base, 1e-3))

        grid = np.array([[at(r, x) for x in axis] for r in axis])
        mains = [source.under(float(m)).respond(1.0, middle, frequency).current / base for m in _MAINS]
        return SourceTable(middle, RectBivariateSpline(axis, axis, grid), np.log(np.maximum(mains, 1e-3)))

    def current(self, impedance: Complex) -> Array:
        """Current at impedances (n,) over that at `middle`."""
        r, x = np.log(impedance.real / self.middle.real), np.log(impedance.imag / self.middle.imag)
        return np.asarray(np.exp(self.around.ev(np.clip(r, -_SPAN, _SPAN), np.clip(x, -_SPAN, _SPAN))))

    def under(self, mains: Array) -> Array:
        """Current at these ratios of the mains over that at the usual ones."""
        return np.asarray(np.exp(np.interp(mains, _MAINS, self.mains)))


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
