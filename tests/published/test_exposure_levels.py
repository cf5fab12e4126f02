"""Reference levels equal to the printed tables at every breakpoint and inside every row.

ICNIRP, Health Phys. 99 (2010) 818-836, tables 3 and 4 and contact currents; ICNIRP, Health Phys. 118 (2020) 483-524,
local exposure, both read in print as tables 7.3, 7.4 and 7.8 of a handbook (Bioelectromagnetism).
"""

import math

import pytest

from coilwright.errors import BadInput
from coilwright.safety.exposure import (
    MU0,
    applicable_levels,
    contact_current_level,
    electric_field_level,
    flux_density_level,
    heating_field_level,
)

WORK, PUBLIC = "occupational", "general public"
# frequency Hz, printed value on the left row, printed value on the right row, as the formulas in print give them (T)
BREAKS = {
    WORK: [
        (8.0, 0.2 / 64, 2.5e-2 / 8),
        (25.0, 2.5e-2 / 25, 1e-3),
        (300.0, 1e-3, 0.3 / 300),
        (3e3, 0.3 / 3e3, 1e-4),
    ],
    PUBLIC: [
        (8.0, 0.04 / 64, 0.5e-2 / 8),
        (25.0, 0.5e-2 / 25, 0.2e-3),
        (50.0, 0.2e-3, 0.2e-3),
        (400.0, 0.2e-3, 0.08 / 400),
        (3e3, 0.08 / 3e3, 0.27e-4),
    ],
}


@pytest.mark.parametrize("group", BREAKS)
def test_flux_density_at_and_around_every_breakpoint(group):
    for frequency, left, right in BREAKS[group]:
        assert flux_density_level(frequency, group) == pytest.approx(min(left, right), rel=1e-12)
        assert flux_density_level(frequency * (1 - 1e-12), group) == pytest.approx(left, rel=1e-10)
        assert flux_density_level(frequency * (1 + 1e-12), group) == pytest.approx(right, rel=1e-10)


@pytest.mark.parametrize(
    ("frequency", "group", "tesla"),
    [
        (1.0, WORK, 0.2),
        (1.0, PUBLIC, 0.04),
        (50.0, WORK, 1e-3),
        (60.0, PUBLIC, 2e-4),
        (1e3, WORK, 3e-4),
        (10e3, WORK, 1e-4),
        (100e3, WORK, 1e-4),
        (1e7, WORK, 1e-4),
        (10e3, PUBLIC, 2.7e-5),
        (350e3, PUBLIC, 2.7e-5),
        (1e7, PUBLIC, 2.7e-5),
    ],
)
def test_flux_density_inside_the_rows(frequency, group, tesla):
    assert flux_density_level(frequency, group) == pytest.approx(tesla, rel=1e-12)


@pytest.mark.parametrize(
    ("frequency", "group", "volt_per_metre"),
    [
        (8.0, WORK, 20e3),
        (60.0, WORK, 8333.0),
        (3e3, WORK, 500e3 / 3e3),
        (100e3, WORK, 170.0),
        (50.0, PUBLIC, 5e3),
        (60.0, PUBLIC, 4167.0),
        (100e3, PUBLIC, 83.0),
    ],
)
def test_electric_field(frequency, group, volt_per_metre):
    assert electric_field_level(frequency, group) == pytest.approx(volt_per_metre, rel=1e-4)


@pytest.mark.parametrize(
    ("frequency", "work", "public"),
    [(2.5e3, 1e-3, 0.5e-3), (50e3, 20e-3, 10e-3), (1e5, 40e-3, 20e-3), (1e7, 40e-3, 20e-3)],
)
def test_contact_current(frequency, work, public):
    assert contact_current_level(frequency, WORK) == pytest.approx(work, rel=1e-12)
    assert contact_current_level(frequency, PUBLIC) == pytest.approx(public, rel=1e-12)


@pytest.mark.parametrize(
    ("megahertz", "group", "ampere_per_metre"),
    [
        (0.1, WORK, 108.0),
        (0.45, WORK, 24.0),
        (1.0, WORK, 10.8),
        (0.1, PUBLIC, 49.0),
        (0.45, PUBLIC, 10.8889),
        (1.0, PUBLIC, 4.9),
    ],
)
def test_heating_field(megahertz, group, ampere_per_metre):
    assert heating_field_level(megahertz * 1e6, group) == pytest.approx(ampere_per_metre, rel=1e-5)


def test_printed_field_strengths_match_the_flux_densities():
    """The 2010 tables give 80 and 21 A/m beside 100 and 27 uT, rounded."""
    assert pytest.approx(79.577, abs=1e-3) == 1e-4 / MU0
    assert pytest.approx(21.486, abs=1e-3) == 2.7e-5 / MU0


def test_above_100_khz_both_guidelines_apply_and_the_stricter_leads():
    assert [level.protects_from for level in applicable_levels(99e3, PUBLIC)] == ["nerve stimulation"]
    at_350 = applicable_levels(350e3, PUBLIC)
    assert at_350[0].protects_from == "local heating"
    assert at_350[0].flux_density == pytest.approx(MU0 * 4.9 / 0.35, rel=1e-12)
    eased = applicable_levels(350e3, PUBLIC, duty=0.25)
    assert eased[0].protects_from == "nerve stimulation"  # 6 min averaging eases heating only
    assert eased[1].flux_density == pytest.approx(2.0 * at_350[0].flux_density, rel=1e-12)


@pytest.mark.parametrize("frequency", [0.5, 2e7, math.inf])
def test_outside_the_table_is_refused(frequency):
    with pytest.raises(BadInput, match="must lie in"):
        flux_density_level(frequency, WORK)
