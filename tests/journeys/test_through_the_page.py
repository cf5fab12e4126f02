"""The getter example through the page in a real browser: what the page shows is what the command line says of the same job.

One leg after the other on one server: folder, field, a changed gap, shot; tank and hand-over record; window; a fault rehearsed,
its cause found, the report.
"""

import csv
import io
import json
import re

import pypdf
import pytest

from tests.bench.server import Server, wait_for

from .calling import asked, cli
from .test_examples import EXAMPLES

GETTER = EXAMPLES / "indicator-tube-getter"
SHOWN = 6e-4  # four digits
PREFIX = {"": 1.0, "k": 1e3, "M": 1e6, "m": 1e-3, "µ": 1e-6, "u": 1e-6, "n": 1e-9}
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
    for name in ("job.toml", "with-tank.toml", "six-stations.toml", "trial.toml", "trial.csv"):
        (out / name).write_bytes((GETTER / name).read_bytes())
    with (out / "with-tank.toml").open("a", encoding="utf-8") as file:
        file.write(RECORD)
    return out


@pytest.fixture(scope="module")
def server(folder):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COILWRIGHT_CACHE", str(folder / "kept"))  # page and commands ask for the same machines
        running = Server(folder, job=None)
        yield running
        running.stop()


@pytest.fixture
def page(browser, server):
    errors = []
    context = browser.new_context(viewport={"width": 1400, "height": 1000}, accept_downloads=True)
    context.set_default_timeout(120_000)
    opened = context.new_page()
    opened.on("console", lambda m: errors.append(m.text) if m.type in ("error", "warning") else None)
    opened.on("pageerror", lambda e: errors.append(str(e)))
    opened.goto(f"http://127.0.0.1:{server.port}/")
    yield opened
    context.close()
    assert errors == []


def press(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def choose_job(page, name):
    page.get_by_role("link", name=name, exact=True).click()
    page.locator(".doing[data-settled=true]").wait_for()


def go(page, title):
    press(page, title)
    page.locator("section:visible h2").first.wait_for()


def settled(page):
    page.locator(".doing[data-settled=true]").wait_for()
    page.locator(".figures", has_text="estimated error").wait_for()


def figures(page):
    """The figures beside the drawing, SI where they are one number with a unit."""
    out = {}
    for line in page.locator("table.figures").first.locator("tr").all():
        label, shown = line.locator("th").inner_text(), line.locator("td").inner_text()
        match = re.fullmatch(r"([-\d.e]+) ([kMmµun]?)(W|A|V|Hz|%)", shown)
        out[label] = float(match[1]) * (0.01 if match[3] == "%" else PREFIX[match[2]]) if match else shown
    return out


def table(page, title):
    """Rows of a result as lists of cells."""
    lines = page.get_by_role("region", name=title, exact=True).locator("tbody tr")
    return [line.split("\t") for line in lines.all_inner_texts()]


def taken(page, name):
    with page.expect_download() as given:
        press(page, name)
    return given.value.path().read_bytes()


def same_field(page, job):
    """The figures beside the drawing against `coilwright field`."""
    field, shown = asked("field", job), figures(page)
    assert shown["power in ring"] == pytest.approx(field["bodies"]["ring"]["power_W"], rel=SHOWN)
    assert [k for k in shown if k.startswith("power in ")] == [f"power in {name}" for name in field["bodies"]]
    assert shown["lost in the coil"] == pytest.approx(field["coil"]["power_W"], rel=SHOWN)
    assert shown["efficiency"] == pytest.approx(field["efficiency"], rel=5 * SHOWN)
    assert shown["coil current, rms"] == pytest.approx(field["coil"]["current_A"], rel=SHOWN)
    assert shown["frequency"] == pytest.approx(field["frequency_Hz"], rel=SHOWN)
    inductance = re.match(r"([\d.]+) ([µn])H", shown["coil with the part"])
    z = field["coil"]["loaded"]["inductance_H"] + field["leads"]["inductance_H"]
    assert float(inductance[1]) * PREFIX[inductance[2]] in (
        pytest.approx(z, rel=SHOWN), pytest.approx(field["coil"]["loaded"]["inductance_H"], rel=SHOWN),
    )  # fmt: skip
    return field


def test_field_gap_and_shot(page, folder):
    assert page.get_by_role("listitem").all_inner_texts() == ["job.toml", "six-stations.toml", "with-tank.toml"]
    choose_job(page, "job.toml")
    settled(page)
    as_drawn = same_field(page, folder / "job.toml")
    turn = page.locator('[data-id="turn:2"]')
    turn.locator(".fill").first.wait_for()
    wait_for(lambda: turn.focus() or page.evaluate("document.activeElement.matches('[data-id]')"))
    centre = page.locator('[data-key="coil.centre"]')
    centre.fill("16.75 mm")
    centre.press("Enter")
    page.locator(".file", has_text="not saved").wait_for()
    press(page, "Save")
    page.locator(".file", has_text=", saved").wait_for()
    wait_for(lambda: figures(page)["power in ring"] < 0.95 * as_drawn["bodies"]["ring"]["power_W"])
    settled(page)
    farther = same_field(page, folder / "job.toml")
    assert farther["bodies"]["ring"]["power_W"] < as_drawn["bodies"]["ring"]["power_W"]
    go(page, "Shot")
    press(page, "Run the shot")
    page.locator(".verdict:visible").first.wait_for()
    said = page.locator(".verdict:visible").all_inner_texts()
    with page.expect_download() as given:
        page.get_by_role("button", name="Take the table away").click()
    curve = list(csv.DictReader(io.StringIO(given.value.path().read_text(encoding="utf-8"))))
    code, out, _ = cli("heat", folder / "job.toml", "--json")
    shot = json.loads(out)
    assert (code == 0) == (shot["verdict"] == "pass") == all("fail" not in words for words in said)
    assert len(said) == len(shot["accept"])
    for column, wanted in (
        ("time_s", shot["trace"]["time_s"]), ("ring_min_degC", shot["trace"]["bodies"]["ring"]["min_degC"]),
        ("bulb_max_degC", shot["trace"]["bodies"]["bulb"]["max_degC"]),
    ):  # fmt: skip
        assert float(curve[-1][column]) == pytest.approx(wanted[-1], abs=6e-3)
    assert max(float(r["ring_max_degC"]) for r in curve) == pytest.approx(
        max(shot["trace"]["bodies"]["ring"]["max_degC"]), abs=6e-3
    )


@pytest.mark.slow
def test_tank_and_record(page, folder):
    choose_job(page, "with-tank.toml")
    go(page, "Tank")
    press(page, "Compute the tank")
    page.get_by_role("heading", name="No. 1:").wait_for()
    tank = asked("tank", folder / "with-tank.toml")
    shown = {what: cells for what, *cells in table(page, "Operating points")}
    for label, read in (
        ("frequency", lambda p: p["frequency_Hz"] / 1e3), ("coil current", lambda p: p["coil"]["current_A"]),
        ("source power", lambda p: p["source"]["power_W"]), ("loaded Q", lambda p: p["loaded_q"]),
    ):  # fmt: skip
        for cell, point in zip(shown[label], ("cold", "hot", "empty"), strict=False):
            if tank[point] is not None:
                assert float(cell) == pytest.approx(read(tank[point]), rel=SHOWN), (label, point)
    go(page, "Line")
    press(page, "Lay the record beside the model")
    page.get_by_role("heading", name=re.compile("hand-over record: 3 readings")).wait_for()
    record = asked("line", "record", folder / "with-tank.toml")
    for cells, row in zip(table(page, "The record beside the model"), record["readings"], strict=True):
        assert cells[0] == row["reading"]
        assert cells[1] == str(row["station"] or "whole")
        for cell, key in zip(cells[2:5], ("measured", "uncertainty", "predicted"), strict=True):
            if row[key] is not None:
                assert float(cell) == pytest.approx(row[key], rel=SHOWN), row
    assert [c[0] for c in table(page, "What the record lacks")] == record["lacking"]
    bounds = asked("line", "limits", folder / "with-tank.toml")["limits"]
    for cells, limit in zip(table(page, "Green, amber, red"), bounds, strict=True):
        unit = "mm" if "red_mm" in limit else "percent"
        assert cells[0] == limit["reading"]
        assert float(cells[4].split()[0]) == pytest.approx(limit[f"red_{unit}"], rel=0.05)


@pytest.mark.slow
def test_window(page, folder):
    choose_job(page, "six-stations.toml")
    go(page, "Window")
    page.locator('[data-key="effort"]').select_option("small")
    page.locator('[data-key="shots"]').fill("4000")
    page.locator('[data-key="readings"]').select_option("no")
    press(page, "Look at the window")
    page.get_by_role("heading", name=re.compile("No. 1: yield")).wait_for(timeout=600_000)
    window = asked(
        "window",
        folder / "six-stations.toml",
        "--runs",
        60,
        "--shots",
        4000,
        "--no-readings",
        "--reshoot",
        0,
        "--workers",
        1,
    )
    stations = table(page, "Yield by station")
    for cells, station in zip(stations, window["fixture"]["stations"], strict=True):
        assert float(cells[1]) == pytest.approx(station["power_W"], rel=SHOWN)
        assert float(cells[2]) == pytest.approx(station["current_A"], rel=SHOWN)
    yielded = float(re.search(r"yield ([\d.]+) %", page.locator("h2", has_text="No. 1: yield").inner_text())[1])
    parts = window["yield"]["parts"]
    assert yielded == pytest.approx(100 * parts["yield"], abs=4.0)  # fewer full shots on the page, as was asked for


def test_a_rehearsed_fault_is_found(page, folder, tmp_path, monkeypatch):
    monkeypatch.setenv("COILWRIGHT_CACHE", str(folder / "kept"))
    job = folder / "six-stations.toml"
    choose_job(page, job.name)
    go(page, "Line")
    for key, value in (("fault", "coil-back"), ("at", "3"), ("size", "1.2"), ("seed", "4")):
        page.locator(f'[data-key="{key}"]').fill(value)
    press(page, "Rehearse it")
    heading = page.get_by_role("heading", name=re.compile(r"No\. \d+: a fault in"))
    heading.wait_for()
    number = int(re.search(r"No\. (\d+)", heading.inner_text())[1])
    case = asked(
        "line", "rehearse", job, "--out", tmp_path, "--fault", "coil-back", "--station", 3, "--size", 1.2, "--seed", 4
    )
    for name in ("log.csv", "readings.toml", "map.toml"):
        assert taken(page, f"Take {name} away") == (tmp_path / name).read_bytes()
    asked("line", "add", tmp_path / "log.csv", "--map", tmp_path / "map.toml", "--store", tmp_path / "s.db")
    log = page.locator('[data-key="store"]')
    log.select_option(f"rehearsal {number}")
    press(page, "Look at the log")
    page.get_by_role("heading", name=re.compile("machine rehearsal")).wait_for()
    shown = asked("line", "show", "--store", tmp_path / "s.db")
    assert (
        page.locator("h2", has_text="machine rehearsal")
        .inner_text()
        .endswith(f"{shown['bad']} bad of {shown['tried']}")
    )
    for cells, bad in zip(table(page, "Station against the others"), shown["stations"]["bad"], strict=True):
        assert int(cells[2]) == bad
    page.locator('[data-key="file"]').select_option(f"rehearsal {number}")
    page.locator('[data-key="log"]').select_option("yes")
    press(page, "Find the cause")
    page.get_by_role("heading", name=re.compile(rf"No\. {number + 2}: \d+ % ")).wait_for()
    answer = asked("why", job, "--readings", tmp_path / "readings.toml", "--store", tmp_path / "s.db")
    causes = table(page, "Causes")
    assert causes
    for cells, cause in zip(causes, answer["causes"], strict=False):
        assert float(cells[0]) == pytest.approx(100 * cause["probability"], rel=SHOWN)
        assert cells[1] == cause["name"]
        if cause["size"]:
            found = [float(c) for c in cells[2:5]]
            assert found == pytest.approx([cause["size"][k] for k in ("middle", "low", "high")], rel=SHOWN)
    assert page.get_by_text(answer["said"]).count() >= 1
    for cells, reading in zip(table(page, "What to read next"), answer["next"], strict=True):
        assert float(cells[1]) == pytest.approx(reading["information_bits"], rel=SHOWN)
    report = taken(page, "Take service-report.pdf away")
    with pypdf.PdfReader(io.BytesIO(report)) as reader:
        words = " ".join(" ".join(sheet.extract_text() for sheet in reader.pages).split())
    assert answer["causes"][0]["name"] in words
    press(page, f"Say what was wrong in rehearsal {number}")
    page.get_by_text(re.compile(f"What was wrong: {case['fault']['name']}")).wait_for()
    # the same seen by trays and lots alone, as typed
    page.locator('[data-key="file"]').select_option("")
    page.locator('[data-key="log"]').select_option("no")
    for key, value in (("trays", "1, 1, 0, 1, 1, 1, 1, 1, 1, 1"), ("lot", "12 of 60"), ("lots", "11 of 60")):
        page.locator(f'[data-key="{key}"]').fill(value)
    press(page, "Find the cause")
    page.get_by_role("heading", name=f"No. {number + 3}:").wait_for()
    typed = tmp_path / "typed.toml"
    typed.write_text(
        '[[tray]]\nbad = [1, 1, 0, 1, 1, 1, 1, 1, 1, 1]\n[[contrast]]\nby = "lot"\nbad = [12, 11]\ntried = [60, 60]\n',
        encoding="utf-8",
    )
    alone = asked("why", job, "--readings", typed)
    assert page.get_by_text(alone["said"]).count() >= 1
    assert float(table(page, "Causes")[0][0]) == pytest.approx(100 * alone["causes"][0]["probability"], rel=SHOWN)
