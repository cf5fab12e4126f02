"""What a solved tank hands back: frozen, SI, rms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coilwright.evidence import Finding


@dataclass(frozen=True)
class Crossing:
    """A frequency (Hz) at which the source-side impedance (ohm) has the sought angle.

    rising: inductive above it (what a voltage-fed source follows); otherwise capacitive above it (current-fed).
    """

    frequency: float
    impedance: complex
    rising: bool
    followed: bool = False


@dataclass(frozen=True)
class ComponentState:
    """One component at the operating point: rms V across and A through, W lost, var stored (capacitive negative), VA."""

    name: str
    voltage: float
    current: float
    loss: float
    reactive_power: float
    apparent_power: float


@dataclass(frozen=True)
class RatingCheck:
    """One rating of one capacitor: `value` against `rating` (V, A or var at this frequency) times `derating`.

    used = value/(rating derating); above 1 the shop's own limit is broken, above 1/derating the maker's.
    """

    component: str
    quantity: str
    value: float
    rating: float
    derating: float

    @property
    def used(self) -> float:
        return self.value / (self.rating * self.derating)

    @property
    def margin(self) -> float:
        """What is left of the derated rating, as a fraction of it."""
        return 1.0 - self.used


@dataclass(frozen=True)
class OperatingPoint:
    """Where the source and the tank settle.

    phase (rad): angle of the source-side impedance, positive when the current lags. drive: share of the source's
    full amplitude in use. limiting: code of what holds the output back ("" when the wanted level is reached).
    circulating_current (A): in the coil. energy_error: |source power - sum of losses - coil power| / source power.
    """

    frequency: float
    phase: float
    source_voltage: float
    source_current: float
    source_power: float
    coil_voltage: float
    coil_current: float
    coil_power: float
    coil_impedance: complex
    source_impedance: complex
    drive: float
    loaded_q: float
    unloaded_q: float | None
    components: tuple[ComponentState, ...]
    ratings: tuple[RatingCheck, ...]
    crossings: tuple[Crossing, ...]
    limiting: str
    limited_by: str
    findings: tuple[Finding, ...]
    energy_error: float
    longest_on_time: float

    @property
    def efficiency(self) -> float:
        """Coil power over source power."""
        return self.coil_power / self.source_power

    @property
    def circulating_current(self) -> float:
        return self.coil_current

    def component(self, name: str) -> ComponentState:
        """The component of that name; KeyError lists the names there are."""
        for state in self.components:
            if state.name == name:
                return state
        raise KeyError(f"no component {name!r}; there are {', '.join(c.name for c in self.components)}")

    def to_dict(self) -> dict[str, Any]:
        """Keys end in their SI unit."""
        return {
            "frequency_Hz": self.frequency,
            "phase_rad": self.phase,
            "source": {
                "voltage_V": self.source_voltage,
                "current_A": self.source_current,
                "power_W": self.source_power,
                "drive": self.drive,
            },
            "coil": {
                "voltage_V": self.coil_voltage,
                "current_A": self.coil_current,
                "power_W": self.coil_power,
                "resistance_ohm": self.coil_impedance.real,
                "reactance_ohm": self.coil_impedance.imag,
            },
            "efficiency": self.efficiency,
            "loaded_q": self.loaded_q,
            "unloaded_q": self.unloaded_q,
            "components": {
                c.name: {
                    "voltage_V": c.voltage,
                    "current_A": c.current,
                    "loss_W": c.loss,
                    "reactive_power_var": c.reactive_power,
                }
                for c in self.components
            },
            "ratings": [
                {
                    "component": r.component,
                    "quantity": r.quantity,
                    "value": r.value,
                    "rating": r.rating,
                    "derating": r.derating,
                    "used": r.used,
                }
                for r in self.ratings
            ],
            "resonances": [
                {"frequency_Hz": c.frequency, "rising": c.rising, "followed": c.followed} for c in self.crossings
            ],
            "limiting": self.limiting,
            "limited_by": self.limited_by,
            "findings": [f.to_dict() for f in self.findings],
            "energy_error": self.energy_error,
        }

    def __str__(self) -> str:
        text = (
            f"{self.frequency / 1e3:.5g} kHz, phase {self.phase * 57.29578:.3g} deg, coil {self.coil_current:.4g} A "
            f"{self.coil_voltage:.4g} V {self.coil_power:.4g} W, source {self.source_power:.4g} W, "
            f"loaded Q {self.loaded_q:.3g}"
        )
        return text + (f"; {self.limited_by}" if self.limited_by else "")
