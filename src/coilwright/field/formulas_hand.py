"""What a practitioner works out on paper for one part in front of or inside a coil: power and reflected resistance.

Each estimate picks one of three textbook pictures of the part and says which; expect 30 % where the picture fits.
SI, rms; `turns` is an array (n, 3) of loop radius, height and weight (a share of a turn counts less than 1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilwright.field.formulas_coupling import reflected_load, ring_inductance
from coilwright.field.formulas_inductance import current_sheet_inductance, loop_flux_density, loop_mutual
from coilwright.field.formulas_layers import Layer, Winding, impedance_over_layers, impedance_round_rod
from coilwright.field.formulas_loads import bar_factor, bar_power
from coilwright.field.formulas_skin import MU_0, skin_depth

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PartSize:
    """The part as its half-section: box (m), area (m²) and perimeter (m) of the section, volume (m³)."""

    inner: float
    outer: float
    bottom: float
    top: float
    area: float
    perimeter: float
    volume: float

    @property
    def length(self) -> float:
        return self.top - self.bottom

    @property
    def hollow(self) -> bool:
        """A ring, tube or cup: it fills less than 70 % of the cylinder round it."""
        return self.volume < 0.7 * np.pi * self.outer**2 * self.length

    @property
    def thickness(self) -> float:
        """Wall of a hollow part; the smaller of diameter and height of a solid one."""
        return 2 * self.area / self.perimeter if self.hollow else min(2 * self.outer, self.length)


@dataclass(frozen=True)
class Reflected:
    """Resistance (ohm) the part adds to the coil, its power being I² times that, and the formula with its source."""

    resistance: float
    formula: str
    source: str


def part_in_coil(
    part: PartSize, turns: Floats, frequency: float, resistivity: float, relative_permeability: float = 1.0
) -> Reflected:
    """Resistance a part reflects into the coil.

    A wide flat part beside the coil, and a bar or tube at least as long as the coil it stands in: the integrals of Dodd &
    Deeds; another hollow or thick part: a short-circuited secondary; a solid part under four skin depths thick: the
    long bar in the coil's field. Parts are taken one at a time: what shades another is not seen.
    """
    delta = float(skin_depth(frequency, resistivity, relative_permeability))
    coil_low, coil_high = float(turns[:, 1].min()), float(turns[:, 1].max())
    beside = part.bottom > coil_high or part.top < coil_low
    if not part.hollow and beside and part.outer >= 0.7 * float(turns[:, 0].max()):
        return _plate(part, turns, frequency, resistivity, relative_permeability)
    if part.bottom <= coil_low and part.top >= coil_high and part.outer < float(turns[:, 0].min()):
        return _rod(part, turns, frequency, resistivity, relative_permeability)
    if part.hollow and part.thickness < 2 * delta:  # a thicker wall carries its current outside, like a solid part
        return _ring(part, turns, frequency, resistivity, relative_permeability)
    if part.outer >= 2 * delta:
        return _skin(part, turns, frequency, resistivity, relative_permeability)
    return _bar(part, turns, frequency, resistivity, relative_permeability)


def _plate(part: PartSize, turns: Floats, frequency: float, rho: float, mur: float) -> Reflected:
    above = part.bottom > float(turns[:, 1].max())
    heights = part.bottom - turns[:, 1] if above else turns[:, 1] - part.top
    spread = float(np.ptp(turns[:, 0])) / max(len(turns) - 1, 1) / 2
    winding = Winding(
        float(turns[:, 0].min()) - spread,
        float(turns[:, 0].max()) + spread,
        float(heights.min()),
        float(heights.max()),
        float(turns[:, 2].sum()),
    )
    change = impedance_over_layers(winding, [Layer(rho, mur, part.length)], frequency)
    return Reflected(
        change.real, "ΔR of a coil over a wide plate (integral)", "Dodd & Deeds, J. Appl. Phys. 39 (1968) 2829"
    )


def _rod(part: PartSize, turns: Floats, frequency: float, rho: float, mur: float) -> Reflected:
    bore = part.outer - part.thickness if part.hollow else 0.0
    share = float(turns[:, 2].sum()) / len(turns)
    change = impedance_round_rod(turns[:, 0], turns[:, 1], part.outer, frequency, rho, mur, bore)
    picture = "ΔR of loops round an endless bar or tube (integral)"
    return Reflected(share**2 * change.real, picture, "Dodd & Deeds, J. Appl. Phys. 39 (1968) 2829")


def _mutual(turns: Floats, radius: float, bottom: float, top: float) -> float:
    """Mean mutual inductance of the coil and a sheet of one turn from bottom to top, H."""
    x, w = np.polynomial.legendre.leggauss(12)
    z = (bottom + top) / 2 + (top - bottom) / 2 * x
    each = loop_mutual(turns[:, 0][:, None], radius, turns[:, 1][:, None] - z)
    return float(turns[:, 2] @ each @ w / 2)


def _ring(part: PartSize, turns: Floats, frequency: float, rho: float, mur: float) -> Reflected:
    radius = part.volume / (2 * np.pi * part.area)
    delta = float(skin_depth(frequency, rho, mur))
    resistance = rho * 2 * np.pi * radius / min(part.area, part.perimeter * delta)
    if part.length > radius:  # for a short one both formulas agree in the limit of a thin strip
        inductance = float(current_sheet_inductance(radius, part.length, 1))
    else:
        inductance = ring_inductance(radius, part.outer - part.inner, part.length)
    mutual = _mutual(turns, radius, part.bottom, part.top)
    change, _ = reflected_load(mutual, resistance, inductance, frequency)
    return Reflected(
        float(change), "ΔR = (ωM)² R2/(R2² + (ωL2)²), one turn", "Terman, Radio Engineers' Handbook (1943), sec. 3"
    )


def _skin(part: PartSize, turns: Floats, frequency: float, rho: float, mur: float) -> Reflected:
    """The skin shuts the flux out: it carries M/L2 times the coil's current, and the bar's factor corrects its heat."""
    delta = float(skin_depth(frequency, rho, mur))
    surface = rho / delta * 2 * np.pi * part.outer / part.length * float(bar_factor(2 * part.outer / delta))
    ratio = _mutual(turns, part.outer, part.bottom, part.top) / float(
        current_sheet_inductance(part.outer, part.length, 1)
    )
    return Reflected(
        ratio**2 * surface,
        "ΔR = (M/L2)² (ρ/δ) 2π a/l F(d/δ), skin as one turn",
        "Terman, Radio Engineers' Handbook (1943), sec. 3; F: Lupi (2017), eqs 6.9-6.17",
    )


def _bar(part: PartSize, turns: Floats, frequency: float, rho: float, mur: float) -> Reflected:
    x, w = np.polynomial.legendre.leggauss(12)
    z = (part.bottom + part.top) / 2 + part.length / 2 * x
    _, bz = loop_flux_density(turns[:, 0][:, None], 0.0, z - turns[:, 1][:, None])
    field = turns[:, 2] @ bz / MU_0
    power = bar_power(part.outer, field, frequency, rho, mur)
    return Reflected(
        float(part.length / 2 * np.sum(w * power)),
        "ΔR = 2π a (ρ/δ) F(d/δ) ∫H² dz/I², H on the axis",
        "Lupi, Fundamentals of Electroheat (2017), eqs 6.9-6.17",
    )
