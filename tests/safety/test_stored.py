"""Stored energy, bleed, touch voltage, gap hint."""

import math

import pytest

from coilwright.errors import BadInput
from coilwright.safety.stored import Store, bleed_resistor, bleed_time, clearance_hint, touch_voltage


@pytest.mark.parametrize(
    ("farad", "volt", "joule"), [(150e-9, 690.0, 0.036), (1000e-6, 330.0, 54.0), (470e-6, 565.0, 75.0)]
)
def test_energy_of_usual_capacitors(farad, volt, joule):
    """Own hand figures, two digits: tank can, two links of rectified mains."""
    assert Store("link", farad, volt).energy == pytest.approx(joule, rel=0.02)


def test_bleed_resistor_and_time_are_inverse():
    bleed = bleed_resistor(470e-6, 565.0, 540.0)
    assert bleed_time(470e-6, bleed.resistance, 565.0) == pytest.approx(5.0, rel=1e-12)
    assert bleed.power == pytest.approx(540.0**2 / bleed.resistance)
    assert 565.0 * math.exp(-5.0 / (bleed.resistance * 470e-6)) == pytest.approx(60.0, rel=1e-12)


def test_store_says_how_long_to_wait():
    assert Store("link", 470e-6, 565.0, 10e3).bleed_time == pytest.approx(10e3 * 470e-6 * math.log(565 / 60))
    assert Store("link", 470e-6, 565.0).bleed_time == math.inf
    assert Store("trim", 1e-6, 50.0).bleed_time == 0.0


@pytest.mark.parametrize(
    ("build", "part"),
    [
        (lambda: Store("link", 0.0, 300.0), "capacitance must be greater than zero"),
        (lambda: Store("link", 1e-6, math.nan), "voltage must be"),
        (lambda: Store("link", 1e-6, 300.0, 0.0), "bleed"),
        (lambda: bleed_resistor(1e-6, 50.0, 40.0), "no bleed resistor"),
        (lambda: clearance_hint(-1.0, 1e5), "peak_voltage"),
    ],
)
def test_refusals(build, part):
    with pytest.raises(BadInput, match=part):
        build()


def test_touch_limits():
    assert touch_voltage(49.0).exceeds is False
    assert touch_voltage(33.0, wet=True).exceeds is True


def test_gap_hint_is_a_floor_and_names_the_standard():
    """About 31 kV peak per cm of air (well-known figure for 1 cm, uniform field)."""
    hint = clearance_hint(30300.0, 350e3)
    assert hint.breakdown_gap == pytest.approx(0.01, rel=0.01)
    assert "ask IEC 60664-1" in hint.text
    assert hint.source.kind == "memory"
    assert clearance_hint(300.0, 350e3).breakdown_gap == 0.0
    assert clearance_hint(1000.0, 1e5).breakdown_gap < clearance_hint(2000.0, 1e5).breakdown_gap < 1e-3
