"""Saturating iron: Newton against the definition of a solution, against the linear limits, and when it must give up."""

import numpy as np
import pytest

from coilwright.errors import NotConverged
from coilwright.evidence import Source
from coilwright.field.inputs import Constant, FieldModel, LiveBody, RegionLaw
from coilwright.field.laws import reluctivity_at, resistivity_at, temperatures_at_gauss
from coilwright.field.reduced import Drive
from coilwright.field.saturation import solve_saturating
from coilwright.field.solve import Field
from coilwright.materials.curve import Curve
from coilwright.materials.magnetic import MagneticLaw, Saturation
from coilwright.section.blocks import graded, rectangle
from tests.field.cases import MU0, Level, coil, skin_depth

INVENTED = Source("test iron", "invented")
IRON = MagneticLaw(Curve.constant(600.0, INVENTED), Saturation(1.9, 600.0, 1043.0, 3.0, INVENTED))
F = 10e3


@pytest.fixture(scope="module")
def bar_field():
    depth = skin_depth(F, 0.2e-6, 20.0)
    r = graded(0.0, 0.01, 0.5 * depth, 1.7, 3e-3, ends="end")
    z = graded(-0.03, 0.03, 0.5 * depth, 1.7, 3e-3)
    mesh = rectangle(r, z, "bar")
    turns = [(0.018, z, 0.006, 0.004, 1 / 58e6) for z in np.arange(-28e-3, 29e-3, 8e-3)]
    bar = LiveBody("bar", mesh, {"bar": RegionLaw(Constant(0.2e-6), IRON)})
    return Field.of(FieldModel(coil(turns, F, Level(around=12, first=0.8, growth=1.7)), (bar,), F))


@pytest.mark.parametrize("current", [5.0, 200.0, 2000.0])
def test_the_solution_satisfies_its_own_law(bar_field, current):
    state = bar_field.state(drive=Drive(current))
    peak = np.sqrt(2.0) * np.sqrt(np.sum(np.abs(state.flux_density) ** 2, axis=0))
    temperature = temperatures_at_gauss(bar_field.live, None)
    nu, _ = reluctivity_at(bar_field.live, temperature, peak)
    assert nu == pytest.approx(state.reluctivity, rel=1e-5)
    linear = bar_field.reduced.solve(resistivity_at(bar_field.live, temperature), nu, Drive(current))
    assert linear.region_powers["bar"] == pytest.approx(state.region_powers["bar"], rel=1e-6)
    assert state.supplied_power == pytest.approx(state.region_powers["bar"] + state.turn_powers.sum(), rel=5e-5)


def test_power_exponent_from_linear_to_saturated(bar_field):
    """I^2 at small fields; under deep saturation about I^1.5 (limiting-nonlinearity theory: W. MacLean, 1954, from
    memory), here a little more because the bar is not yet a half-space."""

    def exponent(current):
        powers = [bar_field.state(drive=Drive(i)).region_powers["bar"] for i in (current, 1.1 * current)]
        return np.log(powers[1] / powers[0]) / np.log(1.1)

    assert exponent(0.01) == pytest.approx(2.0, abs=2e-3)
    assert 1.45 < exponent(1000.0) < 1.75


def test_warm_start_finds_the_same_field(bar_field):
    first = bar_field.state(drive=Drive(500.0))
    warm = bar_field.state(drive=Drive(520.0), start=first)
    cold = bar_field.state(drive=Drive(520.0))
    assert warm.region_powers["bar"] == pytest.approx(cold.region_powers["bar"], rel=1e-6)


def test_above_the_curie_point_it_is_a_plain_conductor(bar_field):
    state = bar_field.state(1100.0, Drive(500.0))
    assert state.reluctivity == pytest.approx(1.0 / MU0, rel=1e-9)


def test_newton_that_does_not_settle_says_so(bar_field):
    temperature = temperatures_at_gauss(bar_field.live, None)
    rho = resistivity_at(bar_field.live, temperature)
    with pytest.raises(NotConverged) as caught:
        solve_saturating(bar_field.reduced, rho, temperature, Drive(500.0), most=2)
    assert len(caught.value.residuals) == 2
