"""Changing one value: comments, order and everything else stay."""

import tomllib

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.job import load, loads, set_value, template
from coilwright.job.edit import split_key

from .making import job, text

COMMENTED = (
    text()
    .replace('centre = "12 mm"', 'centre = "12 mm"   # by the setting block')
    .replace("[coil]", "# the coil\n[coil]")
)


def test_only_that_value_changes():
    assert set_value(COMMENTED, "coil.centre", "13 mm") == COMMENTED.replace('"12 mm"', '"13 mm"')


@pytest.mark.parametrize(
    ("key", "value", "before", "after"),
    [
        ("body.ring.shape.height", "1 mm", 'height = "0.6 mm"', 'height = "1 mm"'),
        ("body.1.shape.height", "1 mm", 'height = "0.6 mm"', 'height = "1 mm"'),
        ("coil.turns", 3.5, "turns = 4", "turns = 3.5"),
        ("coil.conductor.bore", "2 mm", 'bore = "2.5 mm"', 'bore = "2 mm"'),
        ("drive.on_time", None, 'on_time = "8 s"\n', ""),
    ],
)
def test_keys(key, value, before, after):
    assert set_value(COMMENTED, key, value) == COMMENTED.replace(before, after)


def test_a_key_or_a_section_that_was_not_there_is_added():
    changed = set_value(set_value(COMMENTED, "surroundings.temperature", "30 degC"), "body.ring.emissivity", 0.4)
    read = loads(changed)
    assert read.surroundings.temperature == pytest.approx(303.15)
    assert read.body("ring").emissivity == 0.4
    assert "# by the setting block" in changed


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ("body.rnig.centre", 'leads nowhere: "rnig" is not in the file; did you mean "ring"?'),
        ("body.7.centre", 'leads nowhere: "7" is not in the file; known are ring'),
        ("coil.turns.x", '"turns" is a value, not a table'),
        ("coil.leads", "cannot be taken out, it is not there"),
        ("", "is not a dotted key"),
        ("coil..turns", "is not a dotted key"),
        ('coil."turns', "is not a dotted key"),
        ("coil.", "is not a dotted key"),
    ],
)
def test_keys_that_lead_nowhere(key, says):
    with pytest.raises(BadInput) as caught:
        set_value(COMMENTED, key, None)
    assert says in str(caught.value)


def test_values_toml_cannot_hold():
    with pytest.raises(BadInput, match="cannot hold a object"):
        set_value(COMMENTED, "coil.turns", object())


def test_text_that_is_not_toml():
    with pytest.raises(BadInput, match="the file is not TOML"):
        set_value("[coil", "coil.turns", 3)


def test_names_with_points_stand_in_quotes():
    assert split_key('body."6.3 mm pin".centre') == ["body", "6.3 mm pin", "centre"]
    named = COMMENTED.replace('name = "ring"', 'name = "6.3 mm ring"')
    assert 'centre = "1 mm"' in set_value(named, 'body."6.3 mm ring".centre', "1 mm")


def test_a_job_with_one_value_changed():
    before = loads(COMMENTED)
    after = before.with_value("coil.centre", "13 mm")
    assert (before.coil.centre, after.coil.centre) == (0.012, 0.013)
    assert after.text == COMMENTED.replace('"12 mm"', '"13 mm"')
    assert loads(after.text) == after
    assert before.text == COMMENTED


def test_several_changes_are_checked_together():
    """Each alone would be refused: no level, and two of them."""
    changed = job().with_values({"drive.coil_current": None, "drive.coil_power": "1 kW"})
    assert changed.drive.coil_power == 1000.0
    assert changed.drive.coil_current is None


def test_changes_add_up():
    changed = (
        job()
        .with_value("coil.centre", "13 mm")
        .with_value("body.ring.centre", "-1 mm")
        .with_value("coil.centre", "14 mm")
    )
    assert (changed.coil.centre, changed.body("ring").centre) == (0.014, -0.001)
    assert loads(changed.text) == changed


def test_a_changed_job_is_checked():
    with pytest.raises(BadInput, match=r'job.toml: coil.centre: "13" has no unit; write e.g. "12 mm"'):
        job().with_value("coil.centre", "13")


def test_numbers_of_numpy_are_taken():
    assert job().with_value("coil.turns", np.float64(5.0)).coil.turns == 5.0


def test_programme_steps_go_by_their_place():
    steps = '[[drive.step]]\nfrom = "0 s"\nto = "3 s"\nlevel = 0.5\n[[drive.step]]\nfrom = "3 s"\nto = "6 s"\nlevel = 1'
    assert job(more=steps).with_value("drive.step.2.level", 0.8).drive.step[1].level == 0.8


def test_a_file_whose_bodies_stand_apart_is_changed_or_refused_but_never_spoilt():
    apart = (
        text()
        + '[[body]]\nname = "lid"\nmaterial = "copper"\nshape = { kind = "disc", diameter = "9 mm", height = "1 mm" }\n'
    )
    changed = loads(apart).with_value("body.lid.centre", "5 mm")
    assert changed.body("lid").centre == 0.005
    try:
        assert loads(changed.text) == changed
    except BadInput as error:
        assert "write each kind of table in one block" in str(error)


def test_drawings_are_still_found_after_a_change(tmp_path):
    (tmp_path / "part.dxf").write_text("0\nEOF\n", encoding="ascii")
    path = tmp_path / "job.toml"
    path.write_text(text(shape='shape = { kind = "drawing", file = "part.dxf" }'), encoding="ascii")
    assert load(path).with_value("coil.centre", "13 mm").folder == tmp_path


def test_every_comment_of_a_template_survives():
    before = template("ring-through-glass")
    after = (
        loads(before).with_values({"coil.centre": "17 mm", "body.bulb.centre": "1 mm", "accept.1.within": "7 s"}).text
    )
    assert [line.partition("#")[2] for line in before.splitlines()] == [
        line.partition("#")[2] for line in after.splitlines()
    ]


def test_a_list_of_tables_at_the_top_stands_under_headings_of_its_own():
    before = 'format = 1\n[tank]\nratio = 8  # eight\n\n[[capacitor]]\nname = "a"\n\n[source]\nkind = "x"  # as it is\n'
    new = [{"name": "b", "at": {"is": ["1 V", "2 V"]}}, {"name": "c", "parallel": 2}]
    after = set_value(before, "capacitor", new)
    assert tomllib.loads(after)["capacitor"] == new
    assert after.count("[[capacitor]]") == 2
    assert "# eight" in after
    assert "# as it is" in after
