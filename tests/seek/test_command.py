"""`coilwright seek` at the command line: what it prints, writes, refuses, and how it survives being killed."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

import coilwright as cw
from coilwright.cli.main import main
from coilwright.seek.record import NAME
from coilwright.steps.seek import seek

from .jobs import SEEK, WASHER, washer

LOWER = ('"-8 mm"', '"-10 mm"')
SMALL = ["--evaluations", "8", "--points", "1", "--workers", "1"]


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.toml").write_text((WASHER + SEEK).replace(*LOWER), encoding="utf-8")
    return tmp_path


def run(*words):
    try:
        main([str(w) for w in words])
    except SystemExit as leave:
        return leave.code or 0
    return 0


def test_it_answers_in_text_and_writes_job_files_and_pictures(job, capsys):
    assert run("seek", "job.toml", *SMALL, "--out", "out") == 0
    said = capsys.readouterr().out
    aims = "that no other beats in time (less), coil kVA (less)"
    for words in (aims, "point-01.toml", "as drawn", "* balanced", "who decides"):
        assert words in said
    assert {"front.png", "choices.png", "point-01.toml", NAME} <= {p.name for p in (job / "out").iterdir()}
    assert run("heat", "out/point-01.toml", "--json") == 0
    shot = json.loads(capsys.readouterr().out)
    assert run("seek", "job.toml", *SMALL, "--out", "out", "--resume", "--json") == 0
    out, err = capsys.readouterr()
    found = json.loads(out)  # one object and nothing else
    assert err == ""
    assert set(found) >= {"front", "balanced", "as_drawn", "stopped", "findings", "cautions", "better_than_drawn"}
    assert shot["accept"][0]["reached_at_s"] == found["front"][0]["figures"]["time_s"]
    assert found["evaluations"] == 8
    assert [p for p in found["files"] if p.endswith("front.png")]


def test_nothing_that_passes_ends_with_one(job, capsys):
    text = (job / "job.toml").read_text(encoding="utf-8").replace('"200 degC"', '"1300 degC"')
    (job / "job.toml").write_text(text, encoding="utf-8")
    assert run("seek", "job.toml", *SMALL, "--out", "out") == 1
    said = capsys.readouterr().out
    assert "none of 8 points passes. Most are stopped by [" in said
    assert "nearest" in said
    assert "as drawn the job does not pass" in said
    assert not (job / "out" / "front.png").exists()
    assert (job / "out" / "point-01.toml").exists()


def test_bad_input_ends_with_two_and_a_sentence(job, capsys, monkeypatch):
    monkeypatch.setattr("coilwright.seek.workers._WAIT", 1.0)
    assert run("seek", "job.toml", "--resume") == 2
    assert "--out" in capsys.readouterr().err
    assert run("seek", "job.toml", "--resume", "--out", "nowhere") == 2
    assert "no search to carry on" in capsys.readouterr().err
    assert not (job / "nowhere").exists()
    (job / "bare.toml").write_text(WASHER, encoding="utf-8")
    assert run("seek", "bare.toml", "--json") == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["error"]["faults"][0]["where"] == "bare.toml: seek"
    assert "[[seek.over]]" in err
    assert run("seek", "job.toml", "--scheduler", "tcp://127.0.0.1:1", *SMALL) == 2
    assert "no dask scheduler answers" in capsys.readouterr().err


def test_a_missing_cluster_package_names_its_extra(job, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert run("seek", "job.toml", "--scheduler", "tcp://127.0.0.1:8786") == 3
    assert "coilwright[cluster]" in capsys.readouterr().err


def lines_of(record):
    return record.read_text(encoding="utf-8").count("\n") if record.exists() else 0


def test_a_killed_search_carries_on_to_the_same_front(job, capsys):
    """kill -9 in the middle, with two workers; meanwhile nobody else may write to the record."""
    words = ["seek", "job.toml", "--evaluations", "9", "--points", "1", "--workers", "2", "--out", "out"]
    search = subprocess.Popen(
        [sys.executable, "-m", "coilwright", *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    record = job / "out" / NAME
    try:
        until = time.monotonic() + 120.0
        while lines_of(record) < 4 and time.monotonic() < until and search.poll() is None:
            time.sleep(0.02)
        os.kill(search.pid, signal.SIGSTOP)
        assert run(*words) == 2
        assert "being written by another search" in capsys.readouterr().err
    finally:
        os.kill(search.pid, signal.SIGKILL)
        search.wait()
    kept = lines_of(record)
    assert 4 <= kept < 12
    assert run(*words, "--resume", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    straight = seek(washer(SEEK, LOWER), cw.seek.Effort(evaluations=9, most=1, processes=1)).to_dict()
    assert json.dumps(found["front"]) == json.dumps(straight["front"])
    assert found["stopped"] == straight["stopped"]
    assert lines_of(record) > kept


def test_the_search_stays_out_of_the_way_until_it_is_asked_for():
    heavy = "{'pymoo', 'distributed', 'numpy'}"
    code = f"import sys, coilwright.cli.search; print(sorted({{m.split('.')[0] for m in sys.modules}} & {heavy}))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
