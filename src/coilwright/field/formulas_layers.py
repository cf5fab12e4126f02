"""Coil over layered flat metal and coil round an endless rod or tube: the integrals of Dodd & Deeds. Scalars, SI.

Source of all: C. V. Dodd, W. E. Deeds, J. Appl. Phys. 39 (1968) 2829. They give the *change* of the coil's impedance by
the metal, for uniform current over the winding's section (turns much finer than the section).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike, NDArray
from scipy.special import ive, j0, j1, kve, struve

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_skin import MU_0, positive

Complex = NDArray[np.complex128]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Layer:
    """One flat layer; `resistivity` None is an insulator, `thickness` None is endless (last layer only)."""

    resistivity: float | None
    relative_permeability: float = 1.0
    thickness: float | None = None


@dataclass(frozen=True)
class Winding:
    """Winding of rectangular section, its axis normal to the metal.

    Radii in m; `bottom` and `top` are heights above the metal's surface. inner = outer radius is a thin sheet,
    bottom = top a flat disc, both equal a thin loop.
    """

    inner_radius: float
    outer_radius: float
    bottom: float
    top: float
    turns: float

    def __post_init__(self) -> None:
        positive("Winding", inner_radius=self.inner_radius, turns=self.turns)
        if not self.inner_radius <= self.outer_radius < np.inf:
            raise BadInput(Fault("Winding: outer_radius", "must not be less than inner_radius"))
        if not self.bottom <= self.top < np.inf:
            raise BadInput(Fault("Winding: top", "must not be less than bottom"))


def impedance_over_layers(winding: Winding, layers: Sequence[Layer], frequency: float) -> complex:
    """Change of impedance in ohm of a coil above layered metal (first layer on top); real part times I² is the heat.

    `bottom` must be above zero. Relative error below 1e-8 for gaps down to a hundredth of the radius. Worked example:
    900 turns, radii 3.015/5.46 mm, heights 1.32/4.26 mm, over 16.45 MS/m at 10 kHz: 16.758 - 46.843j ohm.
    """
    positive("impedance_over_layers", frequency=frequency, bottom=winding.bottom)
    w = winding
    alpha, weight = _panels(25.0 / w.bottom, np.pi / (2 * w.outer_radius), w.bottom)
    axial = np.exp(-alpha * w.bottom) * _mean_exponential(alpha * (w.top - w.bottom))
    integrand = _radial(alpha, w) ** 2 * axial**2 * _reflection(alpha, layers, frequency)
    return complex(1j * 2 * np.pi * frequency * np.pi * MU_0 * w.turns**2 * np.sum(weight * integrand))


def air_inductance(winding: Winding) -> float:
    """Inductance in H of the winding alone (uniform current over its section).

    Not for a thin sheet or loop (see `current_sheet_inductance`, `loop_self_inductance`). A flat disc is allowed.
    900 turns, 3.015/5.46 mm, 2.94 mm long: 6.024 mH. The oscillating tail of the integral is replaced by its mean
    (relative error below 1e-7; a flat disc 1e-5).
    """
    w = winding
    width, length = w.outer_radius - w.inner_radius, w.top - w.bottom
    if width <= 0:
        raise BadInput(Fault("air_inductance: winding", "must have a radial width above zero"))
    last = 1500.0 / width
    alpha, weight = _panels(last, np.pi / w.outer_radius, None)
    x = alpha * length
    axial = np.where(x < 1e-4, 1 - x / 3, 2 * (x + np.expm1(-x)) / np.maximum(x, 1e-4) ** 2)
    body = np.sum(weight * _radial(alpha, w) ** 2 * axial)
    edges = (w.outer_radius + w.inner_radius) / (np.pi * width**2)  # mean of F² is edges/alpha³ far out
    tail = edges / (2 * last**2) if length == 0 else edges * 2 / length / (3 * last**3)
    if length > 0 and last * length < 50:
        raise BadInput(Fault("air_inductance: winding", "must be a flat disc or at least a thirtieth as long as wide"))
    return float(np.pi * MU_0 * w.turns**2 * (body + tail))


def impedance_round_rod(
    radii: ArrayLike,
    heights: ArrayLike,
    rod_radius: float,
    frequency: float,
    resistivity: float,
    relative_permeability: float = 1.0,
    bore_radius: float = 0.0,
    sheet_length: float = 0.0,
) -> complex:
    """Change of impedance in ohm of loops in series round an endless rod, or tube when `bore_radius` > 0.

    `radii` (n,) and `heights` (n,) of the loops; with `sheet_length` > 0 each loop is a thin sheet of that length.
    Loops must be outside the rod. Five loops of 25 mm, 10 mm apart, rod of 20 mm radius, 1.37 MS/m, 10 kHz: 6.43 mohm.
    """
    positive("impedance_round_rod", rod_radius=rod_radius, frequency=frequency, resistivity=resistivity)
    R, z = np.broadcast_arrays(np.atleast_1d(np.asarray(radii, float)), np.atleast_1d(np.asarray(heights, float)))
    gap = float(np.min(R)) - rod_radius
    if gap <= 0:
        raise BadInput(Fault("impedance_round_rod: radii", "must be greater than the rod's radius"))
    if not 0 <= bore_radius < rod_radius:
        raise BadInput(Fault("impedance_round_rod: bore_radius", "must be less than the rod's radius"))
    span = float(np.ptp(z)) + sheet_length + 2 * rod_radius
    lam, weight = _panels(25.0 / gap, np.pi / span, gap)
    total = np.zeros(lam.size, dtype=complex)
    for chunk in np.array_split(np.arange(lam.size), max(1, lam.size * R.size // 2_000_000)):
        s = lam[chunk, None]
        total[chunk] = np.sum(R * kve(1, s * R) * np.exp(-s * (R - rod_radius) + 1j * s * z), axis=1)
    sheet = np.sinc(lam * sheet_length / (2 * np.pi))
    outer = _rod_reflection(lam, rod_radius, bore_radius, frequency, resistivity, relative_permeability)
    return complex(1j * 2 * np.pi * frequency * 2 * MU_0 * np.sum(weight * outer * np.abs(total) ** 2 * sheet**2))


def _panels(last: float, step: float, decay: float | None) -> tuple[Floats, Floats]:
    """Gauss points on (0, last): panels grow from a small first one to `step` (and to the decay length)."""
    nodes, weights = leggauss(12)
    step = min(step, 0.5 / decay) if decay else step
    first = np.geomspace(step * 1e-6, step, 16)
    edges = np.concatenate([[0.0], first, np.arange(2 * step, last + step, step)])
    half, middle = np.diff(edges) / 2, (edges[1:] + edges[:-1]) / 2
    points = (middle[:, None] + half[:, None] * nodes).ravel()
    return points, (half[:, None] * weights).ravel()


def _radial(alpha: Floats, w: Winding) -> Floats:
    """Mean of r J1(alpha r) over the winding's width (closed form by Struve functions)."""
    width = w.outer_radius - w.inner_radius
    if width < 1e-3 * w.outer_radius:  # a thin sheet; the closed form would cancel
        nodes, weights = leggauss(6)
        r = w.inner_radius + width * (nodes + 1) / 2
        return np.asarray((r * j1(alpha[:, None] * r)) @ weights / 2)

    def primitive(x: Floats) -> Floats:
        return np.asarray(np.pi * x / 2 * (j1(x) * struve(0, x) - j0(x) * struve(1, x)))

    x2, x1 = alpha * w.outer_radius, alpha * w.inner_radius
    series = alpha * (w.outer_radius**3 - w.inner_radius**3) / 6 / width
    closed = (primitive(x2) - primitive(x1)) / np.maximum(alpha, 1e-300) ** 2 / width
    return np.where(x2 < 1e-4, series, closed)


def _mean_exponential(x: Floats) -> Floats:
    """(1 - e^{-x})/x."""
    return np.where(x < 1e-9, 1.0, -np.expm1(-x) / np.maximum(x, 1e-9))


def _reflection(alpha: Floats, layers: Sequence[Layer], frequency: float) -> Complex:
    """(alpha - eta)/(alpha + eta) of the whole stack, from the bottom up; eta = alpha_i/mur_i of a bottomless layer."""
    if not layers or layers[-1].thickness is not None:
        layers = [*layers, Layer(None)]
    if any(layer.thickness is None for layer in layers[:-1]):
        raise BadInput(Fault("impedance_over_layers: layers", "must give a thickness for every layer but the last"))
    eta: Complex = np.zeros(0, dtype=complex)
    for layer in reversed(layers):
        own: Complex = alpha.astype(complex)
        if layer.resistivity is not None:
            mu = MU_0 * layer.relative_permeability
            own = np.asarray(np.sqrt(alpha**2 + 2j * np.pi * frequency * mu / layer.resistivity))
        surface = own / layer.relative_permeability
        if layer.thickness is None:
            eta = surface
        else:
            e = np.exp(-2 * own * layer.thickness)
            th = (1 - e) / (1 + e)
            eta = surface * (eta + surface * th) / (surface + eta * th)
    return np.asarray((alpha - eta) / (alpha + eta))


def _rod_reflection(
    lam: Floats, a: float, b: float, frequency: float, resistivity: float, relative_permeability: float
) -> Complex:
    """C(λ) e^{-2λa}: share of K1(λr) thrown back by the rod for I1(λr) coming in."""
    inner = np.sqrt(lam**2 + 2j * np.pi * frequency * MU_0 * relative_permeability / resistivity)
    za = inner * a
    echo: Complex = np.zeros(lam.size, dtype=complex)
    if b > 0:
        zb, xb = inner * b, lam * b
        bore = xb * ive(0, xb) / ive(1, xb)
        c = zb / relative_permeability
        share = (c * ive(0, zb) - bore * ive(1, zb)) / (c * kve(0, zb) + bore * kve(1, zb))
        echo = np.asarray(share * np.exp(zb.real - za.real + zb - za), dtype=complex)
    top = ive(0, za) - echo * kve(0, za)
    bottom = ive(1, za) + echo * kve(1, za)
    g = za / relative_permeability * top / bottom
    x = lam * a
    return np.asarray((x * ive(0, x) - g * ive(1, x)) / (x * kve(0, x) + g * kve(1, x)))
