"""Configuration factors and still air: reciprocity, limits, tables."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.heat import formulas_convection as fc
from coilwright.heat import formulas_radiation as fr
from coilwright.heat.bands import STEFAN_BOLTZMANN


def test_disc_reciprocity_and_near_limit():
    forth, back = float(fr.factor_discs(0.01, 0.03, 0.02)), float(fr.factor_discs(0.03, 0.01, 0.02))
    assert forth * 0.01**2 == pytest.approx(back * 0.03**2, rel=1e-12)
    assert float(fr.factor_discs(0.01, 0.01, 1e-6)) == pytest.approx(1.0, abs=2e-4)
    assert float(fr.factor_discs(1e-4, 0.01, 0.01)) == pytest.approx(0.5, rel=1e-3)  # sin² of 45 degrees


def test_long_cylinders():
    assert float(fr.factor_outer_to_inner_cylinder(1.0, 2.0, 2000.0)) == pytest.approx(0.5, rel=1e-3)
    assert float(fr.factor_outer_cylinder_itself(1.0, 2.0, 2000.0)) == pytest.approx(0.5, rel=1e-3)


def test_exchange_with_a_large_enclosure_needs_only_the_inner_emissivity():
    power = float(fr.enclosed_exchange(1e-3, 10.0, 0.4, 0.2, 1000.0, 300.0))
    assert power == pytest.approx(0.4 * STEFAN_BOLTZMANN * 1e-3 * (1000.0**4 - 300.0**4), rel=1e-3)


# Dry air at 1 atm, Incropera & DeWitt table A.4 (from memory): k mW/m/K, ν 1e-6 m²/s, Pr.
@pytest.mark.parametrize(
    ("T", "k", "nu", "pr"), [(300, 26.3, 15.89, 0.707), (600, 46.9, 52.69, 0.685), (1000, 66.7, 121.9, 0.726)]
)
def test_air(T, k, nu, pr):
    found = fc.air_properties(float(T))
    assert float(found[0]) * 1e3 == pytest.approx(k, rel=0.04)
    assert float(found[1]) * 1e6 == pytest.approx(nu, rel=0.04)
    assert float(found[2]) == pytest.approx(pr, rel=0.06)


def test_still_air_against_the_library_ht():
    """The same correlations in the general-purpose library ht, with our air."""
    from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu, Nu_vertical_plate_Churchill

    film = (900.0 + 293.0) / 2
    k, nu, pr = (float(v) for v in fc.air_properties(film))
    for size in (0.005, 0.05, 0.5):
        gr = 9.81 / film * (900.0 - 293.0) * size**3 / nu**2
        lying = Nu_horizontal_cylinder_Churchill_Chu(pr, gr) * k / size
        standing = Nu_vertical_plate_Churchill(pr, gr) * k / size
        assert float(fc.still_air_coefficient(size, 900.0, 293.0)) == pytest.approx(lying, rel=1e-6)
        assert float(fc.vertical_air_coefficient(size, 900.0, 293.0)) == pytest.approx(standing, rel=1e-6)


def test_shell_and_refusals():
    assert float(fr.shell_drop(100.0, 0.1, 0.2, 2.0)) == pytest.approx(100 * 5 / (8 * np.pi))
    with pytest.raises(BadInput, match="inner_radius: must be less than outer_radius"):
        fr.factor_outer_to_inner_cylinder(2.0, 1.0, 1.0)
    with pytest.raises(BadInput, match="inner_radius"):
        fr.factor_ring_disc(0.02, 0.01, 0.01, 0.01)
