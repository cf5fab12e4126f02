"""Fields against distance, and where they meet the levels, against closed forms and own figures."""

import math

import pytest

from coilwright.errors import BadInput, NotConverged
from coilwright.safety.exposure import exposure_distance
from coilwright.safety.fields import MU0, dipole_field, dipole_moment, pair_field, rings_on_axis


@pytest.mark.parametrize(
    ("turns", "radius", "current", "distance", "microtesla"),
    [
        (4, 0.012, 156.0, 0.2, 7.0),
        (4, 0.012, 156.0, 0.3, 2.1),
        (4, 0.012, 156.0, 0.5, 0.45),
        (3, 0.018, 400.0, 0.2, 30.0),
        (3, 0.018, 400.0, 0.3, 9.0),
        (3, 0.018, 400.0, 0.5, 2.0),
        (9, 0.059, 180.0, 0.2, 390.0),
        (9, 0.059, 180.0, 0.3, 124.0),
        (9, 0.059, 180.0, 0.5, 28.0),
    ],
)
def test_axis_field_of_small_coils(turns, radius, current, distance, microtesla):
    """Own ring sums for three work coils, kept to two figures; all turns taken at one height."""
    field = rings_on_axis([radius] * turns, [0.0] * turns, current, distance)
    assert field * 1e6 == pytest.approx(microtesla, rel=0.06)


def test_axis_field_at_the_centre_and_of_a_helmholtz_pair():
    """Centre of a ring mu0 I / 2a; Helmholtz pair (4/5)^(3/2) mu0 I / a (any textbook)."""
    assert rings_on_axis([0.1], [0.0], 2.0, 0.0) == pytest.approx(MU0 * 2.0 / 0.2, rel=1e-14)
    assert rings_on_axis([0.1] * 2, [0.0, 0.1], 2.0, 0.05) == pytest.approx(0.8**1.5 * MU0 * 2.0 / 0.1, rel=1e-14)


@pytest.mark.parametrize("ratio", [2.0, 5.5, 20.0])
def test_dipole_errs_on_the_safe_side_of_the_ring(ratio):
    ring = rings_on_axis([0.02] * 3, [0.0] * 3, 300.0, 0.02 * ratio)
    dipole = dipole_field(dipole_moment([0.02] * 3, 300.0), 0.02 * ratio)
    assert dipole > ring
    assert dipole / ring == pytest.approx((1.0 + ratio**-2) ** 1.5, rel=1e-12)
    if ratio >= 5.5:
        assert dipole / ring < 1.05


def test_pair_is_the_difference_of_two_wires():
    """mu0 I / (2 pi) (1/(d - s/2) - 1/(d + s/2))."""
    two = MU0 * 300.0 / (2 * math.pi) * (1 / (0.3 - 0.01) - 1 / (0.3 + 0.01))
    assert pair_field(300.0, 0.02, 0.3) == pytest.approx(two, rel=1e-12)


def test_dipole_distance_has_a_closed_form():
    """d = (mu0 m / (2 pi B))^(1/3) at the 27 uT of ICNIRP 2010."""
    moment = dipole_moment([0.018] * 3, 400.0)
    found = exposure_distance(lambda d: dipole_field(moment, d), 50e3, "general public")
    assert found.within_search
    assert found.level.flux_density == 2.7e-5
    assert found.distance == pytest.approx((MU0 * moment / (2 * math.pi * 2.7e-5)) ** (1 / 3), rel=1e-9)
    worker = exposure_distance(lambda d: dipole_field(moment, d), 50e3, "occupational")
    assert worker.distance == pytest.approx(found.distance * (27.0 / 100.0) ** (1 / 3), rel=1e-9)


def test_outermost_crossing_counts_when_the_field_has_a_hump():
    found = exposure_distance(lambda d: 5e-5 if 0.9 < d < 1.1 else 1e-9 / d**3, 50e3)
    assert found.distance == pytest.approx(1.1, rel=1e-6)


def test_weak_field_is_reported_as_below_everywhere_searched():
    found = exposure_distance(lambda d: 1e-12 / d**3, 50e3, shortest=0.05)
    assert not found.within_search
    assert found.distance == 0.05


def test_a_field_that_never_falls_is_no_answer():
    with pytest.raises(NotConverged, match="still above"):
        exposure_distance(lambda d: 1e-3, 50e3)


def test_duty_is_checked():
    with pytest.raises(BadInput, match=r"30 % is 0\.3"):
        exposure_distance(lambda d: 1e-9, 50e3, duty=30.0)
