"""A charge that was partly used before: when it passes a share, and when it counts as started."""

import math

import numpy as np
import pytest

from coilwright.heat.charge import crossing, left_after, rate
from coilwright.heat.inputs import ChargeInput, ThermalModel
from coilwright.heat.solve import solve_heat
from coilwright.heat.stepper import Stepper

from .test_solver_checks import Law, bar, region


@pytest.mark.parametrize("order", [0.7, 1.0, 2.0])
@pytest.mark.parametrize("spent", [0.0, 0.4])
def test_crossing_at_a_constant_temperature_is_the_closed_form(order, spent):
    """d(a)/dt = k (1 - spent - a)^n at constant k: the moment follows from the exposure alone, whatever the step."""
    law, kelvin = Law(order=order), 1000.0
    k = float(rate(law, np.array(kelvin)))
    alive, share, step = 1.0 - spent, 0.3, 2.5 / k
    after = alive - float(left_after(np.array(alive), order, np.array(k * step)))
    left = alive - share
    exact = math.log(alive / left) if order == 1.0 else (left ** (1 - order) - alive ** (1 - order)) / (order - 1)
    found = crossing(law, (0.0, step), (kelvin, kelvin), (0.0, after), share, alive)
    assert found == pytest.approx(exact / k, rel=1e-9)


def test_a_charge_that_had_started_before_starts_at_zero():
    mesh = bar(0.002, 0.004, 2)
    model = ThermalModel(mesh, (region("bar", charge=ChargeInput(20e-6, Law())),), 300.0, exchange=False)
    stepper = Stepper(model)
    start = stepper.start(300.0, burnt=np.full(mesh.gauss.r.shape, 0.2))
    result = solve_heat(model, None, 1.0, start, stepper=stepper)
    assert result.charge_starts == {"bar": 0.0}
