"""What sets the coil current: a fixed current, voltage or power at the coil, or a source behind a tank.

Each answers one question at every field solve: given the loaded impedance now and the level asked for, which current flows
and at which frequency?
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from coilwright.errors import BadInput, Fault


@dataclass(frozen=True)
class Answer:
    """Coil current (A rms), frequency (Hz) and, when a limit decides instead of the setting, which (ends "limited by")."""

    current: float
    frequency: float
    limited_by: str = ""


class Drive(Protocol):
    """`frequency` (Hz) is where the first field is solved; `respond` takes the complex coil impedance (ohm) there."""

    @property
    def frequency(self) -> float: ...

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer: ...


@dataclass(frozen=True)
class FixedCurrent:
    """Coil current (A rms) times level."""

    current: float
    frequency: float

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        return Answer(level * self.current, self.frequency)


@dataclass(frozen=True)
class FixedVoltage:
    """Voltage across the coil with its leads (V rms) times level: I = V / |Z|."""

    voltage: float
    frequency: float

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        return Answer(level * self.voltage / abs(impedance), self.frequency)


@dataclass(frozen=True)
class FixedPower:
    """Power into the coil with its leads (W) times level: I = sqrt(P / Re Z)."""

    power: float
    frequency: float

    def respond(self, level: float, impedance: complex, frequency: float) -> Answer:
        if impedance.real <= 0.0:
            raise BadInput(Fault("drive.coil_power", "cannot be set on a coil without resistance; set coil_current"))
        return Answer(math.sqrt(level * self.power / impedance.real), self.frequency)
