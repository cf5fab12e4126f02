"""The getter example through the page in a real browser: what the page shows is what the command line says of the same job.

One leg after the other on one server: folder, by hand, field, a changed gap, shot; tank, pack and hand-over record; window; a
fault rehearsed, its cause found, the report; a search; a trial.
"""

import re

import pytest

from tests.bench.server import wait_for

from .calling import asked
from .paging import (
    SHOWN,
    by_hand,
    choose_job,
    close,
    done,
    figures,
    fill,
    go,
    rehearsed,
    same_cause,
    same_field,
    same_log,
    same_pack,
    same_record,
    same_shot,
    same_tank,
    same_window,
    save,
    settled,
    table,
    taken,
)
from .test_examples import EXAMPLES

GETTER = EXAMPLES / "indicator-tube-getter"
RECORD = """
[machine]
date = "2026-03-02"
[[machine.reading]]
what = "frequency"
value = "351.2 kHz"
[[machine.reading]]
what = "coil-current"
value = "128 A"
[[machine.reading]]
what = "pick-up"
station = 1
value = "1.52 V"
repeats = ["1.50 V", "1.54 V"]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("journey")
    for path in GETTER.iterdir():
        if path.suffix in (".toml", ".csv"):
            (out / path.name).write_bytes(path.read_bytes())
    with (out / "with-tank.toml").open("a", encoding="utf-8") as file:
        file.write(RECORD)
    return out


def test_field_gap_and_shot(page, folder):
    listed = page.get_by_role("listitem").all_inner_texts()
    assert listed == ["job.toml", "seek-with-tank.toml", "seek.toml", "six-stations.toml", "with-tank.toml"]
    choose_job(page, "job.toml")
    as_drawn = same_field(page, folder / "job.toml")
    turn = page.locator('[data-id="turn:2"]')
    turn.locator(".fill").first.wait_for()
    wait_for(lambda: turn.focus() or page.evaluate("document.activeElement.matches('[data-id]')"))
    centre = page.locator('[data-key="coil.centre"]')
    centre.fill("16.75 mm")
    centre.press("Enter")
    page.locator(".file", has_text="not saved").wait_for()
    save(page)
    wait_for(lambda: figures(page)["power in ring"] < 0.95 * as_drawn["bodies"]["ring"]["power_W"])
    settled(page)
    farther = same_field(page, folder / "job.toml")
    assert farther["bodies"]["ring"]["power_W"] < as_drawn["bodies"]["ring"]["power_W"]
    by_hand(page, folder / "job.toml")
    same_shot(page, folder / "job.toml")


@pytest.mark.slow
def test_tank_and_record(page, folder):
    choose_job(page, "with-tank.toml")
    same_tank(page, folder / "with-tank.toml")
    go(page, "Line")
    assert len(same_record(page, folder / "with-tank.toml")["readings"]) == 3


@pytest.mark.slow
def test_pack(page, folder, tmp_path):
    machine = folder / "with-tank.toml"
    choose_job(page, machine.name)
    same_pack(page, machine, tmp_path, asked("tank", machine))


@pytest.mark.slow
def test_window(page, folder):
    choose_job(page, "six-stations.toml")
    window = same_window(page, folder / "six-stations.toml", 60)
    assert len(window["fixture"]["stations"]) == 6


def test_a_rehearsed_fault_is_found(page, folder, tmp_path, monkeypatch):
    monkeypatch.setenv("COILWRIGHT_CACHE", str(folder / "kept"))
    job = folder / "six-stations.toml"
    choose_job(page, job.name)
    go(page, "Line")
    number, told = rehearsed(page, job, tmp_path, "coil-back", 1.2, station=3)
    same_log(page, number, tmp_path / "s.db")
    answer = same_cause(page, job, number, tmp_path, told)
    assert answer["causes"][0]["cause"] == told["cause"]
    # the same seen by trays and lots alone, as typed
    fill(page, file="", log="no", trays="1, 1, 0, 1, 1, 1, 1, 1, 1, 1", lot="12 of 60", lots="11 of 60")
    done(page, "Find the cause", "")
    typed = tmp_path / "typed.toml"
    typed.write_text(
        '[[tray]]\nbad = [1, 1, 0, 1, 1, 1, 1, 1, 1, 1]\n[[contrast]]\nby = "lot"\nbad = [12, 11]\ntried = [60, 60]\n',
        encoding="utf-8",
    )
    alone = asked("why", job, "--readings", typed)
    assert page.get_by_text(alone["said"]).count() >= 1
    assert float(table(page, "Causes")[0][0]) == pytest.approx(100 * alone["causes"][0]["probability"], rel=SHOWN)


@pytest.mark.slow
def test_search(page, folder, tmp_path):
    job = folder / "seek.toml"
    choose_job(page, job.name)
    go(page, "Search")
    fill(page, evaluations=16, seed=1)
    number = done(page, "Begin the search", "points that no other beats")
    found = asked("seek", job, "--evaluations", 16, "--seed", 1, "--out", tmp_path)
    front, aims = found["front"], found["objectives"]
    rows = table(page, "The front")
    assert [r[0] for r in rows] == [*(str(p["number"]) for p in front), "as drawn"]
    for cells, point in zip(rows, [*front, found["as_drawn"]], strict=True):
        for cell, aim in zip(cells[-1 - len(aims) : -1], aims, strict=True):
            assert_shown(cell, point["figures"][aim["key"]])
    for cells, stop in zip(table(page, "What stops the others"), found["stopped"], strict=True):
        assert (cells[0], int(cells[1]), cells[2]) == (stop["by"], stop["points"], stop["said"])
    for row in rows[:-1]:
        assert beside_job(taken(page, f"Take {row[-1]} away")) == beside_job(next(tmp_path.rglob(row[-1])).read_bytes())
    with page.expect_popup() as opened:
        page.get_by_role("button", name=f"Open point {front[0]['number']} as a job file").click()
    name = f"seek-{number}-{rows[0][-1]}"
    opened.value.locator(".file", has_text=f"{name}, saved").wait_for()
    same_field(opened.value, folder / name)


def beside_job(text):
    """The lines of a found job; files it names stand where the job stands, which is not where the command was told to write."""
    return [re.sub(r'"[^"]*/([\w-]+\.csv)"', r'"\1"', line) for line in text.decode().splitlines()]


def assert_shown(cell, value):
    """A figure of the search with its own unit against SI."""
    number, _, unit = cell.partition(" ")
    scale = {"mm": 1e-3, "kVA": 1e3, "%": 1e-2, "": 1.0}[unit]
    assert float(number) * scale == pytest.approx(value, rel=6e-3), cell


@pytest.mark.slow
def test_trial(page, folder, tmp_path):
    job = folder / "trial-job.toml"  # the one of the folder has been changed on the way
    job.write_bytes((GETTER / "job.toml").read_bytes())
    page.reload()
    choose_job(page, job.name)
    go(page, "Trial")
    fill(page, trace="trial.csv", sheet="trial.toml", fit="power, heat content, charge heat", start="1.98 s")
    number = done(page, "Lay it over the prediction", "K before the fit")
    options = (
        "--sheet",
        folder / "trial.toml",
        "--fit",
        "power",
        "--fit",
        "heat content",
        "--fit",
        "charge heat",
        "--start",
        "1.98 s",
    )
    trial = asked("trial", job, folder / "trial.csv", *options, "--out", tmp_path)
    heading = page.locator("h2", has_text="K before the fit").inner_text()
    worst = max(trial["channels"].values(), key=lambda c: c["rms_before_K"])
    before, after = map(float, re.findall(r"([\d.]+) K", heading))
    assert (before, after) == (
        pytest.approx(worst["rms_before_K"], rel=6e-3),
        pytest.approx(worst["rms_after_K"], rel=6e-3),
    )
    for cells, (key, fitted) in zip(table(page, "Fitted values"), trial["fitted"].items(), strict=True):
        assert cells[:2] == [fitted["name"], key]
        (found, unit), (written, same) = cells[3].split(" ", 1), fitted["as_written"].split(" ", 1)
        assert (float(found), unit) == (pytest.approx(float(written), rel=SHOWN), same)
        ends = [float(c.split()[0]) / float(found) for c in cells[4:6]]
        assert ends == pytest.approx([fitted[k] / fitted["value"] for k in ("low", "high")], rel=2 * SHOWN)
    compared = {what: cells for what, *cells in table(page, "Readings and events")}
    for what, read in trial["compared"].items():
        for cell, part in zip(compared[what], ("measured", "sigma", "before", "after"), strict=True):
            assert close(cell, read[part]), what
    came = {what: cells for what, *cells in table(page, "What the trial came to")}
    assert len(came) == len(trial["figures"])
    for what, figure in trial["figures"].items():
        for cell, part in zip(came[what], ("value", "low", "high"), strict=False):
            assert close(cell, next(v for k, v in figure.items() if k.split("_")[0] == part)), what
    told = " ".join(page.locator("section:visible .cautions li").all_inner_texts())
    assert all(c["text"] in told for c in trial["cautions"])
    corrected = next(tmp_path.glob("*-fitted.toml")).read_bytes()
    assert taken(page, "Take fitted.toml away") == corrected
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Write the corrected job and open it").click()
    opened.value.locator(".file", has_text=f"trial-job-fitted-{number}.toml, saved").wait_for()
    assert (folder / f"trial-job-fitted-{number}.toml").read_bytes() == corrected
    same_field(opened.value, folder / f"trial-job-fitted-{number}.toml")
