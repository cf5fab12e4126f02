"""Values with their uncertainty as people read them."""

from __future__ import annotations

import math

import pytest

from coilwright.evidence import Uncertain


@pytest.mark.parametrize(
    ("value", "sigma", "shown"),
    [
        (10.05762, 0.027, "10.058 ± 0.027"),  # JCGM 100:2008, 7.2.6: 10,057 62 ohm with u = 27 mohm is rounded to 10,058 ohm
        (100.02147, 0.00035, "100.02147 ± 0.00035"),  # the mass of JCGM 100:2008, 7.2.2: 100,021 47(35) g, from memory
        (34.2446, 1.3, "34.2 ± 1.3"),
        (2.5123e-7, 2e-9, "2.512e-07 ± 2e-09"),
        (-34.2446, 1.3, "-34.2 ± 1.3"),
        (0.03, 1.3, "0.03 ± 1.3"),
        (0.0, 1.3, "0 ± 1.3"),
        (34.2446, 0.0, "34.2446 ± 0"),
        (34.2446, math.inf, "34.2446 ± inf"),
        (math.nan, 1.0, "nan ± 1"),
    ],
)
def test_value_goes_down_to_the_place_of_its_uncertainty(value: float, sigma: float, shown: str) -> None:
    assert str(Uncertain(value, sigma)) == shown
