"""Series solutions: late, early and lumped limits, and their sums at the start."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.heat import formulas_series as fs


@pytest.mark.parametrize("shape", ["wall", "cylinder", "ball"])
def test_series_starts_at_one_and_small_bodies_are_lumped(shape):
    early = fs.convection_transient(shape, 1.0, 0.002, np.array([0.0, 0.3]))
    assert np.allclose(early, 1.0, atol=1e-6)
    volume_over_surface = {"wall": 1, "cylinder": 2, "ball": 3}[shape]
    lumped = np.exp(-0.001 * 400 * volume_over_surface)
    assert float(fs.convection_transient(shape, 0.001, 400.0, 0.0)) == pytest.approx(lumped, rel=1e-3)


@pytest.mark.parametrize("shape", ["wall", "cylinder", "ball"])
@pytest.mark.parametrize("biot", [1e-4, 0.7, 1.0, 30.0])
def test_roots_are_in_order_and_solve_their_equation(shape, biot):
    from scipy.special import j0, j1

    z = fs.transient_roots(shape, biot, 8)
    assert np.all(np.diff(z) > 2.5)
    left = {"wall": lambda: z * np.tan(z), "cylinder": lambda: z * j1(z) / j0(z), "ball": lambda: 1 - z / np.tan(z)}
    assert np.allclose(left[shape](), biot, rtol=1e-7)


def test_cylinder_flux_late_and_early():
    late = fs.cylinder_flux_rise(5.0, np.array([0.0, 1.0]))
    assert np.allclose(late, [2 * 5.0 - 0.25, 2 * 5.0 + 0.25], rtol=1e-12)
    assert late[1] - late[0] == pytest.approx(float(fs.surface_core_lag(1.0, 1.0, 1.0)))
    fo = 2e-3  # the surface does not feel its curvature yet (5 %)
    flat = float(fs.surface_flux_rise(1.0, 0.0, fo, 1.0, 1.0))
    assert float(fs.cylinder_flux_rise(fo, 1.0)) == pytest.approx(flat, rel=0.05)


def test_bad_input_is_named():
    with pytest.raises(BadInput, match='"wall", "cylinder" or "ball", received "cube"'):
        fs.transient_roots("cube", 1.0, 3)
    with pytest.raises(BadInput, match="time: must be finite and above zero"):
        fs.surface_flux_rise(1.0, 0.0, 0.0, 1.0, 1.0)
