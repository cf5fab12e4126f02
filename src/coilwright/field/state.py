"""One solved field, per given drive: what every reading is taken from."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from coilwright.field.skin import ComplexArray, Sparse
from coilwright.section.quad9 import Array

if TYPE_CHECKING:
    from coilwright.field.reduced import Drive, Reduced


@dataclass(frozen=True, eq=False)
class FieldState:
    """rms phasors. `potential` (n,) is A (Wb/m) at the nodes of the live mesh, `h` (nh,) the tangential field (A/m) on
    its skin, `loop_voltages` (V) of slit or pin-fed bodies; `sigma` (S/m), `reluctivity` (m/H) at Gauss points (e, q).
    `jacobian`: the factor that Newton's steps ended with in a saturating body, for a warm start; None otherwise.
    """

    reduced: Reduced
    drive: Drive
    sigma: Array
    reluctivity: Array
    potential: ComplexArray
    h: ComplexArray
    loop_voltages: dict[str, complex]
    jacobian: Sparse = field(default=None, repr=False)

    def __getstate__(self) -> dict[str, Any]:
        """All but the factor, which cannot be sent to another process: a start there makes its own."""
        return {**self.__dict__, "jacobian": None}

    @cached_property
    def current_density(self) -> ComplexArray:
        """J (A/m^2 rms) at the Gauss points (e, q)."""
        live = self.reduced.live
        field = -1j * self.reduced.omega * live.interior.at_gauss(self.potential)
        for body in live.loops:
            pick = live.elements_of(body)
            voltage = self.loop_voltages[live.bodies[body].name]
            field[pick] += voltage / (2.0 * np.pi * live.interior.mesh.gauss.r[pick])
        return np.asarray(self.sigma * field)

    @cached_property
    def loss_density(self) -> Array:
        """Mean loss (W/m^3) at the Gauss points (e, q) for this drive; per A^2 when the coil carries 1 A."""
        j = self.current_density
        conducts = self.sigma > 0.0
        return np.where(conducts, (j.real**2 + j.imag**2) / np.where(conducts, self.sigma, 1.0), 0.0)

    @cached_property
    def flux_density(self) -> ComplexArray:
        """(2, e, q) B_r, B_z (T rms) at the Gauss points."""
        return self.reduced.live.interior.flux_density(self.potential)

    @cached_property
    def coil_unknowns(self) -> ComplexArray:
        """[h of all turns (A/m); voltage of every turn (V)]."""
        return self.reduced.coil_unknowns(self)

    @cached_property
    def coil_voltage(self) -> complex:
        """Terminal voltage of the coil (V rms)."""
        return self.reduced.coil_voltage(self)

    @property
    def impedance(self) -> complex:
        """Coil voltage / coil current (ohm); nan without a coil current."""
        current = self.drive.coil_current
        return self.coil_voltage / current if current and self.reduced.coil is not None else complex("nan")

    @cached_property
    def region_powers(self) -> dict[str, float]:
        """Power (W) turned to heat in every region."""
        inside = self.reduced.live.interior
        per_element = 2.0 * np.pi * np.sum(self.loss_density * inside.ring, axis=1)
        sums = np.bincount(inside.mesh.region, per_element, minlength=len(inside.mesh.regions))
        return {name: float(p) for name, p in zip(inside.mesh.regions, sums, strict=True)}

    @cached_property
    def turn_powers(self) -> Array:
        """Power (W) in every turn as wound (a part turn: in its arc)."""
        coil = self.reduced.coil
        if coil is None:
            return np.zeros(0)
        return coil.turn_powers(self.coil_unknowns)

    @cached_property
    def supplied_power(self) -> float:
        """Power (W) entering at the coil terminals and at the pins of pin-fed bodies."""
        power = (self.coil_voltage * np.conj(self.drive.coil_current)).real
        for name, current in self.drive.net_currents.items():
            power += (self.loop_voltages[name] * np.conj(current)).real
        return float(power)
