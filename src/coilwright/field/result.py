"""The answer of a field computation, with what is needed to judge it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from coilwright.evidence import Finding
from coilwright.field.readings import axial_forces, current_density_at, flux_density_at, flux_function_at
from coilwright.field.skin import ComplexArray
from coilwright.field.state import FieldState
from coilwright.section.quad9 import Array


@dataclass(frozen=True)
class CoilReading:
    """What an impedance meter reads at the coil: inductance (H), resistance (ohm), Q = reactance / resistance."""

    inductance: float
    resistance: float

    frequency: float

    @property
    def q(self) -> float:
        return 2.0 * math.pi * self.frequency * self.inductance / self.resistance

    def to_dict(self) -> dict[str, float]:
        return {"inductance_H": self.inductance, "resistance_ohm": self.resistance, "q": self.q}


@dataclass(frozen=True)
class Error:
    """Estimated relative errors: the difference to a solution on the coarser meshes; for resistance and powers not
    less than the mismatch of the power balance."""

    resistance: float
    inductance: float
    power: Mapping[str, float]
    flux_density: Mapping[str, float]

    @property
    def largest(self) -> float:
        """The largest of them; nan entries (nothing to compare) left out."""
        every = [self.resistance, self.inductance, *self.power.values(), *self.flux_density.values()]
        return max((e for e in every if math.isfinite(e)), default=math.nan)

    def to_dict(self) -> dict[str, Any]:
        return {
            "resistance": self.resistance,
            "inductance": self.inductance,
            "power": dict(self.power),
            "flux_density": dict(self.flux_density),
        }


@dataclass(frozen=True, eq=False)
class FieldResult:
    """Field of one model at one coil current. Everything rms and SI.

    `loaded`, `unloaded`: the coil with and without the live bodies (None without a coil current).
    `coupling`: k of the one-loop secondary that would give the same impedance change, k^2 = |dZ|^2 / (-w dL w L0);
    None when the bodies raise the inductance (magnetic), for no such secondary exists then.
    `body_powers` (W) by region, `turn_powers` (W) along the winding, `efficiency` = power in work bodies / power
    supplied, `points`: B_r, B_z (T) by point name.
    Checks: `power_mismatch` = |sum of powers - supplied| / supplied; `current_mismatch` = largest difference between
    boundary and volume current of a turn or body, relative to the larger of the coil current and that current.
    """

    frequency: float
    coil_current: complex
    coil_voltage: complex
    loaded: CoilReading | None
    unloaded: CoilReading | None
    coupling: float | None
    body_powers: dict[str, float]
    turn_powers: Array
    efficiency: float
    points: dict[str, ComplexArray]
    power_mismatch: float
    current_mismatch: float
    mesh_size: dict[str, int]
    state: FieldState = field(repr=False)
    error: Error | None = None
    findings: tuple[Finding, ...] = ()
    method: str = "finite elements inside the bodies, ring boundary elements between them"

    @cached_property
    def forces(self) -> dict[str, float]:
        """Mean axial force (N, along +z) on every live body."""
        return axial_forces(self.state)

    @property
    def coil_power(self) -> float:
        """Power (W) lost in the coil."""
        return float(np.sum(self.turn_powers))

    @property
    def loss_density(self) -> Array:
        """W/m^3 at the Gauss points (e, q) of the live mesh."""
        return self.state.loss_density

    def flux_density_at(self, points: Array) -> ComplexArray:
        """(n, 2) complex B_r, B_z (T rms) at points (n, 2) r, z (m), anywhere."""
        return flux_density_at(self.state, points)

    def current_density_at(self, points: Array) -> ComplexArray:
        """(n,) complex J (A/m^2 rms) at points (n, 2)."""
        return current_density_at(self.state, points)

    def flux_function_at(self, points: Array) -> ComplexArray:
        """(n,) complex psi = r A (Wb/rad rms) at points (n, 2); its level lines are field lines."""
        return flux_function_at(self.state, points)

    def flux_function_grid(self, r: Array, z: Array) -> ComplexArray:
        """(len(r), len(z)) psi on a grid, for drawing field lines."""
        rr, zz = np.meshgrid(r, z, indexing="ij")
        return flux_function_at(self.state, np.column_stack([rr.ravel(), zz.ravel()])).reshape(rr.shape)

    def to_dict(self) -> dict[str, Any]:
        """Plain data; keys end in their unit."""
        coil: dict[str, Any] = {"current_A": abs(self.coil_current), "power_W": self.coil_power}
        coil["voltage_V"] = abs(self.coil_voltage)
        coil["turns"] = [{"power_W": float(p)} for p in self.turn_powers]
        if self.loaded is not None and self.unloaded is not None:
            coil["loaded"], coil["unloaded"] = self.loaded.to_dict(), self.unloaded.to_dict()
            coil["coupling"] = self.coupling
        return {
            "frequency_Hz": self.frequency,
            "coil": coil,
            "bodies": {name: {"power_W": p} for name, p in self.body_powers.items()},
            "efficiency": self.efficiency,
            "forces": {name: {"axial_N": f} for name, f in self.forces.items()},
            "points": {name: {"B_r_T": float(abs(b[0])), "B_z_T": float(abs(b[1]))} for name, b in self.points.items()},
            "checks": {"power_mismatch": self.power_mismatch, "current_mismatch": self.current_mismatch},
            "error": {} if self.error is None else self.error.to_dict(),
            "method": self.method,
            "mesh": dict(self.mesh_size),
            "findings": [f.to_dict() for f in self.findings],
        }

    def __str__(self) -> str:
        lines = [f"field at {self.frequency / 1e3:g} kHz, coil current {abs(self.coil_current):.4g} A rms"]
        for name, reading in (("loaded", self.loaded), ("empty", self.unloaded)):
            if reading is not None:
                shown = f"{reading.inductance * 1e6:.5g} uH, {reading.resistance * 1e3:.4g} mohm, Q {reading.q:.4g}"
                lines.append(f"  coil {name}: {shown}")
        lines += [f"  {name}: {p:.4g} W" for name, p in self.body_powers.items()]
        lines.append(f"  coil: {self.coil_power:.4g} W; efficiency {100.0 * self.efficiency:.3g} %")
        if self.error is not None:
            lines.append(f"  estimated error at most {100.0 * self.error.largest:.2g} %")
        return "\n".join(lines + [f"  {f}" for f in self.findings])
