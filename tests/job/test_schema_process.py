"""Drive, acceptance, points and pairs."""

import pytest

from coilwright.errors import BadInput

from .making import DRIVE, job

STEPS = """
[[drive.step]]
from = "0 s"
to = "3 s"
level = 0.5
[[drive.step]]
from = "4 s"
to = "6 s"
level = 1
"""


def test_without_a_programme_the_level_is_one_during_the_shot():
    drive = job().drive
    assert [drive.level_at(t) for t in (0.0, 7.999, 8.0, 9.0)] == [1.0, 1.0, 0.0, 0.0]
    assert drive.switch_times == (0.0, 8.0)


def test_a_programme_is_off_between_and_after_its_steps():
    drive = job(drive=DRIVE, more=STEPS).drive
    assert [drive.level_at(t) for t in (0.0, 2.9, 3.5, 4.0, 5.9, 6.0)] == [0.5, 0.5, 0.0, 1.0, 1.0, 0.0]
    assert drive.switch_times == (0.0, 3.0, 4.0, 6.0, 8.0)
    assert drive.shot_time == 8.0


def test_a_programme_gives_the_length_of_the_shot():
    drive = job(drive=DRIVE.replace('on_time = "8 s"', ""), more=STEPS).drive
    assert drive.on_time is None
    assert drive.shot_time == 6.0


def test_current_through_the_ring_needs_no_coil():
    from coilwright.job import loads

    from .making import text

    whole = text(drive='frequency = "50 kHz"\nthrough = { body = "ring", current = "6 A" }')
    without_coil = whole[: whole.index("[coil]")] + whole[whole.index("[drive]") :]
    read = loads(without_coil)
    assert read.coil is None
    assert read.drive.through.current == 6.0


def test_a_source_may_decide_level_and_frequency():
    assert job(drive='on_time = "5 s"', more="[source]\nkind = 'bridge'\n[tank]\n").later == {
        "source": {"kind": "bridge"},
        "tank": {},
    }


def test_surroundings_have_usual_values_when_left_out():
    surroundings = job().surroundings
    assert (surroundings.temperature, surroundings.convection) == (293.15, 10.0)


@pytest.mark.parametrize(
    ("lines", "kind", "where"),
    [
        ('reaches = "850 degC"', "reaches", "coldest"),
        ('reaches = "850 degC"\nwithin = "5 s"\nat = "mean"', "reaches", "mean"),
        ('stays_below = "950 degC"', "stays_below", "hottest"),
        ('above = "800 degC"\nfor_at_least = "2 s"', "holds", "coldest"),
        ('above = "800 degC"\nfor_at_least = "2 s"\nat = "spot"', "holds", "spot"),
    ],
)
def test_acceptance(lines, kind, where):
    point = '[[point]]\nname = "spot"\nr = "3 mm"\nz = "0 mm"\n'
    accept = job(more=f'{point}[[accept]]\nbody = "ring"\n{lines}').accept[0]
    assert (accept.kind, accept.where) == (kind, where)


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('stays_below = "950 degC"\nwithin = "5 s"', "does not go with stays_below"),
        ('for_at_least = "5 s"', "above and for_at_least go together"),
        ('charge_fired = 0.9\nat = "mean"', "does not go with charge_fired"),
        ("charge_fired = 1.5", "must be at most 1, not 1.5"),
    ],
)
def test_acceptance_is_refused(lines, says):
    with pytest.raises(BadInput, match=says):
        job(more=f'[[accept]]\nbody = "ring"\n{lines}')


def test_pairs():
    second = (
        '[[body]]\nname = "lid"\nmaterial = "copper"\nshape = { kind = "disc", diameter = "9 mm", height = "1 mm" }\n'
    )
    read = job(
        more=f'{second}[[joint]]\nbodies = ["ring", "lid"]\ncontact = "500 W/m^2/K"\n'
        '[[contact]]\nbodies = ["lid", "ring"]\nconductance = "5 mW/K"'
    )
    assert read.joints[0].bodies == ("ring", "lid")
    assert read.joints[0].contact == 500.0
    assert read.contacts[0].conductance == 0.005
