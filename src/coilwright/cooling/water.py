"""Liquid water near atmospheric pressure and its boiling line, as functions of temperature (K).

Density, specific heat, viscosity and conductivity: IAPWS SR6-08(2011), "Revised Supplementary Release on Properties
of Liquid Water at 0.1 MPa", eqs. for v, cp, mu, lambda and tables 1-3. Saturation pressure: IAPWS SR1-86(1992),
"Revised Supplementary Release on Saturation Properties of Ordinary Water Substance", eq. 1. A few bar of pressure
change density by less than 0.05 % and viscosity by less than 0.1 % in the range used, so pressure is not an
argument.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from coilwright.evidence import Source, ValidRange

SOURCE = Source("IAPWS SR6-08(2011), Properties of Liquid Water at 0.1 MPa; IAPWS SR1-86(1992), saturation pressure")
LIQUID_RANGE = ValidRange("water temperature", 273.15, 383.15, "K")
BOILING_RANGE = ValidRange("saturation temperature", 273.16, 647.096, "K")

_R = 461.51805  # J/(kg K)
_CP_ALPHA = ((-1.661470539e5, 4), (2.708781640e6, 5), (-1.557191544e8, 7))
_CP_BETA = ((-8.237426256e-1, 2), (1.908956353, 3), (-2.017597384, 4), (8.546361348e-1, 5))
_CP_C3 = -8.983025854
_V_A5 = 1.93763157e-2
_V_ALPHA = ((6.74458446e3, 4), (-2.22521604e5, 5), (1.00231247e8, 7), (-1.63552118e9, 8), (8.32299658e9, 9))
_V_BETA = (
    (5.78545292e-3, 1),
    (-1.53195665e-2, 2),
    (3.11337859e-2, 3),
    (-4.23546241e-2, 4),
    (3.38713507e-2, 5),
    (-1.19946761e-2, 6),
)
_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))
_CONDUCTIVITY = ((1.6630, -1.15), (-1.7781, -3.4), (1.1567, -6.0), (-0.432115, -7.6))
_SATURATION = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
_CRITICAL_T, _CRITICAL_P = 647.096, 22.064e6


@dataclass(frozen=True)
class Water:
    """Properties at one temperature: density kg/m^3, specific_heat J/(kg K), viscosity Pa s, conductivity W/(m K)."""

    temperature: float
    density: float
    specific_heat: float
    viscosity: float
    conductivity: float

    @property
    def prandtl(self) -> float:
        """cp mu / lambda, no unit."""
        return self.specific_heat * self.viscosity / self.conductivity


def water(temperature: float) -> Water:
    """Liquid water at `temperature` (K), 0.1 MPa; valid LIQUID_RANGE (0 to 110 degC).

    Outside that range the properties of the nearest end are returned: a circuit that leaves it is boiling or
    frozen, which the solver reports as a finding with the temperature it really reached.

    >>> round(water(298.15).density, 3)
    997.047
    """
    t = min(max(temperature, LIQUID_RANGE.lowest), LIQUID_RANGE.highest)
    tau, alpha, beta = t / 10.0, 10.0 / (593.0 - t), 10.0 / (t - 232.0)
    specific_volume = (
        _R * 10.0 / 1e5 * (_V_A5 + sum(a * alpha**n for a, n in _V_ALPHA) + sum(b * beta**m for b, m in _V_BETA))
    )
    curvature = sum(n * (n + 1) * a * alpha ** (n + 2) for a, n in _CP_ALPHA)
    curvature += sum(m * (m + 1) * b * beta ** (m + 2) for b, m in _CP_BETA)
    theta = t / 300.0
    return Water(
        temperature=temperature,
        density=1.0 / specific_volume,
        specific_heat=-_R * (_CP_C3 + tau * curvature),
        viscosity=1e-6 * sum(a * theta**b for a, b in _VISCOSITY),
        conductivity=sum(c * theta**d for c, d in _CONDUCTIVITY),
    )


def saturation_pressure(temperature: float) -> float:
    """Vapour pressure (Pa, absolute) of water at `temperature` (K), 273.16 to 647.096 K; extrapolates smoothly
    below ice point.
    """
    theta = 1.0 - temperature / _CRITICAL_T
    if theta <= 0.0:
        return _CRITICAL_P
    return _CRITICAL_P * math.exp(_CRITICAL_T / temperature * sum(a * theta**e for a, e in _SATURATION))


def boiling_temperature(pressure: float) -> float:
    """Temperature (K) at which water boils under `pressure` (Pa, absolute), up to the critical pressure."""
    lowest = 230.0
    if pressure <= saturation_pressure(lowest):
        return lowest
    if pressure >= _CRITICAL_P:
        return _CRITICAL_T
    return float(brentq(lambda t: saturation_pressure(t) - pressure, lowest, _CRITICAL_T, xtol=1e-9))


def dew_point(air_temperature: float, relative_humidity: float) -> float:
    """Temperature (K) below which the air of a room wets a surface; humidity 0 to 1, air temperature in K.

    The vapour pressure of the room, humidity times saturation, is the saturation pressure of the dew point (ideal
    gas; the enhancement factor of air, below 0.5 %, is left out: 0.1 K).
    """
    return boiling_temperature(max(relative_humidity, 1e-4) * saturation_pressure(air_temperature))
