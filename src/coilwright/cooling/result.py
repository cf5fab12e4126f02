"""What the water does: one record per element, per path and for the whole circuit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coilwright.cooling.inputs import Circuit
from coilwright.evidence import Finding, Source
from coilwright.units import ZERO_CELSIUS


@dataclass(frozen=True)
class ElementState:
    """Water and metal at one element. Flow m^3/s at its inlet, pressures Pa (absolute), temperatures K, velocity m/s.

    `wall_temperature` is the wetted wall at the outlet end (the hottest), `metal_temperature` the mean of the metal
    that carries the current, `boiling_margin` how far the hottest wall stays below boiling at the local pressure.
    None where only a rated drop is known.
    """

    name: str
    loss: float
    flow: float
    inlet_temperature: float
    outlet_temperature: float
    pressure_drop: float
    outlet_pressure: float
    boiling_temperature: float
    reynolds: float | None = None
    critical_reynolds: float | None = None
    velocity: float | None = None
    film_coefficient: float | None = None
    wall_temperature: float | None = None
    metal_temperature: float | None = None

    @property
    def boiling_margin(self) -> float:
        """K below boiling, at the wetted wall where it is known, else in the water."""
        hottest = self.outlet_temperature if self.wall_temperature is None else self.wall_temperature
        return self.boiling_temperature - hottest

    def to_dict(self) -> dict[str, Any]:
        """Plain record for --json; keys end in their unit."""

        def celsius(value: float | None) -> float | None:
            return None if value is None else value - ZERO_CELSIUS

        return {
            "name": self.name,
            "loss_W": self.loss,
            "flow_m3_per_s": self.flow,
            "inlet_degC": celsius(self.inlet_temperature),
            "outlet_degC": celsius(self.outlet_temperature),
            "pressure_drop_Pa": self.pressure_drop,
            "outlet_pressure_Pa": self.outlet_pressure,
            "reynolds": self.reynolds,
            "velocity_m_per_s": self.velocity,
            "film_coefficient_W_per_m2_K": self.film_coefficient,
            "wall_degC": celsius(self.wall_temperature),
            "metal_degC": celsius(self.metal_temperature),
            "boiling_margin_K": self.boiling_margin,
        }


@dataclass(frozen=True)
class PathState:
    """One branch: its flow (m^3/s at the inlet of the circuit's density), its drop (Pa), its outlet temperature
    (K).
    """

    name: str
    flow: float
    pressure_drop: float
    outlet_temperature: float
    elements: tuple[ElementState, ...]


@dataclass(frozen=True)
class CoolingResult:
    """The solved circuit. `residual` is the relative mismatch of pressure between supply and circuit."""

    circuit: Circuit
    flow: float
    pressure_drop: float
    outlet_temperature: float
    heat: float
    feed: tuple[ElementState, ...]
    paths: tuple[PathState, ...]
    back: tuple[ElementState, ...]
    residual: float
    findings: tuple[Finding, ...]
    sources: tuple[Source, ...]

    @property
    def elements(self) -> tuple[ElementState, ...]:
        return (*self.feed, *(e for p in self.paths for e in p.elements), *self.back)

    def element(self, name: str) -> ElementState:
        """The element of that name; KeyError when there is none."""
        for state in self.elements:
            if state.name == name:
                return state
        raise KeyError(name)

    def to_dict(self) -> dict[str, Any]:
        return {
            "flow_m3_per_s": self.flow,
            "flow_L_per_min": self.flow * 60000.0,
            "pressure_drop_Pa": self.pressure_drop,
            "outlet_degC": self.outlet_temperature - ZERO_CELSIUS,
            "heat_W": self.heat,
            "paths": [
                {
                    "name": p.name,
                    "flow_m3_per_s": p.flow,
                    "pressure_drop_Pa": p.pressure_drop,
                    "outlet_degC": p.outlet_temperature - ZERO_CELSIUS,
                }
                for p in self.paths
            ],
            "elements": [e.to_dict() for e in self.elements],
            "findings": [f.to_dict() for f in self.findings],
        }

    def __repr__(self) -> str:
        return (
            f"CoolingResult({self.flow * 60000:.3g} L/min, {self.pressure_drop / 1e5:.3g} bar, "
            f"outlet {self.outlet_temperature - ZERO_CELSIUS:.1f} degC, {len(self.findings)} findings)"
        )
