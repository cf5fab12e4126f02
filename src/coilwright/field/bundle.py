"""Litz: a bundle of insulated strands that all carry the same current, and what that costs in resistance.

The turn is solved as a poor conductor (skin depth many times the bundle), so that its current is spread evenly and its field,
inductance and coupling are those of the bundle. Its loss is then that of the strands: own current with its skin effect, and
eddy currents of each strand in the field it lies in (that of the other strands, the other turns and the part).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ive

from coilwright.field.exterior import MU0
from coilwright.field.formulas_conductors import round_wire_ratios
from coilwright.field.interior import Interior
from coilwright.field.skin import ComplexArray

# The stand-in conductor's skin depth over the bundle's diameter: its current is even to about the 4th power of the inverse.
_EVEN = 30.0


@dataclass(frozen=True)
class Bundle:
    """`strands` wires of `diameter` (m) and `resistivity` (ohm m), insulated and well transposed."""

    strands: int
    diameter: float
    resistivity: float

    def stand_in(self, omega: float, across: float) -> float:
        """Resistivity (ohm m) of the even conductor `across` (m) wide that takes the bundle's place."""
        return 0.5 * omega * MU0 * (_EVEN * across) ** 2

    def own_resistance(self, omega: float) -> float:
        """Resistance (ohm) per length of bundle (m): the strands side by side, skin effect of each included."""
        depth = math.sqrt(2.0 * self.resistivity / (omega * MU0))
        ratio, _ = round_wire_ratios(0.5 * self.diameter / depth)
        return float(ratio) * self.resistivity / (0.25 * math.pi * self.diameter**2 * self.strands)

    def eddy_loss(self, omega: float) -> float:
        """Loss (W/m) of one strand per square (T^2 rms) of the flux density across it.

        4 pi rho Im[ka I2(ka) I1(ka)*] / |I0(ka)|^2 H^2 with k = (1+j)/delta: a round wire without net current in an even
        transverse field, from A = C I1(kr) sin(phi) matched to the field outside and Lommel's integral of |I1|^2.
        Low frequencies: pi omega^2 d^4 / (64 rho) (Snelling, Soft Ferrites, 2nd ed. (1988), section 11.4.2, from memory).
        """
        depth = math.sqrt(2.0 * self.resistivity / (omega * MU0))
        ka = (1.0 + 1.0j) * 0.5 * self.diameter / depth
        i0, i1, i2 = (complex(value) for value in ive(np.arange(3), np.full(3, ka)))
        ratio = (ka * i2 * i1.conjugate()).imag / abs(i0) ** 2
        return float(4.0 * math.pi * self.resistivity * ratio) / MU0**2


def bundle_loss(bundle: Bundle, inside: Interior, omega: float, potential: ComplexArray, current: complex) -> float:
    """Loss (W) of one ring of bundle: A (n,) at its nodes, `current` (A rms) through it."""
    g = inside.mesh.gauss
    flux = inside.flux_density(potential)
    square = np.sum(np.abs(flux) ** 2, axis=0)
    section = float(np.sum(inside.area))
    own = abs(current) ** 2 * bundle.own_resistance(omega) * 2.0 * np.pi * float(np.sum(inside.ring)) / section
    eddy = bundle.strands * bundle.eddy_loss(omega) * 2.0 * np.pi * float(np.sum(square * g.r * g.weight)) / section
    return own + eddy
