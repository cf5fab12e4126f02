"""The magnetisation law: limits, smoothness, and the first harmonics against direct quadrature."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coilwright.errors import BadInput
from coilwright.evidence import Source
from coilwright.materials import MU0, Curve, MagneticLaw, Saturation, library
from coilwright.materials.harmonic import harmonic_of_saturating_part, quick_part

SOURCE = Source("for this test", "invented")
LAW = MagneticLaw(Curve.constant(40.0, SOURCE), Saturation(1.9, 600.0, 1043.0, 3.0, SOURCE))
WAVES = ("H", "B")
MAGNETIC = [name for name in library().names() if library().get(name).magnetic.saturating]


@pytest.mark.parametrize("h", [1e-6, 0.0199, 0.0201, 0.5, 0.9989, 0.9991, 1.0, 1.0009, 1.0011, 7.0, 300.0])
def test_harmonic_integral_against_quadrature(h):
    angle, weight = np.polynomial.legendre.leggauss(2000)
    sine = np.sin((angle + 1) * np.pi / 4)
    direct = np.sum(weight * h * sine**2 / (1 + h * sine))  # (4/pi) (pi/4)
    value, slope = harmonic_of_saturating_part(h)
    assert value == pytest.approx(direct, rel=2e-10)
    assert slope == pytest.approx(np.sum(weight * sine**2 / (1 + h * sine) ** 2), rel=2e-8)


def test_cubics_follow_the_closed_form():
    fields = np.concatenate([np.geomspace(1e-9, 1e5, 4001), np.linspace(0.9, 1.1, 401)])
    exact, told = (np.array([f(h) for h in fields]) for f in (harmonic_of_saturating_part, quick_part))
    assert told[:, 0] == pytest.approx(exact[:, 0], rel=1e-7)
    assert np.abs(told[:, 1] - exact[:, 1]).max() < 1e-7
    assert np.all(np.diff(told[:4001, 0]) > 0.0)


@pytest.mark.parametrize("wave", WAVES)
@pytest.mark.parametrize("field", [10.0, 500.0, 2524.0, 2e4, 1e6])
def test_first_harmonic_against_a_sampled_period(wave, field):
    """Drive the static curve with a sine, take the fundamental of the answer by a discrete Fourier sum."""
    angle = (np.arange(20000) + 0.5) / 20000 * 2 * np.pi
    if wave == "H":
        answer = LAW.static_flux_density(field * np.sin(angle), 293.15)
        peak = 2 * np.mean(answer * np.sin(angle))
        wanted = field / peak
    else:
        peak = float(LAW.static_flux_density(field, 293.15))
        fields = np.concatenate([[0.0], np.geomspace(1e-6 * field, 1.01 * field, 40000)])
        answer = np.interp(peak * np.abs(np.sin(angle)), LAW.static_flux_density(fields, 293.15), fields)
        wanted = 2 * np.mean(answer * np.abs(np.sin(angle))) / peak
    assert LAW.effective_reluctivity(peak, 293.15, wave)[0] == pytest.approx(wanted, rel=1e-5)


@pytest.mark.parametrize("wave", WAVES)
@settings(max_examples=60, deadline=None)
@given(flux=st.floats(1e-6, 30.0), kelvin=st.floats(250.0, 1042.0))
def test_derivative_is_the_derivative(wave, flux, kelvin):
    nu, slope = LAW.effective_reluctivity(flux, kelvin, wave)
    step = 1e-5 * flux
    above, below = (LAW.effective_reluctivity(flux + s, kelvin, wave)[0] for s in (step, -step))
    assert slope * flux == pytest.approx((above - below) / 2e-5, rel=1e-4, abs=1e-6 * nu)
    assert slope >= 0.0


@pytest.mark.parametrize("wave", WAVES)
@settings(max_examples=40, deadline=None)
@given(kelvin=st.floats(0.0, 3000.0), initial=st.floats(1.5, 2e4), saturation=st.floats(0.05, 3.0))
def test_limits_and_monotony(wave, kelvin, initial, saturation):
    law = MagneticLaw(Curve.constant(10.0, SOURCE), Saturation(saturation, initial, 1043.0, 3.0, SOURCE))
    flux = np.concatenate([[0.0], np.geomspace(1e-12, 1e5, 300)])
    nu, slope = law.effective_reluctivity(flux, kelvin, wave)
    assert np.all(np.isfinite(nu)) and np.all(np.isfinite(slope))
    assert np.all(np.diff(nu) >= -1e-12 * nu[1:])
    chi = law.saturation.flux_density_at(kelvin) / (MU0 * law.saturation.knee_field)
    assert nu[0] * MU0 == pytest.approx(1 / (1 + chi), rel=1e-9)
    assert nu[-1] * MU0 == pytest.approx(1.0, rel=1e-4)


@pytest.mark.parametrize("name", MAGNETIC)
def test_no_magnetism_above_the_curie_point(name):
    law = library().get(name).magnetic
    hot = law.saturation.curie + np.array([0.0, 1.0, 100.0, 1000.0])
    for wave in WAVES:
        nu, slope = law.effective_reluctivity(np.array([0.0, 1e-3, 1.0, 3.0]), hot, wave)
        assert nu * MU0 == pytest.approx(1.0) and not slope.any()
    if name != "powdered-iron concentrator":  # its binder is gone long before
        assert law.relative_permeability(hot) == pytest.approx(1.0)


def test_handover_at_the_curie_point_has_no_step():
    kelvin = np.linspace(1020.0, 1046.0, 26_001)  # steps of 1 mK
    for flux in (1e-4, 0.01, 1.0):
        nu = LAW.effective_reluctivity(flux, kelvin)[0] * MU0
        assert np.all(np.diff(nu) >= -1e-15) and np.diff(nu).max() < 0.02
        assert nu[-1] == 1.0


def test_reduced_magnetisation_follows_the_superellipse():
    """A. Perevertov, arXiv:2512.24771 (2025): m^n + t^n = 1, n about 3 for iron; saturation ratio at two temperatures."""
    law = LAW.saturation
    expected = ((1 - (800 / 1043) ** 3) / (1 - (293.15 / 1043) ** 3)) ** (1 / 3)
    assert law.flux_density_at(800.0) / law.flux_density_at(293.15) == pytest.approx(expected)
    # recalled measurements on iron (textbook tables): about 0.82 of the zero-temperature value at 0.7 of the Curie point
    assert law.flux_density_at(0.7 * 1043) / law.flux_density_at(0.0) == pytest.approx(0.83, abs=0.05)


def test_mixed_shapes_broadcast():
    nu, slope = LAW.effective_reluctivity(np.array([[0.1], [1.0]]), np.array([300.0, 900.0, 1100.0]))
    assert nu.shape == slope.shape == (2, 3)
    assert nu[1, 0] == pytest.approx(float(LAW.effective_reluctivity(1.0, 300.0)[0]))


def test_without_saturation_data_the_law_is_linear():
    nu, slope = library().get("copper").magnetic.effective_reluctivity([0.0, 1.0], 300.0)
    assert nu == pytest.approx(1 / MU0) and not slope.any()


@pytest.mark.parametrize(
    "wrong", [(0.0, 600, 1043, 3), (1.9, 1.0, 1043, 3), (1.9, 600, 300, 3), (float("nan"), 600, 1043, 3)]
)
def test_impossible_saturation_is_refused(wrong):
    with pytest.raises(BadInput):
        Saturation(*wrong, SOURCE)
