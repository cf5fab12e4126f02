"""The job on the desk: edits of two tabs, undo, other programs, a killed server."""

import json

import pytest

from coilwright.bench.desk import Changed, Desk
from coilwright.errors import BadInput
from coilwright.job import load
from tests.bench.server import RING


@pytest.fixture
def path(tmp_path):
    file = tmp_path / "job.toml"
    file.write_text(RING, encoding="utf-8")
    return file


def test_a_change_keeps_comments_and_reaches_the_file_on_save(path):
    desk = Desk(path)
    desk.change({"coil.centre": "17 mm"})
    assert desk.dirty
    assert load(path).coil.centre == pytest.approx(0.01625)
    desk.save()
    assert not desk.dirty
    assert load(path).coil.centre == pytest.approx(0.017)
    text = path.read_text(encoding="utf-8")
    assert "the lowest turn then stands at 8 mm" in text
    assert len(text.splitlines()) == len(RING.splitlines())


def test_a_refused_change_changes_nothing(path):
    desk = Desk(path)
    before, revision = desk.text, desk.revision
    with pytest.raises(BadInput, match="no unit"):
        desk.change({"coil.centre": "17"})
    with pytest.raises(BadInput, match="leads nowhere"):
        desk.change({"body.nobody.centre": "17 mm"})
    assert (desk.text, desk.revision, desk.past) == (before, revision, [])


def test_undo_and_redo_walk_the_whole_way(path):
    desk = Desk(path)
    for place in ("17 mm", "18 mm", "19 mm"):
        desk.change({"coil.centre": place})
    assert desk.undo() == "coil.centre"
    assert desk.undo() == "coil.centre"
    assert desk.job.coil.centre == pytest.approx(0.017)
    desk.redo()
    assert desk.job.coil.centre == pytest.approx(0.018)
    desk.change({"coil.turns": 5})
    assert desk.redo() == ""
    for _ in range(5):
        desk.undo()
    assert desk.text == RING


def test_two_tabs_lose_no_edit(path):
    desk = Desk(path)
    seen = desk.revision  # by both tabs
    desk.change({"coil.centre": "17 mm"}, seen)
    desk.change({"body.ring.centre": "0.5 mm"}, seen)  # another key: both stand
    assert desk.job.coil.centre == pytest.approx(0.017)
    assert desk.job.body("ring").centre == pytest.approx(0.0005)
    with pytest.raises(BadInput, match="another tab"):
        desk.change({"coil.centre": "12.9 mm"}, seen)
    assert desk.job.coil.centre == pytest.approx(0.017)
    with pytest.raises(BadInput, match="another tab"):
        desk.rewrite(RING, base=seen)


def test_a_file_changed_by_another_program_is_noticed(path):
    desk = Desk(path)
    path.write_text(RING.replace('"16.25 mm"', '"20 mm"'), encoding="utf-8")
    assert desk.look_at_disk()
    assert desk.job.coil.centre == pytest.approx(0.020)  # nothing was edited here: the new text is taken
    assert "another program" in desk.notice
    desk.change({"coil.turns": 5})
    path.write_text(RING.replace('"16.25 mm"', '"21 mm"'), encoding="utf-8")
    with pytest.raises(Changed, match="another program"):
        desk.save()
    assert desk.job.coil.turns == 5
    desk.take_disk()
    assert desk.job.coil.centre == pytest.approx(0.021)
    desk.undo()
    assert desk.job.coil.turns == 5
    desk.save(over=True)
    assert load(path).coil.turns == 5


def test_a_text_with_faults_is_kept_and_told(path):
    desk = Desk(path)
    desk.rewrite(RING.replace('"16.25 mm"', '"16.25"'))
    assert desk.job is None
    assert "no unit" in str(desk.faults[0])
    with pytest.raises(BadInput, match="no unit"):
        desk.change({"coil.turns": 5})
    desk.undo()
    assert desk.job is not None


def test_edits_survive_a_killed_server(path):
    first = Desk(path)
    first.change({"coil.centre": "17 mm"})
    first.change({"coil.turns": 5})
    again = Desk(path)
    assert again.job.coil.turns == 5
    assert "not saved" in again.notice
    again.undo()
    assert again.job.coil.turns == 4
    assert again.job.coil.centre == pytest.approx(0.017)


def test_edits_of_last_time_are_one_undo_away_when_the_file_has_changed(path):
    Desk(path).change({"coil.turns": 5})
    path.write_text(RING.replace('"16.25 mm"', '"20 mm"'), encoding="utf-8")
    again = Desk(path)
    assert again.job.coil.turns == 4
    assert again.job.coil.centre == pytest.approx(0.020)
    again.undo()
    assert again.job.coil.turns == 5


@pytest.mark.parametrize(
    "kept", ["", "{", "[]", '{"now": 5}', json.dumps({"now": ["x"], "past": 1, "future": [], "file": ""})]
)
def test_a_broken_keeper_is_passed_over(path, kept):
    keeper = Desk(path)._keeper
    keeper.parent.mkdir(exist_ok=True)
    keeper.write_text(kept, encoding="utf-8")
    assert Desk(path).text == RING


def test_windows_line_ends_stay(path):
    path.write_bytes(RING.replace("\n", "\r\n").encode())
    desk = Desk(path)
    desk.change({"coil.centre": "17 mm"})
    desk.save()
    data = path.read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == RING.count("\n")
