"""Resistance and inductance of the coil's own conductors and of its leads. SI, rms, arguments broadcast."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ive, kve

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_skin import MU_0, Values, positive, skin_depth, wave_number


def round_wire_ratios(radius_over_depth: ArrayLike) -> tuple[Values, Values]:
    """(R/R_dc, L_i/L_i,dc) of an isolated round wire; the argument is wire radius / skin depth.

    R and ωL_i are the real and imaginary part of ρ k I0(ka)/(2π a I1(ka)), L_i,dc = µ/8π per metre.
    Source: Kelvin; tabulated in Rosa & Grover, Bull. Bur. Standards 8 (1912) table XXII against x = sqrt(2) a/δ.
    Radius = 2 depths: 1.2646, 0.8705. Neighbouring turns and a bend near the wire's size add to it.
    """
    (x,) = positive("round_wire_ratios", radius_over_depth=radius_over_depth)
    ka = (1 + 1j) * np.maximum(x, 1e-3)  # below that both ratios are 1 to 1e-13 and the second is 0/0
    z = ka / 2 * ive(0, ka) / ive(1, ka)
    return z.real[()], (4 * z.imag / np.abs(ka) ** 2 * 2)[()]


def round_wire_resistance(
    radius: ArrayLike, frequency: ArrayLike, resistivity: ArrayLike, relative_permeability: ArrayLike = 1.0
) -> Values:
    """Resistance per length in ohm/m of an isolated round wire; source as `round_wire_ratios`.

    Copper, 2 mm diameter at 10 kHz: 6.04 mohm/m.
    """
    a, rho = positive("round_wire_resistance", radius=radius, resistivity=resistivity)
    ratio, _ = round_wire_ratios(a / skin_depth(frequency, rho, relative_permeability))
    return rho / (np.pi * a**2) * ratio


def wall_factor(wall_over_depth: ArrayLike) -> Values:
    """Resistance of a wall with the field on one side only, relative to a thick wall; argument wall/skin depth.

    (sinh 2x + sin 2x)/(cosh 2x - cos 2x). Its least value is 0.917 at x = π/2: a wall of 1.57 skin depths is
    better than a solid one. Source: Landau & Lifshitz, Electrodynamics of Continuous Media, § 59 (flat conductor).
    Valid for tubes whose radius is many walls. x = 1: 1.086; x = 0.5: 2.01.
    """
    (x,) = positive("wall_factor", wall_over_depth=wall_over_depth)
    e = np.exp(-2 * x)
    return ((1 - e * e + 2 * e * np.sin(2 * x)) / (1 + e * e - 2 * e * np.cos(2 * x)))[()]


def tube_resistance(
    outer_radius: ArrayLike,
    inner_radius: ArrayLike,
    frequency: ArrayLike,
    resistivity: ArrayLike,
    relative_permeability: ArrayLike = 1.0,
) -> Values:
    """Resistance per length in ohm/m of an isolated round tube carrying current along itself, exact.

    Re{k ρ/(2π b) [I0(kb)K1(ka) + K0(kb)I1(ka)]/[I1(kb)K1(ka) - K1(kb)I1(ka)]}, a inside (no field in the
    bore), b outside. Source: Dwight, Trans. AIEE 37 (1918) 1379 (same solution in his notation, from memory).
    Copper tube of 6 mm with 1 mm wall at 100 kHz: 4.5 mohm/m.
    """
    b, a = positive("tube_resistance", outer_radius=outer_radius, inner_radius=inner_radius)
    if np.any(a >= b):
        raise BadInput(Fault("tube_resistance: inner_radius", "must be less than outer_radius"))
    k = wave_number(frequency, resistivity, relative_permeability)
    kb, ka = k * b, k * a
    # iv = ive e^{Re z}, kv = kve e^{-z}: common factors are taken out so that thick walls do not overflow
    decay = np.exp(-(kb - ka) + ka.real - kb.real)
    top = ive(0, kb) * kve(1, ka) + decay * kve(0, kb) * ive(1, ka)
    bottom = ive(1, kb) * kve(1, ka) - decay * kve(1, kb) * ive(1, ka)
    return (k * np.asarray(resistivity, float) / (2 * np.pi * b) * top / bottom).real[()]


def pair_inductance(outside_diameter: ArrayLike, spacing: ArrayLike) -> Values:
    """Inductance per length of pair in H/m of two parallel round conductors at high frequency: (µ0/π) arcosh(s/d).

    `spacing` between centres, greater than the diameter. Both currents crowd to the facing sides (exact for that).
    Source: Ramo, Whinnery & Van Duzer, table 8.09 (two-wire line). 6 mm tubes at 10 mm centres: 439 nH/m.
    """
    d, s = positive("pair_inductance", outside_diameter=outside_diameter, spacing=spacing)
    _apart(d, s, "pair_inductance")
    return (MU_0 / np.pi * np.arccosh(s / d))[()]


def pair_resistance(
    outside_diameter: ArrayLike, spacing: ArrayLike, frequency: ArrayLike, resistivity: ArrayLike
) -> Values:
    """Resistance per length of pair in ohm/m: 2 R_s/(π d) / sqrt(1 - (d/s)²), skin depth much less than the wall.

    Source: Ramo, Whinnery & Van Duzer, table 8.09 (two-wire line). 6 mm copper tubes at 10 mm, 100 kHz: 10.9 mohm/m.
    """
    d, s, rho = positive("pair_resistance", outside_diameter=outside_diameter, spacing=spacing, resistivity=resistivity)
    _apart(d, s, "pair_resistance")
    return (2 * rho / skin_depth(frequency, rho) / (np.pi * d) / np.sqrt(1 - (d / s) ** 2))[()]


def busbar_inductance(gap: ArrayLike, width: ArrayLike) -> Values:
    """Inductance per length in H/m of two wide flat bars face to face: µ0 gap/width, high frequency, no fringe.

    `gap` is the clear distance of the copper faces. Holds for gap << width (the fringe lowers it).
    Source: Ramo, Whinnery & Van Duzer, table 8.09 (parallel plates). 1 mm gap, 40 mm wide: 31 nH/m.
    """
    g, w = positive("busbar_inductance", gap=gap, width=width)
    return (MU_0 * g / w)[()]


def busbar_resistance(width: ArrayLike, frequency: ArrayLike, resistivity: ArrayLike) -> Values:
    """Resistance per length of pair in ohm/m: 2 R_s/width, facing sides only; source as `busbar_inductance`."""
    w, rho = positive("busbar_resistance", width=width, resistivity=resistivity)
    return (2 * rho / skin_depth(frequency, rho) / w)[()]


def _apart(d: NDArray[np.float64], s: NDArray[np.float64], function: str) -> None:
    if np.any(s <= d):
        raise BadInput(Fault(f"{function}: spacing", "must be greater than the outside diameter (centre to centre)"))
