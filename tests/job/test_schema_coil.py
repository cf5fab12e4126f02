"""The work coil of the job file."""

import pytest

from coilwright.errors import BadInput
from coilwright.job import load

from .making import HELIX, job

WIRE = 'conductor = { section = "round wire", diameter = "1 mm" }'


@pytest.mark.parametrize(
    ("conductor", "radial", "axial"),
    [
        ('section = "round tube", outside = "4 mm", bore = "2.5 mm"', 4e-3, 4e-3),
        ('section = "rectangular tube", width = "3 mm", height = "4.5 mm", wall = "1 mm"', 3e-3, 4.5e-3),
        ('section = "round wire", diameter = "1 mm"', 1e-3, 1e-3),
        ('section = "strip", width = "1 mm", height = "4 mm"', 1e-3, 4e-3),
        ('section = "litz", diameter = "3 mm", strands = 400, strand_diameter = "0.1 mm"', 3e-3, 3e-3),
    ],
)
def test_conductors(conductor, radial, axial):
    coil = job(conductor=f"conductor = {{ {conductor} }}").coil
    assert (coil.conductor.radial_size, coil.conductor.axial_size) == (radial, axial)
    assert coil.conductor.material == "copper"


def test_turns_may_be_a_fraction():
    assert job(coil=HELIX.replace("turns = 4", "turns = 3.5")).coil.turns == 3.5


def test_one_turn_needs_no_pitch():
    assert job(coil='winding = "helix"\nturns = 1\nmean_diameter = "24 mm"').coil.pitch is None


def test_spiral_pitch_is_between_centre_lines():
    spiral = job(coil='winding = "spiral"\nturns = 6\ninner_diameter = "40 mm"\nouter_diameter = "110 mm"').coil
    assert spiral.radial_pitch == pytest.approx(7e-3)


def test_turns_that_just_touch_are_let_through():
    """Touching turns of insulated tube are common; only an overlap is impossible."""
    assert job(coil=HELIX.replace('"5 mm"', '"4 mm"')).coil.pitch == 4e-3


def test_water_overrides_and_leads():
    conductor = (
        'conductor = { section = "strip", width = "1 mm", height = "4 mm", overrides = { resistivity = "20 nohm m" } }'
    )
    coil = job(
        coil=HELIX + '\nwater_temperature = "30 degC"\nleads = { length = "12 cm", spacing = "8 mm" }',
        conductor=conductor,
    )
    assert coil.coil.water_temperature == pytest.approx(303.15)
    assert coil.coil.conductor.overrides.resistivity == pytest.approx(20e-9)
    assert coil.coil.leads.length == 0.12


@pytest.mark.parametrize(
    ("coil", "conductor", "says"),
    [
        (
            'winding = "spiral"\nturns = 1\ninner_diameter = "40 mm"\nouter_diameter = "50 mm"',
            WIRE,
            "more than one turn, not 1",
        ),
        (
            'winding = "spiral"\nturns = 3\ninner_diameter = "60 mm"\nouter_diameter = "50 mm"',
            WIRE,
            '"60 mm" is not below',
        ),
        ('winding = "turns"\nturn = []', WIRE, "at least 1 entries, not 0"),
        ('winding = "turns"\nturn = [{ mean_diameter = "1 mm", z = "0 mm" }]', WIRE, "turn 1 crosses the axis"),
        (
            'winding = "turns"\nturn = [{ mean_diameter = "9 mm", z = "0 mm" }, { mean_diameter = "9 mm", z = "3 mm" }]',
            'conductor = { section = "strip", width = "1 mm", height = "4 mm" }',
            "turns 1 and 2 overlap",
        ),
        (HELIX, 'conductor = { section = "strip", width = "1 mm", height = "6 mm" }', "the turns overlap"),
        (
            HELIX,
            'conductor = { section = "rectangular tube", width = "3 mm", height = "3 mm", wall = "1.5 mm" }',
            "leave a bore",
        ),
        (
            HELIX,
            'conductor = { section = "litz", diameter = "3 mm", strands = 4.5, strand_diameter = "1 mm" }',
            "a whole number",
        ),
    ],
)
def test_is_refused(coil, conductor, says):
    with pytest.raises(BadInput, match=says):
        job(coil=coil, conductor=conductor)


def test_diagonal_neighbours_of_round_wire_need_not_overlap():
    """Two round turns half a diameter apart in r and in z touch corner to corner as squares, but not as circles."""
    turns = 'winding = "turns"\nturn = [{ mean_diameter = "9 mm", z = "0 mm" }, { mean_diameter = "10.6 mm", z = "0.8 mm" }]'
    assert len(job(coil=turns, conductor=WIRE).coil.turn) == 2
    with pytest.raises(BadInput, match="overlap"):
        job(coil=turns, conductor='conductor = { section = "strip", width = "1 mm", height = "1 mm" }')


def test_helix_of_the_example():
    from pathlib import Path

    coil = load(Path(__file__).parents[2] / "examples" / "indicator-tube-getter" / "job.toml").coil
    lowest = coil.centre - 0.5 * (coil.turns - 1) * coil.pitch
    assert lowest == pytest.approx(8e-3)  # as its comment says
