"""Power by other roads, against closed forms; and the fit of a cooling curve against its closed form."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.evidence import Uncertain
from coilwright.heat.bands import STEFAN_BOLTZMANN
from coilwright.heat.formulas_lumped import radiation_time
from coilwright.trials.calorimetry import coupling_efficiency, reflected_power, slope_power, water_power
from coilwright.trials.fit import Group, fit_map


def test_slope_of_a_body_with_constant_properties_is_its_power():
    """m c dT/dt = P: 50 g of 650 J/kg/K under 400 W without loss (textbook)."""
    t = np.linspace(0.0, 5.0, 51)
    kelvin = 293.15 + 400.0 / (0.05 * 650.0) * t
    found = slope_power(t, kelvin, 0.1, lambda T: 32.5 * (T - 293.15), lambda T: 0.0 * T, 0.5, 4.0)
    assert found.power.value == pytest.approx(400.0, rel=1e-9)
    assert (found.start, found.stop) == (0.5, 4.0)
    # mass and specific heat are not better known than 3 % (common practice)
    assert found.power.sigma == pytest.approx(12.0, rel=0.01)


def test_slope_is_corrected_for_what_is_lost_meanwhile():
    """Exact solution of C dT/dt = P - G (T - T0): the plain slope would be 18 % low here."""
    capacity, watts, leak = 30.0, 200.0, 1.0
    t = np.linspace(0.0, 10.0, 201)
    kelvin = 300.0 + watts / leak * -np.expm1(-leak * t / capacity)
    found = slope_power(t, kelvin, 0.01, lambda T: capacity * T, lambda T: leak * (T - 300.0), 0.0, 10.0)
    assert found.power.value == pytest.approx(watts, rel=1e-4)
    plain = capacity * np.polyfit(t, kelvin, 1)[0]
    assert plain < 0.9 * watts
    assert found.loss == pytest.approx(float(np.mean(kelvin - 300.0)), rel=0.01)


def test_slope_covers_a_noisy_trace():
    rng = np.random.default_rng(3)
    t = np.linspace(0.0, 6.0, 121)
    hits = 0
    for _ in range(200):
        kelvin = 293.15 + 12.0 * t + 2.0 * rng.standard_normal(len(t))
        found = slope_power(t, kelvin, 2.0, lambda T: 30.0 * T, lambda T: 0.0 * T, 0.0, 6.0)
        hits += abs(found.power.value - 360.0) < 1.645 * found.power.sigma
    assert hits >= 170


def test_slope_needs_samples():
    t = np.linspace(0.0, 1.0, 4)
    with pytest.raises(BadInput, match="at least 5 samples"):
        slope_power(t, 300.0 + t, 1.0, lambda T: T, lambda T: 0.0 * T, 0.0, 1.0)


def test_water_takes_a_kilowatt():
    """1 L/min per kW and 14.35 K: the usual figure of the trade (rho c at 20 degC, IAPWS SR6-08)."""
    found = water_power(1e-3 / 60.0, 14.35)
    assert found.value == pytest.approx(1000.0, rel=0.005)
    assert found.sigma == pytest.approx(1000.0 * np.hypot(0.04, 0.5 / 14.35), rel=0.01)
    with pytest.raises(BadInput, match="above zero"):
        water_power(1e-5, 0.0)


def test_efficiency_from_resistances():
    """eta = 1 - R_empty/R_loaded: 2.4 and 12.8 mohm give 0.81 (textbook)."""
    loaded, empty = Uncertain(12.8e-3, 0.2e-3), Uncertain(2.4e-3, 0.05e-3)
    eta = coupling_efficiency(loaded, empty)
    assert eta.value == pytest.approx(0.8125)
    # by drawing
    rng = np.random.default_rng(1)
    drawn = 1.0 - (2.4e-3 + 0.05e-3 * rng.standard_normal(200_000)) / (12.8e-3 + 0.2e-3 * rng.standard_normal(200_000))
    assert eta.sigma == pytest.approx(drawn.std(), rel=0.02)
    watts = reflected_power(Uncertain(386.0, 3.86), loaded, empty)
    assert watts.value == pytest.approx(386.0**2 * 10.4e-3)
    assert watts.sigma / watts.value == pytest.approx(np.hypot(0.02, np.hypot(0.2, 0.05) / 10.4))
    with pytest.raises(BadInput, match="exchange them"):
        coupling_efficiency(empty, loaded)


def test_a_radiating_lump_gives_back_its_emissivity():
    """Closed form of a lump cooling by radiation (Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, eq. 5.18)."""
    capacity, area, room, hot = 25.0, 2e-3, 300.0, 1200.0
    grid = np.linspace(hot, 500.0, 4000)

    def cooling(rows, t):
        epsilon = 1.0 / (1.0 + np.exp(-0.8 * rows[:, 0]) / 0.5 - 1.0 * np.exp(-0.8 * rows[:, 0]))
        return np.array([np.interp(t, radiation_time(capacity, e * area, hot, grid, room), grid) for e in epsilon])

    t = np.linspace(0.0, 60.0, 61)
    truth = 0.35
    exact = np.interp(t, radiation_time(capacity, truth * area, hot, grid, room), grid)
    rng = np.random.default_rng(8)
    y = exact + 2.0 * rng.standard_normal(len(t))
    fit = fit_map(lambda rows: cooling(rows, t), y, np.full(len(t), 2.0), (Group("TC", 0, len(t), True),), 1)
    u, s = float(fit.u[0]), float(fit.spread[0])
    found, up = (1.0 / (1.0 + np.exp(-0.8 * v)) for v in (u, u + s))
    assert abs(found - truth) < 3.0 * (up - found)
    assert up - found < 0.01
    assert pytest.approx(5.670374419e-8) == STEFAN_BOLTZMANN  # CODATA 2018, what the closed form is made of
