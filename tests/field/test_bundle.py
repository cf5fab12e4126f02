"""Litz: resistance of strands, loss in a transverse field, and a coil of it through the whole engine."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import iv

import coilwright as cw
from coilwright.field.bundle import Bundle
from tests.heating.jobs import WASHER

RHO = 1.72e-8
TUBE = 'section = "round tube"\noutside = "4 mm"\nbore = "2.5 mm"'


@pytest.mark.parametrize("diameter", [0.05e-3, 0.2e-3, 0.8e-3, 3e-3])
def test_eddy_loss_is_the_integral_of_the_exact_field(diameter):
    """sigma w^2 |A|^2 over the section, A = 2 B I1(kr) sin(phi) / (k I0(ka))."""
    omega, b = 2 * math.pi * 1e5, 1.0
    k = (1 + 1j) / math.sqrt(2 * RHO / (omega * 4e-7 * math.pi))
    a = diameter / 2
    inner, _ = quad(lambda r: abs(2 * b * iv(1, k * r) / (k * iv(0, k * a))) ** 2 * r, 0, a, epsrel=1e-10)
    assert Bundle(1, diameter, RHO).eddy_loss(omega) == pytest.approx(math.pi * omega**2 / RHO * inner, rel=1e-6)


def test_thin_strands_follow_the_low_frequency_law():
    """pi w^2 d^4 / (64 rho) per T^2 rms: Snelling, Soft Ferrites, 2nd ed. (1988), section 11.4.2, from memory."""
    omega, d = 2 * math.pi * 2e4, 0.07e-3
    assert Bundle(1, d, RHO).eddy_loss(omega) == pytest.approx(math.pi * omega**2 * d**4 / (64 * RHO), rel=1e-3)


def litz(strands, diameter, frequency="100 kHz"):
    text = WASHER.replace(
        TUBE, f'section = "litz"\ndiameter = "4 mm"\nstrands = {strands}\nstrand_diameter = "{diameter} mm"'
    )
    return cw.loads(text.replace("100 kHz", frequency))


def test_hair_thin_strands_have_the_resistance_of_their_copper():
    result = cw.field(litz(20000, 0.02, "20 kHz"), estimate_error=False).result
    length = 4 * 2 * math.pi * 0.012
    direct = 1.724137931034483e-8 * length / (20000 * math.pi * 0.01e-3**2)
    assert result.unloaded.resistance == pytest.approx(direct, rel=5e-3)
    assert result.power_mismatch < 1e-3


def test_part_power_and_inductance_are_those_of_even_current():
    """Against filaments spread over the bundle: mutual and self inductance averaged over its section."""
    from coilwright.field.formulas_inductance import loop_mutual

    result = cw.field(litz(1000, 0.1), estimate_error=False).result
    rng = np.random.default_rng(4)
    radius = 2e-3 * np.sqrt(rng.random(600))
    angle = 2 * math.pi * rng.random(600)
    r, z = 0.012 + radius * np.cos(angle), radius * np.sin(angle)
    centres = np.array([0.0, -5e-3, -10e-3, -15e-3])
    apart = sum(
        float(np.mean(loop_mutual(r[:300], r[300:], z[:300] - z[300:] + a - b)))
        for a in centres
        for b in centres
        if a != b
    )
    same = float(np.mean([loop_mutual(r[:300], np.roll(r[300:], s), z[:300] - np.roll(z[300:], s)) for s in range(40)]))
    assert result.unloaded.inductance == pytest.approx(apart + 4 * same, rel=0.01)


def test_strands_beat_the_tube_at_20_kHz_and_thick_strands_do_not():
    """Common practice, no source: litz pays where strands are thin against the skin depth."""
    tube = cw.field(cw.loads(WASHER.replace("100 kHz", "20 kHz")), estimate_error=False).result.unloaded.resistance
    thin = cw.field(litz(1000, 0.1, "20 kHz"), estimate_error=False).result.unloaded.resistance
    thick = cw.field(litz(10, 1.0, "100 kHz"), estimate_error=False).result.unloaded.resistance
    fine = cw.field(litz(1000, 0.1, "100 kHz"), estimate_error=False).result.unloaded.resistance
    assert thin < tube
    assert fine < thick


def test_shot_with_a_litz_coil():
    result = cw.heat(litz(1000, 0.1), estimate_error=False)
    assert result.error.power_balance < 1e-3
    assert abs(result.energy.imbalance) < 1e-6
