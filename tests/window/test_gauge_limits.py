"""Which of the window's intervals a gauge is made to."""

import pytest

from coilwright.window.gauge_limits import coil_shifts
from coilwright.window.limits import Tolerance
from coilwright.window.quantities import VariedQuantity


def tolerance(what, nominal, low, high):
    quantity = VariedQuantity(what, "job", "length", nominal, 1e-4, "normal", True)
    return Tolerance(quantity, None, None, ("", ""), (low, high), (low, high))


def test_intervals_are_about_the_drawing():
    found = coil_shifts(
        [tolerance("coil.centre", 16e-3, 15.8e-3, 16.3e-3), tolerance("coil.sideways", 0.0, -4e-4, 4e-4)]
    )
    assert found["coil.centre"] == pytest.approx((-0.2e-3, 0.3e-3)) and found["coil.sideways"] == pytest.approx(
        (-4e-4, 4e-4)
    )


def test_other_quantities_and_hair_thin_intervals_are_left_out():
    assert (
        coil_shifts([tolerance("body.ring.centre", 0.0, -1e-3, 1e-3), tolerance("coil.centre", 0.0, 0.0, 1e-5)]) == {}
    )
