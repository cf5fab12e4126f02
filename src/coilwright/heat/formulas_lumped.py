"""A part at one temperature: energy, mean power, times under constant power and radiation. SI; arguments broadcast.

Good when the part evens out faster than it heats (see `biot_number`).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coilwright.errors import BadInput, Fault
from coilwright.heat.bands import STEFAN_BOLTZMANN

Values = Any  # a float for scalar arguments, an array of the broadcast shape otherwise


def positive(function: str, **values: ArrayLike) -> list[NDArray[np.float64]]:
    """The values as float arrays; BadInput when one is not finite and above zero."""
    faults, arrays = [], []
    for name, value in values.items():
        array = np.asarray(value, dtype=float)
        if not np.all(np.isfinite(array) & (array > 0)):
            bad = array[~(np.isfinite(array) & (array > 0))].flat[0]
            faults.append(Fault(f"{function}: {name}", f"must be finite and above zero, received {bad:g}"))
        arrays.append(array)
    if faults:
        raise BadInput(faults)
    return arrays


def heating_energy(mass: ArrayLike, specific_heat: ArrayLike, rise: ArrayLike, latent_heat: ArrayLike = 0.0) -> Values:
    """Energy m (c ΔT + L) in J, c in J/kg/K as a mean over the rise, L in J/kg. Textbook.

    50 g of steel (650 J/kg/K) by 880 K: 28.6 kJ.
    """
    c = np.asarray(specific_heat, dtype=float)
    return np.asarray(mass, dtype=float)[()] * (c * np.asarray(rise, dtype=float) + np.asarray(latent_heat, float))


def mean_power(energy: ArrayLike, time: ArrayLike, mean_loss: ArrayLike = 0.0) -> Values:
    """Mean power E/t + loss in W that must arrive in the part. Textbook (energy balance)."""
    (t,) = positive("mean_power", time=time)
    return (np.asarray(energy, dtype=float) / t + np.asarray(mean_loss, dtype=float))[()]


def strip_power(mass_flow: ArrayLike, specific_heat: ArrayLike, rise: ArrayLike, efficiency: ArrayLike = 1.0) -> Values:
    """Power ṁ c ΔT/η in W to heat wire or strip running at `mass_flow` kg/s. Textbook (energy balance)."""
    (eta,) = positive("strip_power", efficiency=efficiency)
    return (np.asarray(mass_flow, float) * np.asarray(specific_heat, float) * np.asarray(rise, float) / eta)[()]


def radiated_power(
    area: ArrayLike, emissivity: ArrayLike, temperature: ArrayLike, surroundings: ArrayLike = 293.15
) -> Values:
    """Net radiation ε A σ (T⁴ - Ts⁴) in W of a gray convex part in large surroundings. Stefan & Boltzmann.

    1 cm², ε 0.6, 1123 K in 293 K: 5.39 W.
    """
    T, Ts = np.asarray(temperature, dtype=float), np.asarray(surroundings, dtype=float)
    return np.asarray(area, float)[()] * np.asarray(emissivity, float) * STEFAN_BOLTZMANN * (T**4 - Ts**4)


def radiation_time(
    heat_capacity: ArrayLike,
    emissive_area: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    surroundings: ArrayLike,
    power: ArrayLike = 0.0,
) -> Values:
    """Time in s for a lumped part to go from `start` to `end` (K) while it radiates and receives constant `power` (W).

    `heat_capacity` m c in J/K, `emissive_area` ε A in m². With the temperature of rest Te⁴ = Ts⁴ + P/(ε A σ):
    t = C/(4 ε A σ Te³) {ln|(Te+T)/(Te-T)| + 2 arctan(T/Te)} between the two temperatures.
    Infinite when `end` cannot be reached. Source: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, eq. 5.18
    (power zero; constant power only moves the temperature of rest). C/(ε A) = 5000, 1200 K to 700 K in 300 K: 69.9 s.
    """
    C, eA = positive("radiation_time", heat_capacity=heat_capacity, emissive_area=emissive_area)
    T0, T1, Ts = (np.asarray(v, dtype=float) for v in (start, end, surroundings))
    rest = (Ts**4 + np.asarray(power, dtype=float) / (eA * STEFAN_BOLTZMANN)) ** 0.25
    with np.errstate(divide="ignore", invalid="ignore"):
        if np.all(rest == 0):
            time = C / (3 * eA * STEFAN_BOLTZMANN) * (1 / T1**3 - 1 / T0**3)
        else:
            time = C / (4 * eA * STEFAN_BOLTZMANN * rest**3) * (_primitive(T1 / rest) - _primitive(T0 / rest))
    reached = (rest - T0) * (rest - T1) > 0
    wrong_way = (T1 - T0) * (rest - T0) < 0
    return np.where(T0 == T1, 0.0, np.where(reached & ~wrong_way, time, np.inf))[()]


def _primitive(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.log(np.abs((1 + x) / (1 - x))) + 2 * np.arctan(x))


def convection_time(
    heat_capacity: ArrayLike,
    loss_conductance: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    surroundings: ArrayLike,
    power: ArrayLike = 0.0,
) -> Values:
    """Time in s from `start` to `end` (K) with constant power and a loss of `loss_conductance` W/K (h A, a support).

    t = (C/G) ln[(T_rest - T0)/(T_rest - T1)], T_rest = Ts + P/G; infinite when `end` cannot be reached. Textbook.
    """
    C, G = positive("convection_time", heat_capacity=heat_capacity, loss_conductance=loss_conductance)
    T0, T1 = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    rest = np.asarray(surroundings, float) + np.asarray(power, float) / G
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (rest - T0) / (rest - T1)
        time = C / G * np.log(ratio)
    return np.where(T0 == T1, 0.0, np.where(ratio > 1, time, np.inf))[()]


def biot_number(surface_coefficient: ArrayLike, half_size: ArrayLike, conductivity: ArrayLike) -> Values:
    """h s/k with s the volume over the surface: below 0.1 a part cools as one lump (Incropera & DeWitt, § 5.2)."""
    (k,) = positive("biot_number", conductivity=conductivity)
    return (np.asarray(surface_coefficient, float) * np.asarray(half_size, float) / k)[()]


def linear_fit_slope(time: ArrayLike, temperature: ArrayLike) -> float:
    """dT/dt in K/s by a straight line through a trace (n,): times m c it is the power at that moment."""
    t, T = np.asarray(time, dtype=float), np.asarray(temperature, dtype=float)
    if t.ndim != 1 or t.shape != T.shape or t.size < 2 or np.ptp(t) == 0:
        raise BadInput(Fault("linear_fit_slope: time", "needs two or more different times, one temperature for each"))
    return float(np.polyfit(t - t.mean(), T, 1)[0])
