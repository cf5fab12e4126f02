"""Coil and part as an air-cored transformer: reflected load, the short-circuited ring, the efficiency ceiling."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_inductance import rectangle_mean_distance
from coilwright.field.formulas_skin import MU_0, Values, positive, skin_depth


def reflected_load(
    mutual: ArrayLike, resistance: ArrayLike, inductance: ArrayLike, frequency: ArrayLike
) -> tuple[Values, Values]:
    """(ΔR in ohm, ΔL in H) that a short-circuited secondary adds to the coil.

    ΔR = (ωM)² R2/(R2²+(ωL2)²), ΔL = -(ωM)² L2/(R2²+(ωL2)²): the coil sees more resistance and less inductance.
    Source: Terman, Radio Engineers' Handbook (1943), sec. 3 (coupled circuits, reflected impedance).
    """
    R, L, f = positive("reflected_load", resistance=resistance, inductance=inductance, frequency=frequency)
    w = 2 * np.pi * f
    share = (w * np.asarray(mutual, dtype=float)) ** 2 / (R**2 + (w * L) ** 2)
    return (share * R)[()], (-share * L)[()]


def best_ring_frequency(resistance: ArrayLike, inductance: ArrayLike) -> Values:
    """Frequency in Hz at which a ring's reactance equals its resistance, R/(2π L).

    For a given field through the ring the power has then reached half of its high-frequency limit; for a given
    frequency this R takes the greatest power, and small changes of R (alloy, temperature, thickness) leave
    the power alone to first order. Source: derivative of `reflected_load` with respect to R2.
    """
    R, L = positive("best_ring_frequency", resistance=resistance, inductance=inductance)
    return (R / (2 * np.pi * L))[()]


def ring_resistance(
    mean_radius: float,
    radial_width: float,
    height: float,
    frequency: float,
    resistivity: float,
    relative_permeability: float = 1.0,
) -> float:
    """Resistance in ohm of a ring of rectangular section round its circumference.

    ρ 2π r / area, the area cut down to a skin of one depth all round when the section is larger
    than two depths each way. An estimate (a section of 1 to 4 depths is 10 to 30 % off): common practice, no source.
    Stainless ring 9/5 mm x 0.6 mm, 0.72 µohm m, 100 kHz: 13.2 mohm.
    """
    r, w, h = (
        float(v) for v in positive("ring_resistance", mean_radius=mean_radius, radial_width=radial_width, height=height)
    )
    delta = float(skin_depth(frequency, resistivity, relative_permeability))
    core = max(w - 2 * delta, 0.0) * max(h - 2 * delta, 0.0)
    return resistivity * 2 * np.pi * r / (w * h - core)


def ring_inductance(mean_radius: float, radial_width: float, height: float) -> float:
    """Inductance in H of a ring of rectangular section: µ0 r [ln(8 r/g) - 2] with g its geometric mean distance.

    Source: Maxwell, Treatise, art. 706; relative error of order (section/radius)² ln. For a bore under a third of the
    outside diameter take it as an estimate of 10 %.
    Ring 9/5 mm x 0.6 mm: 8.2 nH.
    """
    positive("ring_inductance", mean_radius=mean_radius, radial_width=radial_width, height=height)
    g = float(rectangle_mean_distance(height, radial_width))
    return float(MU_0 * mean_radius * (np.log(8 * mean_radius / g) - 2))


def efficiency_ceiling(
    coil_diameter: ArrayLike,
    part_diameter: ArrayLike,
    coil_resistivity: ArrayLike,
    part_resistivity: ArrayLike,
    part_permeability: ArrayLike = 1.0,
) -> Values:
    """Best electrical efficiency of a long close-wound coil round a long thick bar, 0 to 1.

    η = 1/(1 + (D/d) sqrt(ρ_coil/(ρ_part µr))): both skins thick, all ampere-turns shared, no gaps between turns.
    Source: Davies & Simpson, Induction Heating Handbook (1979), ch. 3 (from memory, not looked up); follows from
    `surface_resistance` on both faces of the gap. Copper round hot steel (1.15 µohm m), D/d = 1.25: 0.867.
    """
    D, d, rc, rp, mur = positive(
        "efficiency_ceiling",
        coil_diameter=coil_diameter,
        part_diameter=part_diameter,
        coil_resistivity=coil_resistivity,
        part_resistivity=part_resistivity,
        part_permeability=part_permeability,
    )
    if np.any(d >= D):
        raise BadInput(Fault("efficiency_ceiling: part_diameter", "must be less than the coil's inside diameter"))
    return (1 / (1 + D / d * np.sqrt(rc / (rp * mur))))[()]


def efficiency_from_resistances(empty: ArrayLike, loaded: ArrayLike) -> Values:
    """Coil efficiency 1 - R_empty/R_loaded at one frequency; common practice.

    It assumes that the part does not change the loss in the coil itself.
    """
    e, b = positive("efficiency_from_resistances", empty=empty, loaded=loaded)
    return (1 - e / b)[()]
