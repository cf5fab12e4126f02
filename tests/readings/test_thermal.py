"""Temperature traces: glitches, crossings, slopes, cooling rates, emissivity."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from coilwright.errors import BadInput
from coilwright.readings.records import Temperatures
from coilwright.readings.thermal import (
    SECOND_RADIATION_CONSTANT,
    crossings,
    emissivity_error,
    mask_glitches,
    rate_at,
    slope,
    with_emissivity,
)

TIME = np.arange(0.0, 20.0, 0.05)
RISE = 293.15 + 800.0 * (1 - np.exp(-TIME / 3.0))


def trace(values, noise=0.0, seed=1):
    values = values + noise * np.random.default_rng(seed).standard_normal(len(values))
    return Temperatures(TIME, {"T1": values}, "trace.csv")


def shot(heat_until=8.0, rate=100.0, tau=4.0):
    """Straight rise, then exponential fall to the room."""
    top = 293.15 + rate * heat_until
    return np.where(
        heat_until > TIME, 293.15 + rate * TIME, 293.15 + (top - 293.15) * np.exp(-(TIME - heat_until) / tau)
    )


def test_a_clean_trace_loses_nothing():
    clean = mask_glitches(trace(RISE, 0.5))
    assert clean.good.mean() > 0.995
    assert clean.noise == pytest.approx(0.5, rel=0.25)
    assert [f.code for f in clean.findings if f.code == "pick-up-step"] == []


def test_pick_up_is_masked_and_counted():
    values = RISE.copy()
    hit = [40, 41, 90, 150, 151, 300]
    values[hit] += [80.0, -60.0, 200.0, 30.0, 45.0, -25.0]
    clean = mask_glitches(trace(values, 0.5))
    assert set(hit) <= set(np.flatnonzero(~clean.good))
    assert (~clean.good).sum() <= len(hit) + 3
    assert np.isnan(clean.temperature[90])
    assert clean.findings[0].code == "pick-up-masked"
    assert "up to 20" in clean.findings[0].text


def test_pick_up_that_lasts_is_reported_as_steps():
    values = RISE + 35.0 * ((TIME > 4.0) & (TIME < 9.0))
    clean = mask_glitches(trace(values, 0.3))
    found = [f for f in clean.findings if f.code == "pick-up-step"]
    assert len(found) == 1
    assert "2 sudden steps" in found[0].text


def test_crossings_with_their_uncertainty():
    """150 seeded traces: the true time lies inside as often as stated."""
    off = []
    truth = -3.0 * math.log(1 - 400.0 / 800.0)
    for seed in range(150):
        clean = mask_glitches(trace(RISE, 2.0, seed))
        found = crossings(clean, [693.15])
        assert len(found) == 1
        assert found[0].rising
        off.append((found[0].time.value - truth) / found[0].time.sigma)
    assert np.mean(np.abs(off) < 1) == pytest.approx(0.683, abs=0.15)
    assert np.mean(np.abs(off) < 2) == pytest.approx(0.954, abs=0.07)


def test_up_and_down():
    found = crossings(mask_glitches(trace(shot(), 0.5)), [593.15, 793.15])
    assert [c.rising for c in found] == [True, True, False, False]
    assert found[0].time.value == pytest.approx(3.0, abs=0.02)
    assert found[2].time.value == pytest.approx(8.0 + 4.0 * math.log(800 / 500), abs=0.05)


def test_slope_and_cooling_rate():
    clean = mask_glitches(trace(shot(), 0.5))
    rise = slope(clean, 1.0, 7.0)
    assert rise.value == pytest.approx(100.0, abs=4 * rise.sigma)
    fall = rate_at(clean, 693.15)
    assert fall.value == pytest.approx(-400.0 / 4.0, abs=max(4 * fall.sigma, 0.5))
    assert fall.sigma < 3.0
    assert rate_at(clean, 693.15, falling=False).value == pytest.approx(100.0, abs=2.0)


@pytest.mark.parametrize(("wavelength", "share", "digits"), [(1e-6, 0.009, 0.0005), (0.65e-6, 0.0057, 0.0005)])
def test_ten_per_cent_of_emissivity(wavelength, share, digits):
    """About 1 % of the absolute temperature at 1 um and 1000 degC (common practice)."""
    assert -emissivity_error(1273.15, wavelength, 0.1) / 1273.15 == pytest.approx(share, abs=digits)


@pytest.mark.parametrize("wavelength", [0.65e-6, 1.0e-6, 1.6e-6])
def test_wien_against_planck(wavelength):
    """Planck's law solved for the reading; Wien is good to 1 % of the correction while lambda T < 3.1e-3 m K."""
    true, was, should = 1273.15, 0.8, 0.7

    def planck(t):
        return 1.0 / math.expm1(SECOND_RADIATION_CONSTANT / (wavelength * t))

    reading = brentq(lambda t: was * planck(t) - should * planck(true), 800.0, 1500.0, xtol=1e-10)
    assert with_emissivity(reading, wavelength, was, should) - reading == pytest.approx(true - reading, rel=0.01)
    small = brentq(lambda t: 0.7007 * planck(t) - 0.7 * planck(true), 1000.0, 1500.0, xtol=1e-12)
    assert emissivity_error(true, wavelength, 1e-3) == pytest.approx(small - true, rel=0.01)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda c: mask_glitches(Temperatures(TIME[:5], {"T": RISE[:5]}, "t.csv")), "at least 11 samples"),
        (lambda c: slope(c, 30.0, 40.0), "at least 3 good samples"),
        (lambda c: rate_at(c, 1500.0), "never falls through 1227 degC"),
        (lambda c: emissivity_error(0.0, 1e-6, 0.1), "above zero"),
        (lambda c: with_emissivity(1000.0, 1e-6, 1.2, 0.5), "between 0 and 1"),
    ],
)
def test_refusals(call, sentence):
    with pytest.raises(BadInput, match=sentence):
        call(mask_glitches(trace(RISE, 0.5)))
