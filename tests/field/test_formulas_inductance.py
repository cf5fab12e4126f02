"""Loops and windings: against general-purpose elliptic functions, limits, and how they refuse bad input."""

import mpmath
import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field import formulas_inductance as fi
from coilwright.field.formulas_skin import MU_0


def mutual_by_mpmath(a, b, z):
    """Maxwell, Treatise, art. 701, in 40 digits."""
    with mpmath.workdps(40):
        a, b, z = mpmath.mpf(a), mpmath.mpf(b), mpmath.mpf(z)
        m = 4 * a * b / ((a + b) ** 2 + z**2)
        k = mpmath.sqrt(m)
        return float(MU_0 * mpmath.sqrt(a * b) * ((2 / k - k) * mpmath.ellipk(m) - 2 / k * mpmath.ellipe(m)))


@pytest.mark.parametrize("a", [1e-3, 0.02, 3.0])
@pytest.mark.parametrize("b", [5e-5, 0.0200001, 1.0])
@pytest.mark.parametrize("z", [1e-6, 0.01, 7.0])
def test_mutual_holds_ten_digits_near_and_far(a, b, z):
    assert float(fi.loop_mutual(a, b, z)) == pytest.approx(mutual_by_mpmath(a, b, z), rel=1e-13)


@pytest.mark.parametrize("ratio", [1e-4, 0.3, 1.0, 12.0, 300.0])
def test_nagaoka_against_mpmath(ratio):
    with mpmath.workdps(40):
        x = mpmath.mpf(ratio)
        m, k1 = x**2 / (1 + x**2), 1 / mpmath.sqrt(1 + x**2)
        K, E = mpmath.ellipk(m), mpmath.ellipe(m)
        exact = 4 / (3 * mpmath.pi * k1) * (k1**2 / m * (K - E) + E - mpmath.sqrt(m))
    assert float(fi.nagaoka_coefficient(ratio)) == pytest.approx(float(exact), rel=1e-11)


def test_force_is_the_slope_of_the_mutual_inductance():
    z, h = np.array([0.002, 0.02, 0.1]), 1e-6
    slope = (fi.loop_mutual(0.05, 0.03, z + h) - fi.loop_mutual(0.05, 0.03, z - h)) / (2 * h)
    assert np.allclose(fi.loop_force(0.05, 0.03, z), slope, rtol=1e-6)
    assert fi.loop_force(0.05, 0.03, 0.0) == 0.0
    assert float(fi.loop_force(0.05, 0.05, 0.01)) < 0  # equal currents attract


def test_flux_through_a_loop_is_the_mutual_inductance():
    x, w = np.polynomial.legendre.leggauss(40)
    r = 0.02 * (x + 1) / 2
    _, bz = fi.loop_flux_density(0.05, r, 0.01)
    assert np.sum(0.01 * w * 2 * np.pi * r * bz) == pytest.approx(float(fi.loop_mutual(0.05, 0.02, 0.01)), rel=1e-10)


def test_field_on_the_axis():
    z = np.linspace(-0.1, 0.1, 5)
    br, bz = fi.loop_flux_density(0.05, 0.0, z)
    assert np.all(br == 0)
    assert np.allclose(bz, MU_0 * 0.05**2 / (2 * (0.05**2 + z**2) ** 1.5), rtol=1e-13)


def test_one_turn_spiral_is_its_mean_loop_and_shapes_broadcast():
    loop = float(fi.loop_self_inductance(0.02, 0.002))
    assert fi.spiral_inductance(0.01, 0.03, 1, 0.004) == pytest.approx(loop)
    assert fi.loop_mutual(np.ones((3, 1)), 0.5 * np.ones(4), 1.0).shape == (3, 4)
    assert fi.tilted_loop_mutual(0.02, 0.01, [0, 0, 0.01], [0, 0, 2]) == pytest.approx(
        float(fi.loop_mutual(0.02, 0.01, 0.01)), rel=1e-12
    )


def test_turning_a_loop_over_changes_the_sign_only():
    up = fi.tilted_loop_mutual(0.03, 0.02, [0.004, 0.001, 0.01], [0.2, 0.1, 1])
    down = fi.tilted_loop_mutual(0.03, 0.02, [0.004, 0.001, 0.01], [-0.2, -0.1, -1])
    assert up == pytest.approx(-down, rel=1e-12)


def test_reciprocity_of_tilted_loops():
    normal = np.array([0.3, 0.0, 1.0]) / np.hypot(0.3, 1.0)
    centre = np.array([0.01, 0.0, 0.02])
    e1, e2 = np.cross([0, 1, 0], normal), np.array([0, 1, 0])
    back = [[-centre @ e1, -centre @ e2, -centre @ normal], [e1[2], e2[2], normal[2]]]
    one = fi.tilted_loop_mutual(0.03, 0.02, centre, normal)
    assert one == pytest.approx(fi.tilted_loop_mutual(0.02, 0.03, back[0], back[1]), rel=1e-12)


# Own earlier computation of a four-turn coil before a ring: regression, not validation.
def test_four_loops_before_a_ring():
    z = 8e-3 + 5.5e-3 * np.arange(4)
    assert np.sum(fi.loop_mutual(12e-3, 5e-3, z)) == pytest.approx(4.378e-9, abs=5e-13)
    assert np.sum(fi.loop_mutual(12e-3, 5e-3, z + 1e-3)) == pytest.approx(3.879e-9, abs=5e-13)
    offset = sum(fi.tilted_loop_mutual(12e-3, 5e-3, [2e-3, 0, h], [0, 0, 1]) for h in z)
    assert offset == pytest.approx(4.315e-9, abs=5e-13)


def test_bad_input_is_named():
    with pytest.raises(BadInput, match="loop_mutual: radius_2: must be finite and above zero, received -1"):
        fi.loop_mutual(1.0, -1.0, 0.1)
    with pytest.raises(BadInput, match="nagaoka"):
        fi.nagaoka_coefficient(-0.1)
    with pytest.raises(BadInput, match='"uniform" or "surface", received "skin"'):
        fi.loop_self_inductance(0.1, 0.01, "skin")
    with pytest.raises(BadInput, match=r"length.*nan"):
        fi.current_sheet_inductance(0.1, float("nan"), 3)
