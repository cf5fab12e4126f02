"""Bar, tube, ball, plate, ring: against mpmath, against each other, and in their limits."""

import mpmath
import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field import formulas_coupling as fc
from coilwright.field import formulas_loads as fl
from coilwright.field import formulas_skin as fs


@pytest.mark.parametrize("x", [0.2, 3.0, 40.0])
def test_bar_against_mpmath(x):
    with mpmath.workdps(30):
        ka = mpmath.mpc(1, 1) * mpmath.mpf(x) / 2
        factor = (mpmath.mpc(1, 1) * mpmath.besseli(1, ka) / mpmath.besseli(0, ka)).real
        mu = 2 * mpmath.besseli(1, ka) / (ka * mpmath.besseli(0, ka))
    assert float(fl.bar_factor(x)) == pytest.approx(float(factor), rel=1e-11)
    assert complex(fl.bar_effective_permeability(x / 2)) == pytest.approx(complex(mu), rel=1e-12)


# Trade figures for "how many skin depths thick" (own computation, two digits; the same numbers as the Bessel solution).
@pytest.mark.parametrize(
    ("ratio", "factor"), [(2, 0.22), (2.5, 0.383), (3, 0.54), (3.5, 0.66), (4, 0.739), (5, 0.81), (8, 0.87), (10, 0.898)]
)
def test_bar_factor_by_size(ratio, factor):
    assert float(fl.bar_factor(ratio)) == pytest.approx(factor, abs=0.005 if factor in (0.22, 0.54, 0.66, 0.81, 0.87) else 6e-4)


def test_bar_factor_joins_its_series():
    assert float(fl.bar_factor(0.0499)) == pytest.approx(0.0499**3 / 32, rel=1e-12)
    assert float(fl.bar_factor(0.0501)) == pytest.approx(0.0501**3 / 32, rel=1e-5)
    assert float(fl.bar_factor(1e5)) == pytest.approx(1.0, rel=2e-5)


def test_power_equals_the_loss_in_the_flux():
    """Heat of a bar = H0² ω µ Im part of the effective permeability x area (complex energy balance)."""
    a, f, rho, mur, H = 0.01, 20e3, 5e-7, 12.0, 3e3
    mu = complex(fl.bar_effective_permeability(a / fs.skin_depth(f, rho, mur)))
    loss = -2 * np.pi * f * fs.MU_0 * mur * mu.imag * np.pi * a**2 * H**2
    assert float(fl.bar_power(a, H, f, rho, mur)) == pytest.approx(loss, rel=1e-12)


def test_thin_tube_is_the_limit_of_the_exact_tube():
    exact, bore = fl.tube_power(0.0100005, 0.0099995, 1e3, 50e3, 1e-7)
    thin = float(fl.thin_tube_power(0.01, 1e-6, 1e3, 50e3, 1e-7))
    assert float(exact) == pytest.approx(thin, rel=1e-4)
    tau = float(fl.thin_tube_tau(0.01, 1e-6, 50e3, 1e-7))
    assert complex(bore) == pytest.approx(1 / (1 + 1j * tau), rel=1e-4)


def test_thick_tube_is_a_bar_and_does_not_overflow():
    power, bore = fl.tube_power(0.05, 0.01, 1e3, 1e6, 1.7e-8, 1.0)
    assert float(power) == pytest.approx(float(fl.bar_power(0.05, 1e3, 1e6, 1.7e-8)), rel=1e-9)
    assert abs(complex(bore)) < 1e-100


def test_thin_tube_power_is_greatest_where_reactance_equals_resistance():
    """The rule that a ring of R = ωL takes most and minds its resistance least (common practice, shown here)."""
    rho = np.geomspace(0.2, 5, 41) * 1e-7
    best = np.pi * 100e3 * fs.MU_0 * 0.01 * 1e-4  # tau = 1
    power = fl.thin_tube_power(0.01, 1e-4, 1.0, 100e3, rho)
    top = float(fl.thin_tube_power(0.01, 1e-4, 1.0, 100e3, best))
    assert np.all(power <= top)
    halves = fl.thin_tube_power(0.01, 1e-4, 1.0, 100e3, np.array([best / 1.2, best * 1.2]))
    assert np.all(halves > 0.98 * top)


def test_ball_limits():
    a, rho, f = 0.01, 1e-6, 50.0
    low = 2 * np.pi / rho * (2 * np.pi * f) ** 2 * (fs.MU_0 * 1e3) ** 2 * a**5 / 15
    assert float(fl.ball_power(a, 1e3, f, rho)) == pytest.approx(low, rel=1e-4)
    assert complex(fl.ball_dipole(a, 1e9, 1e-8)) == pytest.approx(-0.5, abs=1e-3)
    assert complex(fl.ball_dipole(a, 1e-3, 1e-6, 50.0)) == pytest.approx(49 / 52, rel=1e-6)
    # thick skin-effect limit: H on the surface is 1.5 H0 sinθ, so the heat is 1.5² x 2/3 x area x H0² Rs
    thick = 1.5**2 * 2 / 3 * 4 * np.pi * a**2 * 1e6 * float(fs.surface_resistance(100e6, 1e-8))
    assert float(fl.ball_power(a, 1e3, 100e6, 1e-8)) == pytest.approx(thick, rel=2e-3)


def test_hollow_ball_with_a_tiny_cavity_is_the_solid_one():
    power, cavity = fl.hollow_ball(0.01, 1e-5, 1e3, 5e3, 1e-6)
    assert power == pytest.approx(float(fl.ball_power(0.01, 1e3, 5e3, 1e-6)), rel=1e-8)
    thin, shell = fl.hollow_ball(0.05, 0.0499, 1.0, 10.0, 1.0)
    assert shell == pytest.approx(1.0, abs=1e-6)
    assert thin >= 0
    assert abs(cavity) < 1.0


def test_plate_limits():
    H, f, rho = 1e3, 10e3, 2e-7
    delta = float(fs.skin_depth(f, rho))
    assert float(fs.plate_power(H, 200 * delta, f, rho)) == pytest.approx(2 * float(fs.half_space_power(H, f, rho)))
    d = 0.01 * delta * np.array([0.99, 1.01, 3])
    lamination = H**2 * (2 * np.pi * f * fs.MU_0) ** 2 * d**3 / (12 * rho)
    assert np.allclose(fs.plate_power(H, d, f, rho), lamination, rtol=1e-6)


def test_reflected_load_is_greatest_at_equal_resistance_and_reactance():
    f, L, M = 350e3, 11e-9, 4e-9
    best = 2 * np.pi * f * L
    R = best * np.array([0.5, 1.0, 2.0])
    change, inductance = fc.reflected_load(M, R, L, f)
    assert np.argmax(change) == 1
    assert change[0] == pytest.approx(change[2])
    assert np.all(inductance < 0)
    assert float(fc.best_ring_frequency(best, L)) == pytest.approx(f)
    exact = (2 * np.pi * f * M) ** 2 / (R + 1j * 2 * np.pi * f * L)
    assert np.allclose(change + 2j * np.pi * f * inductance, exact)


# Copper coil of D/d = 1.25 on hot steel and on copper (own evaluation of the formula, three digits).
def test_efficiency_ceiling():
    assert float(fc.efficiency_ceiling(1.25, 1.0, 1.72e-8, 1.15e-6)) == pytest.approx(0.867, abs=5e-4)
    assert float(fc.efficiency_ceiling(1.25, 1.0, 1.72e-8, 1.72e-8)) == pytest.approx(0.444, abs=5e-4)
    assert float(fc.efficiency_from_resistances(5.6e-3, 12.8e-3)) == pytest.approx(0.5625)


def test_thin_ring_resistance_is_direct_current_resistance():
    assert fc.ring_resistance(3.5e-3, 2e-3, 0.6e-3, 1e3, 0.72e-6) == pytest.approx(0.72e-6 * 2 * np.pi * 3.5e-3 / 1.2e-6)
    skin = fc.ring_resistance(0.05, 0.01, 0.01, 1e6, 1.7e-8)
    perimeter = 1.7e-8 * 2 * np.pi * 0.05 / (0.04 * float(fs.skin_depth(1e6, 1.7e-8)))
    assert skin == pytest.approx(perimeter, rel=0.02)


def test_skin_depth_table():
    """Own table of skin depths in mm, two to three digits, for the resistivities named."""
    for rho, mur, f, depth in [
        (17.2e-9, 1, 100e3, 0.209),
        (1.15e-6, 1, 10e3, 5.40),
        (170e-9, 40, 200e3, 0.073),
        (0.74e-6, 1, 350e3, 0.73),
        (9e-6, 1, 50e3, 6.8),
    ]:
        assert float(fs.skin_depth(f, rho, mur)) * 1e3 == pytest.approx(depth, rel=8e-3)


def test_bad_input_is_named():
    with pytest.raises(BadInput, match="inner_radius: must be less than outer_radius"):
        fl.tube_power(0.01, 0.01, 1.0, 1e3, 1e-7)
    with pytest.raises(BadInput, match="part_diameter"):
        fc.efficiency_ceiling(1.0, 1.0, 1e-8, 1e-7)
    with pytest.raises(BadInput, match="frequency: must be finite and above zero, received 0"):
        fs.skin_depth(0.0, 1e-7)
