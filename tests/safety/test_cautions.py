"""Cautions of a job and the emission note."""

import pytest

from coilwright.errors import BadInput
from coilwright.safety.cautions import Facts, cautions
from coilwright.safety.emission import emission_note
from coilwright.safety.exposure import exposure_distance
from coilwright.safety.stored import Store


def hazards(facts):
    return [c.hazard for c in cautions(facts)]


def test_the_least_that_is_always_said():
    assert hazards(Facts(100e3)) == [
        "live coil and leads",
        "implants",
        "rings and watches",
        "radio emission",
        "who decides",
    ]


def test_everything_that_can_be_computed_is():
    facts = Facts(
        frequency=350e3,
        coil_voltage=120.0,
        tank_voltage=485.0,
        stores=(Store("the DC link", 1000e-6, 330.0, 22e3), Store("the tank", 146e-9, 686.0)),
        distances=(exposure_distance(lambda d: 5e-8 / d**3, 350e3),),
        water_cooled=True,
        water_outlet=313.15,
        hottest_part=1123.15,
        evacuated_glass=True,
        toxic_charge=True,
        flux_or_filler=True,
        protective_gas=True,
    )
    found = {c.hazard: c for c in cautions(facts)}
    assert "120 V rms, above" in found["live coil and leads"].figure
    assert "686 V peak" in found["tank voltage"].figure
    stored = [c.figure for c in cautions(facts) if c.hazard == "stored charge"]
    assert stored[0].startswith("54.5 J at 330 V, 38 s")
    assert "may stay charged" in stored[1]
    assert found["magnetic field"].figure == "0.14 m to 17.6 uT rms at 350 kHz"
    assert "2020" in found["magnetic field"].source.citation
    assert found["cooling water"].figure == "water leaves at 40 degC"
    assert "850 degC" in found["hot part"].figure
    for hazard in ("evacuated glass", "toxic charge", "fumes", "gas", "leaks"):
        assert hazard in found
    assert list(found)[-1] == "who decides"


def test_each_caution_is_one_line_that_tells_what_to_do():
    facts = Facts(20e3, evacuated_glass=True, toxic_charge=True, water_cooled=True, hottest_part=1700.0)
    for caution in cautions(facts):
        assert "\n" not in str(caution)
        assert len(caution.text) < 130
        assert caution.text[0].isupper()
        assert caution.text.endswith(".")
    assert "light" in hazards(facts)


def test_the_last_word_is_local_codes_and_licensed_practice():
    last = cautions(Facts(10e3))[-1]
    assert "Local codes and licensed practice decide" in last.text


@pytest.mark.parametrize("frequency", [10e3, 100e3, 350e3, 6.78e6])
def test_an_induction_heater_is_group_2(frequency):
    """CISPR 11 clause 5; the groups are swapped on some pages."""
    note = emission_note(frequency)
    assert note.group == 2
    assert note.equipment_class == "A"
    assert note.text.startswith("Group 2 class A")


def test_bands_and_harmonics():
    assert emission_note(6.78e6).in_ism_band
    assert not emission_note(350e3).in_ism_band
    assert (1, "time signal") in emission_note(77.5e3).meets
    assert (3, "medium-wave broadcast") in emission_note(300e3).meets
    assert emission_note(50e3, residential=True).equipment_class == "B"
    with pytest.raises(BadInput, match="9 kHz"):
        emission_note(1e3)
