"""The page on trials runs, on the example's own trace and sheet."""

import re
import shlex
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from coilwright.cli.main import main
from coilwright.trials.sheet import read_sheet, sheet_from
from tests.trials.jobs import RING, ring_job, trace_of_job

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "indicator-tube-getter"
PAGE = (ROOT / "docs" / "trial.md").read_text(encoding="utf-8")


def run_the_page():
    for line in "".join(re.findall(r"^```sh\n(.*?)^```", PAGE, re.M | re.S)).splitlines():
        try:
            main(shlex.split(line)[1:])
        except SystemExit as leave:
            assert leave.code in (0, None), line


def test_the_page_runs_on_a_cheap_job(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.toml").write_text(RING, encoding="utf-8")
    (tmp_path / "trial.toml").write_text('[trial]\nname = "T-1"\n', encoding="utf-8")
    trace = trace_of_job(ring_job(), np.random.default_rng(1), until=14.0)
    rows = [f"{t:.2f},{k - 273.15:.1f}" for t, k in zip(trace.time, trace.channels["TC"], strict=True)]
    (tmp_path / "trial.csv").write_text("time [s],TC [degC]\n" + "\n".join(rows) + "\n")
    run_the_page()
    assert "emissivity" in capsys.readouterr().out
    assert (tmp_path / "out" / "job-fitted.toml").exists()


@pytest.mark.slow
def test_the_page_runs_on_its_example(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for name in ("job.toml", "trial.csv", "trial.toml"):
        shutil.copy(EXAMPLE / name, tmp_path)
    run_the_page()
    # made with 127 A, 0.52 and 0.8 mW/K where the job says 132 A, 0.6 and 0.5 mW/K
    assert re.search(r"power\s+drive.coil_current\s+132 A\s+12[5-9]", capsys.readouterr().out)


def test_sheets_on_the_page_and_in_the_example_are_sheets():
    (text,) = re.findall(r"^```toml\n(.*?)^```", PAGE, re.M | re.S)
    assert sheet_from(tomllib.loads(text), "page").trial.name == "T-014"
    assert read_sheet(EXAMPLE / "trial.toml").event[0].sigma == 0.1


def test_demonstration_data_say_that_they_are_invented():
    for name in ("trial.csv", "trial.toml"):
        assert "INVENTED" in (EXAMPLE / name).read_text(encoding="utf-8")
