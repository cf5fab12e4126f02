"""Wires, tubes and leads: limits, mpmath, figures of the trade."""

import mpmath
import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field import formulas_conductors as fc
from coilwright.field.formulas_skin import MU_0, skin_depth, surface_resistance

COPPER = 1.7241e-8


@pytest.mark.parametrize("x", [0.5, 7.0, 300.0])
def test_wire_against_mpmath(x):
    with mpmath.workdps(30):
        ka = mpmath.mpc(1, 1) * mpmath.mpf(x)
        z = ka / 2 * mpmath.besseli(0, ka) / mpmath.besseli(1, ka)
    resistance, inductance = fc.round_wire_ratios(x)
    assert float(resistance) == pytest.approx(float(z.real), rel=1e-12)
    assert float(inductance) == pytest.approx(float(z.imag) * 4 / x**2, rel=1e-10)


def test_thin_wire_is_direct_current():
    assert [float(v) for v in fc.round_wire_ratios(1e-4)] == pytest.approx([1.0, 1.0], rel=1e-9)


def test_tube_limits():
    thin = float(fc.tube_resistance(3e-3, 2.99e-3, 1e3, COPPER))
    assert thin == pytest.approx(COPPER / (np.pi * (9e-6 - 2.99e-3**2)), rel=1e-6)
    solid = float(fc.round_wire_resistance(3e-3, 100e3, COPPER))
    assert float(fc.tube_resistance(3e-3, 0.3e-3, 100e3, COPPER)) == pytest.approx(solid, rel=1e-5)
    f = 100e3
    delta = float(skin_depth(f, COPPER))
    flat = float(surface_resistance(f, COPPER)) / (2 * np.pi * 0.5) * float(fc.wall_factor(1.5))
    assert float(fc.tube_resistance(0.5, 0.5 - 1.5 * delta, f, COPPER)) == pytest.approx(flat, rel=1e-3)


# Resistance of a wall relative to a thick one (own evaluation): the best wall is π/2 skin depths.
def test_wall_factor():
    x = np.array([0.5, 0.75, 1, 1.25, 2, 3])
    assert np.allclose(fc.wall_factor(x), [2.01, 1.37, 1.086, 0.96, 0.95, 1.00], atol=6e-3)
    fine = np.linspace(1, 3, 2001)
    assert fine[np.argmin(fc.wall_factor(fine))] == pytest.approx(np.pi / 2, abs=2e-3)
    assert float(fc.wall_factor(np.pi / 2)) == pytest.approx(0.917, abs=5e-4)


# Leads: 6 mm tubes at 8/10/15/25/50 mm centres, nH per cm of pair (own evaluation, two digits).
def test_lead_inductance():
    spacing = np.array([8, 10, 15, 25, 50]) * 1e-3
    assert np.allclose(fc.pair_inductance(6e-3, spacing) * 1e7, [3.2, 4.4, 6.3, 8.4, 11.2], atol=0.06)
    assert float(fc.pair_inductance(6e-3, 10e-3)) == pytest.approx(4.39e-7, rel=2e-3)
    assert np.allclose(fc.busbar_inductance([1e-3, 6e-3], 40e-3) * 1e7, [0.31, 1.9], atol=0.02)


def test_wide_pair_is_two_single_tubes():
    single = float(surface_resistance(100e3, COPPER)) / (np.pi * 6e-3)
    assert float(fc.pair_resistance(6e-3, 1.0, 100e3, COPPER)) == pytest.approx(2 * single, rel=1e-4)
    assert float(fc.pair_inductance(6e-3, 1.0)) == pytest.approx(MU_0 / np.pi * np.log(2 / 6e-3), rel=1e-5)
    assert float(fc.busbar_resistance(0.04, 100e3, COPPER)) == pytest.approx(
        2 * float(surface_resistance(100e3, COPPER)) / 0.04
    )


def test_bad_input_is_named():
    with pytest.raises(BadInput, match="spacing: must be greater than the outside diameter"):
        fc.pair_inductance(6e-3, 6e-3)
    with pytest.raises(BadInput, match="inner_radius: must be less than outer_radius"):
        fc.tube_resistance(3e-3, 3e-3, 1e5, COPPER)
