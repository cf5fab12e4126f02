"""What a drag means for the job file."""

import pytest

from coilwright.bench.folder import Folder
from coilwright.bench.moves import apart, moved, typed, values_of
from coilwright.bench.parts import figures, si
from coilwright.errors import BadInput
from coilwright.job import loads, template
from coilwright.section.build import coil_turns
from tests.bench.server import RING

JOB = loads(RING)


def test_a_turn_of_a_helix_takes_the_winding_with_it():
    assert moved(JOB, "turn:2", 0.0005, 0.001) == {"coil.centre": "17.25 mm", "coil.mean_diameter": "25 mm"}


def test_bodies_and_points_move():
    assert moved(JOB, "body:ring", 0.0, -0.00025) == {'body."ring".centre': "-0.25 mm"}
    assert moved(JOB, "point:pyrometer spot", 0.001, 0.0) == {'point."pyrometer spot".r': "6.75 mm"}
    assert moved(JOB, "point:pyrometer spot", -1.0, 0.0)['point."pyrometer spot".r'] == "0 mm"


@pytest.mark.parametrize("item", ["body:nobody", "turn", "", "point:", "elsewhere:x"])
def test_what_is_not_in_the_job_is_refused(item):
    job = loads(template("pancake-under-disc"))
    with pytest.raises(BadInput, match="not in the job"):
        moved(
            job
            if item != "turn"
            else JOB.with_values(
                {"drive.through": {"body": "ring", "current": "6 A"}, "drive.coil_current": None, "coil": None}
            ),
            item,
            0.0,
            0.001,
        )


def test_a_spiral_keeps_its_width_when_it_moves_out():
    job = loads(template("pancake-under-disc"))
    changes = moved(job, "turn:1", 0.001, 0.0)
    after = job.with_values(changes).coil
    assert after.outer_diameter - after.inner_diameter == pytest.approx(
        job.coil.outer_diameter - job.coil.inner_diameter
    )
    assert after.inner_diameter == pytest.approx(job.coil.inner_diameter + 0.002)


def test_turns_taken_apart_stand_where_they_stood_and_move_alone():
    listed = JOB.with_values(apart(JOB))
    before, after = coil_turns(JOB.coil)[0], coil_turns(listed.coil)[0]
    assert [(t.r, t.z) for t in after] == [pytest.approx((t.r, t.z)) for t in before]
    assert loads(listed.text).coil == listed.coil
    one = listed.with_values(moved(listed, "turn:4", 0.001, 0.002))
    assert one.coil.turn[3].z == pytest.approx(listed.coil.turn[3].z + 0.002)
    assert one.coil.turn[3].mean_diameter == pytest.approx(0.026)
    assert one.coil.turn[:3] == listed.coil.turn[:3]
    every = listed.with_values(moved(listed, "winding:", 0.0, 0.001))
    assert [t.z for t in every.coil.turn] == pytest.approx([t.z + 0.001 for t in listed.coil.turn])


def test_typed_values_keep_their_kind():
    assert typed(" 5 ", 4) == 5
    assert typed("3.5", 4) == 3.5
    assert typed("half", 0.5) == "half"
    assert typed("true", False) is True
    assert typed(" 17 mm", "16 mm") == "17 mm"


def test_every_typed_key_leads_somewhere():
    for item in ("body:ring", "body:bulb", "turn:1", "point:pyrometer spot", ""):
        for key, _, value in values_of(JOB, item):
            assert JOB.with_value(key, value).bodies == JOB.bodies


def test_figures_are_escaped_and_scaled():
    assert "<script>" not in figures([("<script>", "<b>", '"')])
    assert si(0.00321, "ohm") == "3.21 mohm"
    assert si(350e3, "Hz", 5) == "350 kHz"
    assert si(999.96, "W") == "1 kW"
    assert si(None, "V") == "–"
    assert si(-0.5, "W") == "-500 mW"


@pytest.mark.parametrize("name", ["../x.toml", "/etc/passwd", "a/../../x.toml", "", "\x00", "x" * 600])
def test_no_way_out_of_the_folder(tmp_path, name):
    with pytest.raises(BadInput):
        Folder(tmp_path).place(name)


def test_a_link_out_of_the_folder_is_not_followed(tmp_path):
    inside, outside = tmp_path / "in", tmp_path / "job.toml"
    inside.mkdir()
    outside.write_text(RING, encoding="utf-8")
    (inside / "link.toml").symlink_to(outside)
    with pytest.raises(BadInput, match="out of the opened folder"):
        Folder(inside).job("link.toml")


def test_jobs_of_a_folder(tmp_path):
    (tmp_path / "job.toml").write_text(RING, encoding="utf-8")
    (tmp_path / "other.toml").write_text("[tool]\nx = 1\n", encoding="utf-8")
    (tmp_path / ".coilwright").mkdir()
    (tmp_path / ".coilwright" / "copy.toml").write_text(RING, encoding="utf-8")
    folder = Folder(tmp_path)
    assert folder.jobs() == ["job.toml"]
    with pytest.raises(BadInput, match="is there already"):
        folder.new("job.toml")
    with pytest.raises(BadInput, match="plain file name"):
        folder.new("../job.toml")
