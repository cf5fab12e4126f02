"""Estimates of the coefficient of still air on hot parts. SI, kelvin; arguments broadcast."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from coilwright.heat.formulas_lumped import Values, positive

_GRAVITY = 9.81
_PRESSURE = 101325.0
_GAS = 287.05  # J/kg/K, dry air


def air_properties(temperature: ArrayLike) -> tuple[Values, Values, Values]:
    """(conductivity W/m/K, kinematic viscosity m²/s, Prandtl number) of dry air at one atmosphere, 200..1500 K.

    Sutherland's formulas (White, Viscous Fluid Flow, tables 1-2 and 1-3: constants 111 K and 194 K, from memory), cp by
    the line 1004 + 0.16 (T - 300) J/kg/K. Within 4 % of tables. 300 K: 0.0263, 1.57e-5, 0.71.
    """
    (T,) = positive("air_properties", temperature=temperature)
    mu = 1.716e-5 * (T / 273.0) ** 1.5 * (273.0 + 111.0) / (T + 111.0)
    k = 0.0241 * (T / 273.0) ** 1.5 * (273.0 + 194.0) / (T + 194.0)
    cp = 1004.0 + 0.16 * (T - 300.0)
    return k[()], (mu * _GAS * T / _PRESSURE)[()], (mu * cp / k)[()]


def still_air_coefficient(size: ArrayLike, surface: ArrayLike, air: ArrayLike = 293.15) -> Values:
    """Mean heat transfer coefficient in W/m²/K of a lying cylinder (or ball, roughly) of diameter `size` in still air.

    Nu = {0.60 + 0.387 Ra^(1/6)/[1 + (0.559/Pr)^(9/16)]^(8/27)}²: Churchill & Chu, Int. J. Heat Mass Transfer 18 (1975)
    1049, for Ra < 1e12, air taken at the film temperature. Expect 20 %. 10 mm at 800 °C in 20 °C air: about 15.
    """
    D, Tw, Ta = positive("still_air_coefficient", size=size, surface=surface, air=air)
    film = (Tw + Ta) / 2
    k, nu, pr = air_properties(film)
    ra = _GRAVITY / film * np.abs(Tw - Ta) * D**3 / nu**2 * pr
    nusselt = (0.60 + 0.387 * ra ** (1 / 6) / (1 + (0.559 / pr) ** (9 / 16)) ** (8 / 27)) ** 2
    return (nusselt * k / D)[()]


def vertical_air_coefficient(height: ArrayLike, surface: ArrayLike, air: ArrayLike = 293.15) -> Values:
    """Mean coefficient in W/m²/K of a standing wall or bar of `height` in still air.

    Nu = {0.825 + 0.387 Ra^(1/6)/[1 + (0.492/Pr)^(9/16)]^(8/27)}²: Churchill & Chu, Int. J. Heat Mass Transfer 18 (1975)
    1323. A bar thinner than about 35 height/Gr^¼ takes more. Expect 20 %.
    """
    H, Tw, Ta = positive("vertical_air_coefficient", height=height, surface=surface, air=air)
    film = (Tw + Ta) / 2
    k, nu, pr = air_properties(film)
    ra = _GRAVITY / film * np.abs(Tw - Ta) * H**3 / nu**2 * pr
    nusselt = (0.825 + 0.387 * ra ** (1 / 6) / (1 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)) ** 2
    return (nusselt * k / H)[()]
