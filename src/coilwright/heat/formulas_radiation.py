"""Configuration factors of simple shapes and gray exchange between concentric ones. SI, kelvin; arguments broadcast.

Source of the factors: J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors (numbers C-..).
The share of black-body emission in a band is in `bands`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from coilwright.errors import BadInput, Fault
from coilwright.heat.bands import STEFAN_BOLTZMANN
from coilwright.heat.formulas_lumped import Values, positive


def factor_discs(radius_1: ArrayLike, radius_2: ArrayLike, distance: ArrayLike) -> Values:
    """F from disc 1 to disc 2, coaxial and parallel (C-41). Equal discs one radius apart: 0.38197."""
    a, b, h = positive("factor_discs", radius_1=radius_1, radius_2=radius_2, distance=distance)
    ra, rb = a / h, b / h
    s = 1 + (1 + rb**2) / ra**2
    q = 4 * (rb / ra) ** 2
    return (q / (s + np.sqrt(s**2 - q)) / 2)[()]  # (s - sqrt(s²-q))/2 without cancellation


def factor_ring_disc(
    inner_radius: ArrayLike, outer_radius: ArrayLike, disc_radius: ArrayLike, distance: ArrayLike
) -> Values:
    """F from a flat ring to a coaxial parallel disc (C-47 family, by reciprocity from C-41).

    Ring 10..15 mm, disc 8 mm at 6 mm: 0.1034.
    """
    r1, r2, rd = positive(
        "factor_ring_disc", inner_radius=inner_radius, outer_radius=outer_radius, disc_radius=disc_radius
    )
    if np.any(r1 >= r2):
        raise BadInput(Fault("factor_ring_disc: inner_radius", "must be less than outer_radius"))
    from_disc = factor_discs(rd, r2, distance) - factor_discs(rd, r1, distance)
    return (rd**2 / (r2**2 - r1**2) * from_disc)[()]


def factor_outer_to_inner_cylinder(inner_radius: ArrayLike, outer_radius: ArrayLike, length: ArrayLike) -> Values:
    """F from the outer to the inner of two concentric cylinders of the same finite length (C-91).

    Radii 10 and 20 mm, 30 mm long: 0.3858; it tends to inner/outer when long.
    """
    R, H = _concentric("factor_outer_to_inner_cylinder", inner_radius, outer_radius, length)
    A, B = H**2 + R**2 - 1, H**2 - R**2 + 1
    inside = (
        np.sqrt((A + 2) ** 2 - 4 * R**2) * np.arccos(B / (R * A)) + B * np.arcsin(1 / R) - np.pi * A / 2
    ) / (2 * H)
    return ((1 - (np.arccos(B / A) - inside) / np.pi) / R)[()]


def factor_outer_cylinder_itself(inner_radius: ArrayLike, outer_radius: ArrayLike, length: ArrayLike) -> Values:
    """F from the outer of two concentric finite cylinders to itself (C-90). Radii 1 and 2, length 4: 0.3286."""
    R, H = _concentric("factor_outer_cylinder_itself", inner_radius, outer_radius, length)
    root = np.sqrt(4 * R**2 + H**2) / H
    first = np.arcsin((4 * (R**2 - 1) + H**2 / R**2 * (R**2 - 2)) / (H**2 + 4 * (R**2 - 1)))
    tail = root * first - np.arcsin((R**2 - 2) / R**2) + np.pi / 2 * (root - 1)
    return (1 - 1 / R + 2 / (np.pi * R) * np.arctan(2 * np.sqrt(R**2 - 1) / H) - H / (2 * np.pi * R) * tail)[()]


def _concentric(function: str, inner: ArrayLike, outer: ArrayLike, length: ArrayLike) -> tuple[Values, Values]:
    r1, r2, h = positive(function, inner_radius=inner, outer_radius=outer, length=length)
    if np.any(r1 >= r2):
        raise BadInput(Fault(f"{function}: inner_radius", "must be less than outer_radius"))
    return r2 / r1, h / r1


def enclosed_exchange(
    inner_area: ArrayLike,
    outer_area: ArrayLike,
    inner_emissivity: ArrayLike,
    outer_emissivity: ArrayLike,
    inner_temperature: ArrayLike,
    outer_temperature: ArrayLike,
) -> Values:
    """Net radiation in W from a gray convex body to a gray enclosure (exact for concentric balls and long cylinders).

    σ A1 (T1⁴ - T2⁴)/(1/ε1 + (A1/A2)(1/ε2 - 1)): Incropera & DeWitt, table 13.3.
    """
    a1, a2, e1, e2 = positive(
        "enclosed_exchange",
        inner_area=inner_area,
        outer_area=outer_area,
        inner_emissivity=inner_emissivity,
        outer_emissivity=outer_emissivity,
    )
    T1, T2 = np.asarray(inner_temperature, dtype=float), np.asarray(outer_temperature, dtype=float)
    return (STEFAN_BOLTZMANN * a1 * (T1**4 - T2**4) / (1 / e1 + a1 / a2 * (1 / e2 - 1)))[()]


def shell_drop(power: ArrayLike, inner_radius: ArrayLike, outer_radius: ArrayLike, conductivity: ArrayLike) -> Values:
    """Temperature drop in K across a ball shell that passes `power` outwards: P (1/a - 1/b)/(4π k). Textbook."""
    a, b, k = positive("shell_drop", inner_radius=inner_radius, outer_radius=outer_radius, conductivity=conductivity)
    return (np.asarray(power, dtype=float) * (1 / a - 1 / b) / (4 * np.pi * k))[()]
