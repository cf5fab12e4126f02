"""Conduction in simple bodies as series: walls, cylinders, balls; what a transient solver must reproduce. SI, kelvin.

Source of all: H. S. Carslaw & J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. (1959).
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import erfc, j0, j1, jn_zeros

from coilwright.errors import BadInput, Fault
from coilwright.heat.formulas_lumped import Values, positive

Shape = Literal["wall", "cylinder", "ball"]
Floats = NDArray[np.float64]


def transient_roots(shape: Shape, biot: float, count: int) -> Floats:
    """First `count` roots ζ (count,): ζ tan ζ = Bi (wall), ζ J1/J0 = Bi (cylinder), 1 - ζ cot ζ = Bi (ball).

    Bi = h s/k with s the half thickness or the radius. Carslaw & Jaeger §§ 3.11, 7.7, 9.4. Ball, Bi = 1: π/2.
    """
    positive("transient_roots", biot=biot)
    n = np.arange(count)
    if shape == "wall":
        low, high = n * np.pi, n * np.pi + np.pi / 2
        function = lambda z: z * np.sin(z) - biot * np.cos(z)  # noqa: E731
    elif shape == "cylinder":
        low, high = np.concatenate([[0.0], jn_zeros(1, count)[:-1]]), jn_zeros(0, count)
        function = lambda z: z * j1(z) - biot * j0(z)  # noqa: E731
    elif shape == "ball":
        low, high = n * np.pi, (n + 1) * np.pi
        low = low.astype(float)
        low[0] = 1e-6 * min(1.0, np.sqrt(biot))
        function = lambda z: (1 - biot) * np.sin(z) - z * np.cos(z)  # noqa: E731
    else:
        raise BadInput(Fault("transient_roots: shape", f'must be "wall", "cylinder" or "ball", received "{shape}"'))
    return np.array([brentq(function, a, b, xtol=1e-15, rtol=1e-14) for a, b in zip(low, high, strict=True)])


def transient_coefficients(shape: Shape, roots: ArrayLike) -> Values:
    """Coefficient C of each term, same shape as `roots`; source as `transient_roots`. Wall, Bi = 1: 1.1191."""
    z = np.asarray(roots, dtype=float)
    if shape == "wall":
        return 4 * np.sin(z) / (2 * z + np.sin(2 * z))
    if shape == "cylinder":
        return 2 * j1(z) / (z * (j0(z) ** 2 + j1(z) ** 2))
    return 4 * (np.sin(z) - z * np.cos(z)) / (2 * z - np.sin(2 * z))


def convection_transient(shape: Shape, biot: float, fourier: ArrayLike, position: ArrayLike, terms: int = 60) -> Values:
    """(T - T_air)/(T_start - T_air) of a body put into a stream; `position` 0 centre .. 1 surface, `fourier` = α t/s².

    Source as `transient_roots`. 60 terms hold 1e-10 for fourier >= 0.002. Wall, Bi 2, Fo 0.1, surface: 0.5536.
    """
    z = transient_roots(shape, biot, terms)
    fo, x = np.broadcast_arrays(np.asarray(fourier, dtype=float), np.asarray(position, dtype=float))
    zx = z * x[..., None]
    form = np.cos(zx) if shape == "wall" else j0(zx) if shape == "cylinder" else np.sinc(zx / np.pi)
    return np.sum(transient_coefficients(shape, z) * np.exp(-(z**2) * fo[..., None]) * form, axis=-1)[()]


def cylinder_flux_rise(fourier: ArrayLike, position: ArrayLike, terms: int = 80) -> Values:
    """k (T - T0)/(q a) in a long cylinder of radius a under constant surface flux q; `position` r/a, `fourier` α t/a².

    2 Fo + x²/2 - 1/4 - 2 Σ e^{-β² Fo} J0(βx)/(β² J0(β)), J1(β) = 0: Carslaw & Jaeger § 7.8. In the end the centre lags
    the surface by q a/(2 k). Fo 0.2: 0.6428 at the surface, 0.1679 at the centre.
    """
    b = jn_zeros(1, terms)
    fo, x = np.broadcast_arrays(np.asarray(fourier, dtype=float), np.asarray(position, dtype=float))
    series = np.sum(np.exp(-(b**2) * fo[..., None]) * j0(b * x[..., None]) / (b**2 * j0(b)), axis=-1)
    return (2 * fo + x**2 / 2 - 0.25 - 2 * series)[()]


def ierfc(x: ArrayLike) -> Values:
    """Integral of erfc from x to infinity, e^{-x²}/√π - x erfc x (Carslaw & Jaeger, appendix II). ierfc(0) = 0.5642."""
    v = np.asarray(x, dtype=float)
    return (np.exp(-(v**2)) / np.sqrt(np.pi) - v * erfc(v))[()]


def surface_flux_rise(
    flux: ArrayLike, depth: ArrayLike, time: ArrayLike, conductivity: ArrayLike, diffusivity: ArrayLike
) -> Values:
    """Rise in K at `depth` under a thick body's face that takes constant `flux` (W/m²): 2 q √(αt)/k · ierfc(x/2√(αt)).

    Source: Carslaw & Jaeger § 2.9 eq. 7. Holds until the back feels it (time < thickness²/(4 α), about).
    1 MW/m², k 45, α 1.2e-5, 1 s, surface: 86.9 K.
    """
    t, k, alpha = positive("surface_flux_rise", time=time, conductivity=conductivity, diffusivity=diffusivity)
    reach = np.sqrt(alpha * t)
    return (2 * np.asarray(flux, float) * reach / k * ierfc(np.asarray(depth, float) / (2 * reach)))[()]


def surface_core_lag(flux: ArrayLike, radius: ArrayLike, conductivity: ArrayLike) -> Values:
    """Steady lag q a/(2 k) in K of a bar's centre behind its surface; source as `cylinder_flux_rise`."""
    (k,) = positive("surface_core_lag", conductivity=conductivity)
    return (np.asarray(flux, float) * np.asarray(radius, float) / (2 * k))[()]
