"""Text to SI and back."""

import pytest

from coilwright.units import _EVERYDAY, KINDS, UnitFault, _asked, factor, parse, show


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("9 mm", "length", 0.009),
        ("1.5in", "length", 0.0381),
        ("0.72 uohm m", "resistivity", 0.72e-6),
        ("20 degC", "temperature", 293.15),
        ("68 degF", "temperature", 293.15),
        ("10 W/m^2/K", "heat_transfer", 10.0),
        ("10 W/m²/K", "heat_transfer", 10.0),
        ("2 mW/K", "conductance", 0.002),
        ("5 degC", "temperature_difference", 5.0),
        ("-250 ppm/K", "temperature_coefficient", -250e-6),
        ("1.5 L/min", "flow", 2.5e-5),
        ("76 kvar", "reactive_power", 76e3),
        ("600 1/h", "rate", 600 / 3600),
    ],
)
def test_parse(text, kind, value):
    assert parse(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_example_in_the_table_parses(kind):
    assert parse(KINDS[kind][1], kind) != 0.0


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("9", "length", '"9" has no unit; write e.g. "9 mm"'),
        (9, "length", "9 has no unit"),
        ("1 500 Hz", "frequency", "spaces inside"),
        ("1,5 mm", "length", "decimal comma"),
        ("9 kg", "length", "is not a length"),
        ("-300 degC", "temperature", "below absolute zero"),
        ("nan mm", "length", "does not begin with a number"),
        ("1e999 mm", "length", "not a finite"),
        ("9 mm; import os", "length", "is not a length"),
        (None, "length", "has no unit"),
        ("", "time", "does not begin with a number"),
    ],
)
def test_refused(text, kind, says):
    with pytest.raises(UnitFault, match=says.replace("(", r"\(").replace("?", r"\?")):
        parse(text, kind)


def test_show():
    assert show(0.009, "mm") == "9 mm"
    assert show(293.15, "degC") == "20 degC"
    assert show(1.5 * 0.0254, "mm", 6) == "38.1 mm"


@pytest.mark.parametrize("unit", sorted({unit for unit, _ in _EVERYDAY}))
def test_everyday_factors_and_refusals_are_those_of_the_unit_library(unit):
    quantity = _asked(unit)
    for si_unit in sorted({si for si, _ in KINDS.values()}):
        if quantity.is_compatible_with(si_unit):
            assert factor(unit, si_unit) == pytest.approx(float(quantity.to(si_unit).magnitude), rel=1e-14)
        else:
            with pytest.raises(UnitFault, match="wanted kind"):
                factor(unit, si_unit)
