"""What a shot gives back: the trace, the verdict, the energy account and how far to trust them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from coilwright.evidence import Finding
from coilwright.section.quad9 import Array
from coilwright.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from coilwright.heat.stepper import ThermalState
    from coilwright.heating.march import March
    from coilwright.heating.model import ShotModel


@dataclass(frozen=True, eq=False)
class BodyTrace:
    """One body through the shot: temperatures (K), induced power (W), burnt share of its charge or None."""

    minimum: Array
    mean: Array
    maximum: Array
    power: Array
    charge_fired: Array | None = None


@dataclass(frozen=True, eq=False)
class CoilTrace:
    """The work coil through the shot, loaded, rms: H, ohm, A, V, W and Hz."""

    inductance: Array
    resistance: Array
    current: Array
    voltage: Array
    power: Array
    frequency: Array


@dataclass(frozen=True, eq=False)
class SourceTrace:
    """The source and its tank through the shot, rms: V, A, W, rad; `losses` W by component.

    power = coil power + all losses at every instant.
    """

    voltage: Array
    current: Array
    power: Array
    phase: Array
    bank_voltage: Array
    bank_current: Array
    losses: Mapping[str, Array]

    def to_dict(self) -> dict[str, Any]:
        return {
            "voltage_V": self.voltage,
            "current_A": self.current,
            "power_W": self.power,
            "phase_rad": self.phase,
            "bank_voltage_V": self.bank_voltage,
            "bank_current_A": self.bank_current,
            "losses": {name: {"power_W": p} for name, p in self.losses.items()},
        }


@dataclass(frozen=True, eq=False)
class Trace:
    """Everything recorded at each reported time (s). `points` are temperatures (K) at the named points.

    `source` is None when the job sets coil current, voltage or power itself.
    """

    time: Array
    bodies: Mapping[str, BodyTrace]
    points: Mapping[str, Array]
    coil: CoilTrace
    source: SourceTrace | None = None

    def to_dict(self) -> dict[str, Any]:
        bodies = {}
        for name, b in self.bodies.items():
            bodies[name] = {
                "min_degC": b.minimum - ZERO_CELSIUS,
                "mean_degC": b.mean - ZERO_CELSIUS,
                "max_degC": b.maximum - ZERO_CELSIUS,
                "power_W": b.power,
                "charge_fired": b.charge_fired,
            }
        coil = self.coil
        source = {} if self.source is None else {"source": self.source.to_dict()}
        return {
            "time_s": self.time,
            "bodies": bodies,
            "points": {name: t - ZERO_CELSIUS for name, t in self.points.items()},
            "coil": {
                "inductance_H": coil.inductance,
                "resistance_ohm": coil.resistance,
                "current_A": coil.current,
                "voltage_V": coil.voltage,
                "power_W": coil.power,
                "frequency_Hz": coil.frequency,
            },
            **source,
        }


@dataclass(frozen=True)
class Verdict:
    """One line of acceptance: what was asked, what happened, by how much it holds (negative: fails).

    `margin_K` is temperature in hand at the deadline or below the limit, `margin_s` time in hand, `margin` a share.
    """

    body: str
    asked: str
    met: bool
    said: str
    margin_K: float | None = None
    margin_s: float | None = None
    margin: float | None = None
    details: Mapping[str, float | str | None] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        margins = {"margin_K": self.margin_K, "margin_s": self.margin_s, "margin": self.margin}
        kept = {k: v for k, v in margins.items() if v is not None}
        return {"body": self.body, "asked": self.asked, **self.details, "met": self.met, "said": self.said, **kept}


@dataclass(frozen=True)
class EnergyAccount:
    """Heat in joule over the whole watch. `induced` + `charge` = `stored` + `radiated` + `convected` + `led_away`."""

    induced: float
    charge: float
    stored: float
    radiated: float
    convected: float
    led_away: float

    @property
    def imbalance(self) -> float:
        """Relative gap of the account (bookkeeping of the integrator)."""
        gap = self.induced + self.charge - self.stored - self.radiated - self.convected - self.led_away
        return gap / max(self.induced + self.charge, 1e-30)

    def to_dict(self) -> dict[str, float]:
        named = {f"{k}_J": float(getattr(self, k)) for k in self.__dataclass_fields__}
        return {**named, "imbalance": self.imbalance}


@dataclass(frozen=True)
class ShotError:
    """How far the figures may be off: difference to the next coarser mesh and looser steps, and the free checks.

    `temperature_K` largest difference of any reported body temperature; `time_s` of any reached-at time;
    `power_balance` Re(V I*) against the sum of body powers; `trapezoid` energy of the powers actually solved against
    the energy the integrator used.
    """

    temperature_K: float | None
    time_s: float | None
    power_balance: float
    trapezoid: float

    def to_dict(self) -> dict[str, float | None]:
        return {k: getattr(self, k) for k in self.__dataclass_fields__}


@dataclass(frozen=True, eq=False)
class ShotResult:
    """A finished shot. `state` carries temperatures and burnt charge into a following shot."""

    title: str
    verdicts: tuple[Verdict, ...]
    trace: Trace
    energy: EnergyAccount
    error: ShotError
    method: str
    steps: int
    field_solves: int
    nodes: int
    findings: tuple[Finding, ...]
    state: ThermalState
    model: ShotModel
    course: March

    @property
    def passed(self) -> bool:
        return all(v.met for v in self.verdicts)

    def plot(self, path: Any = None) -> Any:
        """Temperature against time with the acceptance; written to `path` when given, else the figure is returned."""
        # by name, because pictures stand above the physics and are loaded only when one is asked for
        return import_module("coilwright.pack.shot_pictures").temperature_picture(self, path)

    def to_dict(self) -> dict[str, Any]:
        return {
            "verdict": "pass" if self.passed else "fail",
            "accept": [v.to_dict() for v in self.verdicts],
            "trace": self.trace.to_dict(),
            "energy": self.energy.to_dict(),
            "error": self.error.to_dict(),
            "method": self.method,
            "steps": self.steps,
            "field_solves": self.field_solves,
            "nodes": self.nodes,
            "findings": [f.to_dict() for f in self.findings],
        }

    def __repr__(self) -> str:
        head = f"<shot {self.title!r}: {'pass' if self.passed else 'FAIL'}, {self.trace.time[-1]:.3g} s"
        lines = [f"  {v.said}" for v in self.verdicts]
        return "\n".join([f"{head}, {self.steps} steps>", *lines])


def at_time(time: Array, values: Array, instant: float) -> float:
    """Linear interpolation of a trace at one instant."""
    return float(np.interp(instant, time, values))
