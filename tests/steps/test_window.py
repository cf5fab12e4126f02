"""The window of a job from its file: one object, one JSON object, pictures."""

import json
from pathlib import Path

import pytest

from coilwright.cli.main import main
from coilwright.errors import BadInput
from coilwright.job import load, loads
from coilwright.steps.window import window
from coilwright.window.effort import Effort
from tests.window.jobs import ring_job, single

EXAMPLE = Path(__file__).parents[2] / "examples" / "indicator-tube-getter" / "six-stations.toml"
VARIES = """
[[varies]]
what = "coil.centre"
by = "0.15 mm"
[[varies]]
what = "mains"
by = "1 %"
each = "common"
"""
SMALL = Effort(runs=14, fresh=4, refine=4, reshoot=4)


@pytest.fixture(scope="module")
def result():
    return window(ring_job(6, "80 mm", VARIES), shots=2000, effort=SMALL, map_size=12)


def test_one_station_back_scraps_one_part_in_six_unseen(result):
    # Common practice, no source: in a fixture of N stations fed together a coil pushed back scraps one part in N.
    back = next(s for s in result.sights if s.fault.name == "coil back 2 mm")
    assert back.scrap[0] > 0.95 and back.scrap[1] > 1 / 6 * 0.95
    hidden = next(s for s in result.sights if s.fault.name == "coil back 1 mm")
    assert not hidden.seen_at_terminals and hidden.cheapest.reading.at == "station"
    assert "window-invisible" in {f.code for f in result.findings}


def test_everything_is_there_and_is_plain_data(result):
    data = result.to_dict()
    text = json.dumps(data, default=lambda a: a.tolist())
    assert json.loads(text)["yield"]["parts"]["of"] == 12_000
    assert len(data["fixture"]["stations"]) == 6 and data["fixture"]["stations"][0]["start_time_s"] > 0
    assert {m["across"] for m in data["maps"]} == {"drive.on_time", "coil.centre"}
    assert data["error"]["runs"] == 22 and data["seed"] == 1
    assert (
        0.0 < data["yield"]["parts"]["low"] <= data["yield"]["parts"]["yield"] <= data["yield"]["parts"]["high"] <= 1.0
    )
    assert result.cautions[-1].hazard == "who decides"
    assert "yield" in repr(result)


def test_equal_seeds_give_equal_answers_on_any_number_of_processes(result):
    again = window(
        ring_job(6, "80 mm", VARIES), shots=2000, effort=Effort(14, 4, 4, 4, workers=2), map_size=12, observe=False
    )
    assert again.forecast.parts.good == result.forecast.parts.good
    assert again.variance.total == result.variance.total and again.sights == ()


def test_regulated_mains_change_nothing():
    job = ring_job(2, "80 mm", VARIES, control='"current"')
    told = window(job, shots=500, effort=SMALL, observe=False, maps=(("coil.centre", "mains"),), map_size=8)
    assert told.variance.total["mains"] == pytest.approx(0.0, abs=1e-12)
    assert {"window-regulated"} <= {f.code for f in told.findings}


def test_a_job_without_varies_says_what_to_write():
    with pytest.raises(BadInput, match=r"varies: is missing; say what is not always the same, e.g. \[\[varies\]\]"):
        window(single())
    with pytest.raises(BadInput, match="accept: is missing"):
        job = single()
        text = job.text[: job.text.index("[[accept]]")] + VARIES
        window(loads(text, "job.toml"))


def test_the_example_reads():
    job = load(EXAMPLE)
    assert job.later["fixture"]["stations"] == 6 and len(job.later["varies"]) == 9


def test_command_writes_json_and_pictures(tmp_path, capsys):
    job = tmp_path / "job.toml"
    job.write_text(ring_job(2, "80 mm", VARIES).text, encoding="utf-8")
    arguments = [
        "window",
        str(job),
        "--json",
        "--out",
        str(tmp_path / "out"),
        "--shots",
        "500",
        "--runs",
        "14",
        "--reshoot",
        "8",
        "--workers",
        "1",
    ]
    with pytest.raises(SystemExit) as leave:
        main([*arguments, "--map", "coil.centre,mains"])
    assert leave.value.code in (0, 1)
    data = json.loads(capsys.readouterr().out)
    assert len(data["files"]) == 6 and all(Path(f).stat().st_size > 5000 for f in data["files"])
    with pytest.raises(SystemExit) as leave:
        main(["window", str(job), "--map", "coil.centre"])
    assert leave.value.code == 2
    assert 'write e.g. "coil.centre,mains"' in capsys.readouterr().err
