"""What a heat computation returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from coilwright.evidence import Finding
from coilwright.heat.inputs import ThermalModel
from coilwright.heat.stepper import Extremes, ThermalState
from coilwright.section.quad9 import Array
from coilwright.units import ZERO_CELSIUS

METHOD = "enthalpy form on nine-node quadrilaterals, 4 x 4 Gauss points, SDIRK of order 2 with error control"


@dataclass(frozen=True)
class EnergyBalance:
    """Joules since the start: `stored` = `source` + `charge` - sum of `losses` - `unresolved`, but for `defect`.

    `unresolved` is what the last Newton iteration left, carried from step to step: no heat is lost in it.
    """

    source: float
    charge: float
    losses: Mapping[str, float]
    stored: float
    unresolved: float = 0.0

    @property
    def defect(self) -> float:
        """What the books do not explain, J."""
        return self.source + self.charge - sum(self.losses.values()) - self.stored - self.unresolved

    @property
    def relative(self) -> float:
        """|defect| over the largest entry."""
        largest = max(abs(self.source), abs(self.charge), abs(self.stored), *(abs(v) for v in self.losses.values()))
        return abs(self.defect) / largest if largest > 0.0 else 0.0


@dataclass(frozen=True)
class Effort:
    """`nodes`, `steps` accepted, `rejected`, Newton `iterations`, `factorisations`."""

    nodes: int
    steps: int
    rejected: int
    iterations: int
    factorisations: int


@dataclass(frozen=True, eq=False)
class HeatResult:
    """Course of one computation.

    `time` (s,) s at the report times, or at the steps taken when none were asked for. `regions[name]` (s, 3) K:
    coldest, mean, hottest. `points[name]` (s,) K. `burnt[name]` (s,) mean burnt share.
    `temperature` (s, n) K, nodal. `error_kelvin`: sum of the local errors of all steps
    (`StepTrial.error_kelvin`), as if none faded: a cautious estimate of the time error, the mesh's not included.
    `charge_starts[name]`: s at which 5 % had burnt, 0 where they had before.
    """

    model: ThermalModel
    time: Array
    regions: Mapping[str, Array]
    points: Mapping[str, Array]
    burnt: Mapping[str, Array]
    charge_starts: Mapping[str, float]
    temperature: Array
    final: ThermalState
    energy: EnergyBalance
    error_kelvin: float
    effort: Effort
    findings: tuple[Finding, ...]
    method: str = METHOD

    def to_dict(self) -> dict[str, Any]:
        """Plain data; keys end in their unit, temperatures in degC."""
        keys = ("min_degC", "mean_degC", "max_degC")
        regions = {
            name: {key: (values[:, k] - ZERO_CELSIUS).tolist() for k, key in enumerate(keys)}
            for name, values in self.regions.items()
        }
        for name, values in self.burnt.items():
            regions[name]["charge_fired"] = values.tolist()
        return {
            "time_s": self.time.tolist(),
            "bodies": regions,
            "points": {name: (values - ZERO_CELSIUS).tolist() for name, values in self.points.items()},
            "energy": {
                "source_J": self.energy.source,
                "charge_J": self.energy.charge,
                "stored_J": self.energy.stored,
                **{f"{kind}_J": value for kind, value in self.energy.losses.items()},
            },
            "error": {"time_K": self.error_kelvin, "balance": self.energy.relative},
            "method": self.method,
            "nodes": self.effort.nodes,
            "steps": self.effort.steps,
            "findings": [f.to_dict() for f in self.findings],
        }

    def __repr__(self) -> str:
        lines = [f"HeatResult: {self.time[-1]:.4g} s, {self.effort.steps} steps, {self.effort.nodes} nodes"]
        for name, values in self.regions.items():
            cold, mean, hot = values[-1] - ZERO_CELSIUS
            lines.append(f"  {name}: {cold:.1f} .. {hot:.1f} degC, mean {mean:.1f} degC")
        lines.append(f"  time error about {self.error_kelvin:.2g} K, energy balance {self.energy.relative:.1e}")
        return "\n".join(lines)


def temperature_findings(
    model: ThermalModel, hottest: Mapping[str, float], coldest: Mapping[str, float]
) -> list[Finding]:
    """Melting passed, material data left."""
    found = []
    for region in model.in_mesh_order:
        low, high = coldest[region.name], hottest[region.name]
        if region.melting_point is not None and high > region.melting_point:
            text = f"reaches {_c(high)}, above its melting point of {_c(region.melting_point)}"
            advice = "Its shape is kept in the computation; take the result as valid up to that moment only."
            found.append(Finding("melting-point-passed", "serious", region.name, text, advice))
        first, last = region.valid_range
        if low < first - 10.0 or high > last + 10.0:
            text = f"runs from {_c(low)} to {_c(high)}, its thermal data cover {_c(first)} to {_c(last)}"
            advice = "Give data for the missing range, or treat the result with reserve."
            found.append(Finding("material-extrapolated", "warning", region.name, text, advice))
    return found


def _c(kelvin: float) -> str:
    return f"{kelvin - ZERO_CELSIUS:.0f} degC" if np.isfinite(kelvin) else "any temperature"


def extremes_row(extremes: Extremes) -> tuple[float, float, float]:
    """(coldest, mean, hottest)."""
    return extremes.coldest, extremes.mean, extremes.hottest
