"""First-harmonic reluctivity of a Froehlich magnetisation curve, compiled.

The static law is B = mu0 H + Bs H / (H + Ha). With h = H/Ha, y = B/(mu0 Ha) and s = Bs/(mu0 Ha) (the initial relative
permeability less one) it reads y = h + s h/(1 + h), and everything below is in those numbers. Both first-harmonic laws
are smooth, so Newton's method may use their derivatives:

- sinusoidal H of peak h: the fundamental of B is y1 = h + s F(h) with
  F(h) = (4/pi) int_0^{pi/2} h sin^2 t/(1 + h sin t) dt = (4/pi) (1 - pi/(2h) + I(h)/h),
  I(h) = int_0^{pi/2} dt/(1 + h sin t) = arccos(h)/sqrt(1 - h^2), or arccosh(h)/sqrt(h^2 - 1) above 1;
- sinusoidal B of peak y: the fundamental of H is h1 = (4/pi) int_0^{pi/2} h(y sin t) sin t dt, by Gauss points.

The integrals are elementary; they were rederived for this file and are tested against quadrature.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)
_SINES: Final = np.sin((_NODES + 1.0) * math.pi / 4.0)
_HARMONIC_WEIGHTS: Final = _WEIGHTS * _SINES  # (4/pi) * (pi/4) = 1
SMALL: Final = 0.02  # below this F is summed as a series, where the closed form would cancel
NEAR_ONE: Final = 1.0e-3


@njit(cache=True)
def angle_integral(h: float) -> tuple[float, float]:
    """I(h) = int_0^{pi/2} dt/(1 + h sin t) and its derivative, h >= 0."""
    gap = 1.0 - h
    if abs(gap) < NEAR_ONE:  # Taylor series about h = 1, from the equation (1 - h^2) I' = h I - 1
        x = h - 1.0
        value = 1.0 + x * (-1.0 / 3.0 + x * (2.0 / 15.0 + x * (-2.0 / 35.0 + x * 8.0 / 315.0)))
        slope = -1.0 / 3.0 + x * (4.0 / 15.0 + x * (-6.0 / 35.0 + x * 32.0 / 315.0))
        return value, slope
    if h < 1.0:
        value = math.acos(h) / math.sqrt(gap * (1.0 + h))
    else:
        value = math.acosh(h) / math.sqrt(-gap * (1.0 + h))
    return value, (h * value - 1.0) / (gap * (1.0 + h))


@njit(cache=True)
def harmonic_of_saturating_part(h: float) -> tuple[float, float]:
    """F(h) and F'(h) of the module text."""
    if h < SMALL:
        # (4/pi) sum (-1)^k h^(k+1) int sin^(k+2): Wallis integrals
        c1, c2, c3, c4, c5 = 2.0 / 3.0, 3.0 * math.pi / 16.0, 8.0 / 15.0, 5.0 * math.pi / 32.0, 16.0 / 35.0
        c0, scale = math.pi / 4.0, 4.0 / math.pi
        value = scale * h * (c0 - h * (c1 - h * (c2 - h * (c3 - h * (c4 - h * c5)))))
        slope = scale * (c0 - h * (2 * c1 - h * (3 * c2 - h * (4 * c3 - h * (5 * c4 - h * 6 * c5)))))
        return value, slope
    angle, angle_slope = angle_integral(h)
    value = 4.0 / math.pi * (1.0 + (angle - 0.5 * math.pi) / h)
    slope = 4.0 / math.pi * (angle_slope - (angle - 0.5 * math.pi) / h) / h
    return value, slope


@njit(cache=True)
def static_field(y: float, s: float) -> float:
    """h of the static law y = h + s h/(1 + h); written so that neither end cancels."""
    lack = 1.0 + s - y
    root = math.sqrt(lack * lack + 4.0 * y)
    if lack > 0.0:
        return 2.0 * y / (lack + root)
    return 0.5 * (root - lack)


@njit(cache=True)
def _sinusoidal_field(y: float, s: float) -> tuple[float, float]:
    """h and dh/dy with y = h + s F(h)."""
    # F is h/(1 + pi h/4) at both ends and within 3 % between: its root is the start
    knee = 0.25 * math.pi
    lack = 1.0 + s - knee * y
    root = math.sqrt(lack * lack + 4.0 * knee * y)
    h = 2.0 * y / (lack + root) if lack > 0.0 else 0.5 * (root - lack) / knee
    slope = 0.0
    for _ in range(60):
        value, slope = harmonic_of_saturating_part(h)
        # so near the root Newton's steps square what is missing; half of the last one's square, in shares of h, remains
        step = (h + s * value - y) / (1.0 + s * slope)
        h -= step
        if abs(step) < 1e-5 * h:
            break
    return h, 1.0 / (1.0 + s * slope)


@njit(cache=True)
def _sinusoidal_flux(y: float, s: float) -> tuple[float, float]:
    """h1 and dh1/dy for flux density y sin t."""
    value = 0.0
    slope = 0.0
    for k in range(_SINES.size):
        h = static_field(y * _SINES[k], s)
        value += _HARMONIC_WEIGHTS[k] * h
        slope += _HARMONIC_WEIGHTS[k] * _SINES[k] / (1.0 + s / (1.0 + h) ** 2)
    return value, slope


@njit(cache=True)
def relative_reluctivity(y: Array, s: Array, sinusoidal_flux: bool) -> tuple[Array, Array]:
    """n = h1/y1 and dn/dy for each pair (y >= 0, s >= 0); n runs from 1/(1 + s) at y = 0 up to 1."""
    n = np.empty(y.size)
    dn = np.empty(y.size)
    for i in range(y.size):
        if s[i] <= 0.0:
            n[i], dn[i] = 1.0, 0.0
            continue
        # where h is so small that the law is still linear, the derivative is its limit at zero
        floor = 1e-7 * (1.0 + s[i])
        z = max(y[i], floor)
        if sinusoidal_flux:
            h, slope = _sinusoidal_flux(z, s[i])
        else:
            h, slope = _sinusoidal_field(z, s[i])
        dn[i] = max((slope - h / z) / z, 0.0)
        n[i] = h / z - dn[i] * max(floor - y[i], 0.0)
    return n, dn
