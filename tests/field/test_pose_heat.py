"""Heat flowing round a ring heated on one side."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from coilwright.errors import BadInput
from coilwright.field.pose_heat import circumferential_temperature

RING = {"radius": 9e-3, "area": 1.2e-6, "conductivity": 25.0, "loss_coefficient": 0.02}
ANGLE = 2 * np.pi * np.arange(64) / 64


def test_one_side_heated_in_closed_form():
    """k A T'' / R^2 - H T + q0 + q1 cos = 0 has the solution q0 / H + q1 cos / (H + k A / R^2)."""
    rise = circumferential_temperature(10.0 + 2.0 * np.cos(ANGLE), **RING)
    stiff = 25.0 * 1.2e-6 / 9e-3**2
    assert rise == pytest.approx(10.0 / 0.02 + 2.0 * np.cos(ANGLE) / (0.02 + stiff), rel=1e-12)


def test_transient_against_marching():
    power = 10.0 + 3.0 * np.exp(np.cos(ANGLE - 1.0))
    store = 4e6 * 1.2e-6
    step = 9e-3 * 2 * np.pi / 64
    k = 25.0 * 1.2e-6 / step**2

    def slope(_, t):
        return (power + k * (np.roll(t, 1) - 2 * t + np.roll(t, -1)) - 0.02 * t) / store

    marched = solve_ivp(slope, (0.0, 8.0), np.zeros(64), method="BDF", rtol=1e-8, atol=1e-8).y[:, -1]
    rise = circumferential_temperature(power, **RING, heat_capacity=4e6, time=8.0)
    assert rise == pytest.approx(marched, rel=2e-3)


def test_without_losses_it_just_warms():
    free = RING | {"loss_coefficient": 0.0}
    rise = circumferential_temperature(10.0 + np.cos(ANGLE), **free, heat_capacity=4e6, time=2.0)
    assert rise.mean() == pytest.approx(10.0 * 2.0 / (4e6 * 1.2e-6))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"radius": 0.0}, "radius: must be positive"),
        ({"loss_coefficient": 0.0}, "give a time"),
        ({"time": 1.0}, "needs heat_capacity"),
        ({"heat_capacity": -1.0, "time": 1.0}, "heat_capacity: must be positive"),
    ],
)
def test_bad_input(change, told):
    with pytest.raises(BadInput, match=told):
        circumferential_temperature(np.ones(8), **(RING | change))
