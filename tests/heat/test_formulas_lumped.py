"""Lumped heating: against a general-purpose integrator, and in its limits."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from coilwright.errors import BadInput
from coilwright.heat import formulas_lumped as fl
from coilwright.heat.bands import STEFAN_BOLTZMANN


@pytest.mark.parametrize(("start", "end", "power"), [(293.0, 1123.0, 40.0), (1200.0, 500.0, 0.0), (1300.0, 900.0, 0.3)])
def test_time_against_an_integrator(start, end, power):
    C, eA, Ts = 0.28, 5.6e-5, 293.0
    time = float(fl.radiation_time(C, eA, start, end, Ts, power))
    run = solve_ivp(
        lambda _, T: (power - eA * STEFAN_BOLTZMANN * (T**4 - Ts**4)) / C, (0, time), [start], rtol=1e-10, atol=1e-10
    )
    assert run.y[0, -1] == pytest.approx(end, rel=1e-7)


def test_what_cannot_be_reached_takes_for_ever():
    assert np.isinf(fl.radiation_time(1.0, 1e-4, 300.0, 1500.0, 300.0, 5.0))
    assert np.isinf(fl.radiation_time(1.0, 1e-4, 600.0, 700.0, 300.0, 0.0))
    assert np.isinf(fl.convection_time(1.0, 0.01, 300.0, 500.0, 300.0, 1.0))
    assert fl.radiation_time(1.0, 1e-4, 400.0, 400.0, 300.0) == 0.0


def test_convection_time():
    assert float(fl.convection_time(2.0, 0.1, 300.0, 350.0, 300.0, 10.0)) == pytest.approx(20 * np.log(2))
    assert float(fl.convection_time(2.0, 0.1, 400.0, 350.0, 300.0)) == pytest.approx(20 * np.log(2))


def test_energy_and_powers():
    assert float(fl.heating_energy(0.05, 650.0, 880.0)) == pytest.approx(28600.0)
    assert float(fl.heating_energy(0.01, 230.0, 0.0, 60e3)) == pytest.approx(600.0)
    assert float(fl.mean_power(28600.0, 10.0, 140.0)) == pytest.approx(3000.0)
    assert float(fl.strip_power(0.01, 385.0, 400.0, 0.5)) == pytest.approx(3080.0)
    assert fl.linear_fit_slope([0.0, 1.0, 2.0], [300.0, 310.0, 320.0]) == pytest.approx(10.0)
    assert float(fl.biot_number(100.0, 0.005, 25.0)) == pytest.approx(0.02)


def test_lossless_limit():
    """Strong heating forgets its losses: t = C ΔT/P."""
    assert float(fl.radiation_time(0.5, 1e-9, 300.0, 900.0, 300.0, 100.0)) == pytest.approx(3.0, rel=1e-6)


def test_bad_input_is_named():
    with pytest.raises(BadInput, match="heat_capacity: must be finite and above zero"):
        fl.radiation_time(0.0, 1e-4, 300.0, 400.0, 300.0, 5.0)
    with pytest.raises(BadInput, match="two or more different times"):
        fl.linear_fit_slope([1.0], [300.0])
