"""Long work on disk: kept, stopped, told in words when it fails, found again."""

import contextlib
import json
import os
import subprocess
import sys

import pytest

from coilwright.bench.studies import Studies
from coilwright.bench.study_run import run
from tests.bench.server import RING, SHORT, wait_for


def until_ended(studies, number, seconds=40):
    def ended():
        studies.look()
        return next(s for s in studies.listed if s.number == number).ended

    wait_for(ended, seconds)
    return next(s for s in studies.listed if s.number == number)


@contextlib.contextmanager
def opened(tmp_path, job):
    made = Studies(tmp_path / ".coilwright", job)
    yield made
    made.close()
    for child in made._children:
        child.kill()
        child.wait()


@pytest.fixture
def studies(tmp_path):
    with opened(tmp_path, "job") as made:
        yield made


def test_a_study_runs_by_itself_and_is_found_again(studies, tmp_path):
    number = studies.begin("shot", "as opened", SHORT, tmp_path)
    assert number == 1
    done = until_ended(studies, number)
    assert (done.state, done.title, done.share) == ("done", "as opened", 1.0)
    again = Studies(tmp_path / ".coilwright", "job")
    assert [s.state for s in again.listed] == ["done"]
    result = again.result(1)
    assert result["passed"] is True
    assert len(result["play"]["frames"]) == len(result["play"]["time_s"])
    assert json.loads(json.dumps(result, allow_nan=False)) == result
    again.forget(1)
    assert again.listed == [] and not (again.root / "1").exists()


def test_a_running_study_stops_when_asked(studies, tmp_path):
    number = studies.begin("shot", "long", RING, tmp_path, {"fine": True})
    studies.stop(number)
    assert until_ended(studies, number).state == "stopped"
    assert studies.result(number) is None


def test_more_than_two_wait_their_turn(studies, tmp_path):
    numbers = [studies.begin("shot", str(n), SHORT, tmp_path) for n in range(3)]
    assert [s.state for s in sorted(studies.listed, key=lambda s: s.number)] == ["running", "running", "waiting"]
    assert {until_ended(studies, n).state for n in numbers} == {"done"}


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("shot", "format = 1\n", "job.toml"),
        ("shot", RING.replace('"16.25 mm"', '"5 mm"'), "overlap"),
        ("nothing", RING, "fault of coilwright"),
    ],
)
def test_a_study_that_fails_says_why(tmp_path, kind, text, said):
    folder = tmp_path / "1"
    folder.mkdir()
    (folder / "job.toml").write_text(text, encoding="utf-8")
    (folder / "asked.json").write_text(
        json.dumps({"kind": kind, "settings": {}, "folder": str(tmp_path)}), encoding="utf-8"
    )
    run(folder)
    progress = json.loads((folder / "progress.json").read_text(encoding="utf-8"))
    assert progress["state"] == "failed"
    assert said in progress["said"]


def test_a_study_whose_process_has_gone_is_lost_not_running(tmp_path):
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    folder = tmp_path / "studies" / "job" / "1"
    folder.mkdir(parents=True)
    (folder / "asked.json").write_text(json.dumps({"kind": "shot", "title": "x"}), encoding="utf-8")
    (folder / "progress.json").write_text(json.dumps({"state": "running", "pid": gone.pid}), encoding="utf-8")
    assert Studies(tmp_path, "job").listed[0].state == "lost"
    (folder / "progress.json").write_text(json.dumps({"state": "running", "pid": os.getpid()}), encoding="utf-8")
    assert Studies(tmp_path, "job").listed[0].state == "running"


def test_a_refusal_names_the_file_that_was_asked_about(tmp_path):
    """The copy in the study's folder is always called job.toml; the file on the desk is not."""
    with opened(tmp_path, "ferrule") as own:
        failed = until_ended(own, own.begin("tank", "", SHORT, tmp_path))
    assert failed.state == "failed"
    assert "ferrule.toml" in failed.said
