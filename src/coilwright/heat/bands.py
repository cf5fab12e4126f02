"""Share of black-body radiation below a wavelength: what glass lets through and what it stops."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from coilwright.section.quad9 import Array

STEFAN_BOLTZMANN = 5.670374419e-8  # W/m^2/K^4, CODATA 2018
SECOND_RADIATION = 1.438776877e-2  # m K, CODATA 2018 (h c / k)
_SMALL = 0.7  # below this x the power series is used


def share_below(wavelength: float, temperature: ArrayLike) -> Array:
    """Share of black-body emission at `temperature` (K) between wavelength 0 and `wavelength` (m).

    With x = c2 / (wavelength T): 15/pi^4 sum exp(-n x)/n (x^3 + 3 x^2/n + 6 x/n^2 + 6/n^3); for small x
    1 - 15/pi^4 x^3 (1/3 - x/8 + x^2/60 - x^4/5040 + x^6/272160). Siegel & Howell, Thermal Radiation Heat Transfer,
    4th ed., section 1 and appendix (series from memory; checked against printed tables in tests/published).
    """
    x = SECOND_RADIATION / (wavelength * np.maximum(np.asarray(temperature, dtype=float), 1e-3))
    small = x < _SMALL
    s = np.where(small, x, 0.0)
    out = 1.0 - 15.0 / np.pi**4 * s**3 * (1 / 3 - s / 8 + s**2 / 60 - s**4 / 5040 + s**6 / 272160)
    big = np.where(small, _SMALL, x)[..., None]
    n = np.arange(1.0, 45.0)
    terms = np.exp(-n * big) / n * (big**3 + 3 * big**2 / n + 6 * big / n**2 + 6 / n**3)
    return np.asarray(np.where(small, out, 15.0 / np.pi**4 * terms.sum(-1)))


def share_between(shortest: float, longest: float, temperature: ArrayLike) -> Array:
    """Share of black-body emission between two wavelengths (m); `longest` may be infinite."""
    upper = np.ones(np.shape(temperature)) if np.isinf(longest) else share_below(longest, temperature)
    return np.asarray(upper - (share_below(shortest, temperature) if shortest > 0.0 else 0.0))
