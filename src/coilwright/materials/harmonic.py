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
_FLOOR: Final = 1e-7  # of 1 + s: below such a y the law is still linear, and the derivative that of zero


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


# F lies within 3 % of h/(1 + pi h/4), which it meets at both ends. The ratio of the two over x = h/(1 + h) is told by cubics
# between points at which value and slope are those of the closed form: true to 3e-8, and without a branch or an arccosine, so
# that a compiler works on several places at once.
_KNEE: Final = 0.25 * math.pi
_CELLS: Final = 1024
# Newton's method from the root of what F is close to: three steps leave less than the cubics do (own runs, s up to 1000).
_STEPS: Final = 3
_END_SLOPE: Final = 0.5 * math.pi - 4.0 / math.pi  # of the ratio at x = 1


def _ratio(x: float) -> tuple[float, float]:
    """F(h) (1 + pi h/4)/h and its slope over x = h/(1 + h)."""
    if x == 0.0:
        return 1.0, _KNEE - 8.0 / (3.0 * math.pi)
    if x == 1.0:
        return 1.0, _END_SLOPE
    h = x / (1.0 - x)
    value, slope = harmonic_of_saturating_part(h)
    bend = (slope * h - value) / h**2 * (1.0 + _KNEE * h) + value * _KNEE / h
    return value * (1.0 + _KNEE * h) / h, bend / (1.0 - x) ** 2


def _cubics() -> tuple[Array, Array, Array, Array]:
    """Coefficients (cells,) of powers of the place 0..1 in every cell."""
    ends = np.array([_ratio(k / _CELLS) for k in range(_CELLS + 1)])
    (a, da), (b, db) = ends[:-1].T, ends[1:].T
    da, db = da / _CELLS, db / _CELLS
    return a.copy(), da, 3.0 * (b - a) - 2.0 * da - db, 2.0 * (a - b) + da + db


_C0, _C1, _C2, _C3 = _cubics()


@njit(cache=True, error_model="numpy", inline="always")
def quick_part(h: float) -> tuple[float, float]:
    """F(h) and F'(h) by the cubics."""
    whole, plain = 1.0 / (1.0 + h), 1.0 / (1.0 + _KNEE * h)
    place = h * whole * _CELLS
    k = min(int(place), _CELLS - 1)
    t = place - k
    ratio = _C0[k] + t * (_C1[k] + t * (_C2[k] + t * _C3[k]))
    bend = (_C1[k] + t * (2.0 * _C2[k] + t * 3.0 * _C3[k])) * _CELLS * whole * whole
    return h * plain * ratio, plain * (plain * ratio + h * bend)


@njit(cache=True)
def static_field(y: float, s: float) -> float:
    """h of the static law y = h + s h/(1 + h); written so that neither end cancels."""
    lack = 1.0 + s - y
    root = math.sqrt(lack * lack + 4.0 * y)
    if lack > 0.0:
        return 2.0 * y / (lack + root)
    return 0.5 * (root - lack)


@njit(cache=True, error_model="numpy", inline="always")
def _sinusoidal_field(y: float, s: float) -> tuple[float, float]:
    """h and dh/dy with y = h + s F(h)."""
    lack = 1.0 + s - _KNEE * y
    large = abs(lack) + math.sqrt(lack * lack + 4.0 * _KNEE * y)
    h = 2.0 * y / large if lack > 0.0 else 0.5 * large / _KNEE
    for _ in range(_STEPS):
        value, part = quick_part(h)
        h -= (h + s * value - y) / (1.0 + s * part)
    return h, 1.0 / (1.0 + s * quick_part(h)[1])


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


@njit(cache=True, error_model="numpy", inline="always")
def _reluctivity(y: float, z: float, s: float, h: float, slope: float) -> tuple[float, float]:
    """n and dn/dy at y from h and its slope at z, the same or the least y that is told apart from 0."""
    rise = max((slope - h / z) / z, 0.0)
    return (h / z - rise * (z - y), rise) if s > 0.0 else (1.0, 0.0)


@njit(cache=True, error_model="numpy")
def relative_reluctivity(y: Array, s: Array, sinusoidal_flux: bool) -> tuple[Array, Array]:
    """n = h1/y1 and dn/dy for each pair (y >= 0, s >= 0); n runs from 1/(1 + s) at y = 0 up to 1."""
    n = np.empty(y.size)
    dn = np.empty(y.size)
    if sinusoidal_flux:
        for i in range(y.size):
            part = max(s[i], 0.0)
            z = max(y[i], _FLOOR * (1.0 + part))
            h, slope = _sinusoidal_flux(z, part)
            n[i], dn[i] = _reluctivity(y[i], z, part, h, slope)
    else:
        for i in range(y.size):
            part = max(s[i], 0.0)
            z = max(y[i], _FLOOR * (1.0 + part))
            h, slope = _sinusoidal_field(z, part)
            n[i], dn[i] = _reluctivity(y[i], z, part, h, slope)
    return n, dn
