"""The places whose work is a study, and the materials, as a person meets them in a real browser."""

import csv
import io
import json
import re
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zipfile import ZipFile

import pytest
from axe_playwright_python.sync_playwright import Axe

import coilwright as cw
from coilwright.bench.bringing import checked
from coilwright.bench.place_line import contrasts, one_reading
from coilwright.bench.place_trial import amount
from coilwright.bench.places import PLACES as PLACES_OF_THE_PAGE
from coilwright.bench.study_run import run
from coilwright.bench.work_quick import scaled
from coilwright.seek.effort import Effort
from coilwright.steps.shot_log import line_add
from coilwright.window.quantities import quantities
from tests.bench.server import SHORT, Server, wait_for

EXAMPLE = Path(__file__).parents[2] / "examples" / "indicator-tube-getter"
# As in the example, with a shot of a second: what the page does is looked at here, not how long a shot takes.
MACHINE = (EXAMPLE / "with-tank.toml").read_text(encoding="utf-8").partition("\n[tank]")[2]
TANK = re.sub(r"^(frequency|coil_current) = .*\n", "", SHORT, flags=re.M) + "\n[tank]" + MACHINE
VARIES = '\n[[varies]]\nwhat = "coil.centre"\nby = "0.3 mm"\n'
PLACES = ("hand", "tank", "window", "seek", "trial", "line", "materials", "paper")


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("places")
    (folder / "job.toml").write_text(SHORT, encoding="utf-8")
    (folder / "tank.toml").write_text(TANK, encoding="utf-8")
    (folder / "varies.toml").write_text(SHORT + VARIES, encoding="utf-8")
    running = Server(folder)
    yield running
    running.stop()


@pytest.fixture
def tab(browser, server):
    """Open places; none may show an error on the console."""
    errors, contexts = [], []

    def open_place(place, job="job.toml", width=1400, scheme="light"):
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=scheme, accept_downloads=True
        )
        context.set_default_timeout(60_000)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda m: errors.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: errors.append(str(e)))
        page.goto(f"http://127.0.0.1:{server.port}/job/{job}?place={place}")
        page.locator("section h2").first.wait_for()
        return page

    yield open_place
    for context in contexts:
        context.close()
    assert errors == []


def press(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def taken(page, name, target):
    """What a button gives away."""
    with page.expect_download() as given:
        press(page, name)
    given.value.save_as(target)
    return target.read_bytes()


def serious(page):
    found = Axe().run(page).response["violations"]
    return [
        (v["id"], [n["html"][:150] for n in v["nodes"][:3]]) for v in found if v["impact"] in ("serious", "critical")
    ]


def rows(page, title):
    """A table of the result: first cell -> the others."""
    lines = page.get_by_role("region", name=title, exact=True).locator("tbody tr")
    cells = [line.split("\t") for line in lines.all_inner_texts()]
    return {first: rest for first, *rest in cells}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_place_opens_and_can_be_used_by_all(tab, scheme):
    page = tab(PLACES[0], width=820, scheme=scheme)
    for title in ("By hand", "Tank", "Window", "Search", "Trial", "Line", "Materials", "Paper"):
        press(page, title)
        page.locator("section:visible h2").first.wait_for()
        assert serious(page) == [], title
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), title


@pytest.mark.parametrize(("place", "section"), [("tank", "[source]"), ("window", "[[varies]]"), ("seek", "[seek]")])
def test_a_job_without_the_section_is_told_which_to_add(tab, place, section):
    page = tab(place)
    page.get_by_text(section).first.wait_for()
    assert page.locator("button.first:visible", has_text="Comp").count() == 0
    assert serious(page) == []
    press(page, "Open the job file")
    page.get_by_label("Text of the job file").wait_for()


@pytest.mark.parametrize(
    "key", [pytest.param("tank", marks=pytest.mark.slow), "window", pytest.param("seek", marks=pytest.mark.slow)]
)
def test_the_sample_a_place_shows_makes_the_job_fit(key):
    """Appended as it stands to the example, whose source then decides current and frequency."""
    place = next(p for p in PLACES_OF_THE_PAGE if p.key == key)
    text = (EXAMPLE / "job.toml").read_text(encoding="utf-8")
    assert not place.fits(cw.loads(text))
    if key == "tank":
        text = re.sub(r"^(frequency|coil_current) = .*\n", "", text, flags=re.M)
    job = cw.loads(f"{text}\n{place.sample}")
    assert place.fits(job)
    if key == "tank":
        assert cw.tank(job).report.cold.coil_current == pytest.approx(130.0)
    if key == "seek":
        assert cw.seek(job, Effort(4, 1)).explored
    if key == "window":
        assert [q.what for q in quantities(job)] == ["coil.centre", "surroundings.temperature"]


def test_the_tank_shows_what_the_core_computes(tab, server, tmp_path):
    page = tab("tank", "tank.toml")
    press(page, "Compute the tank")
    page.get_by_role("heading", name="No. 1:").wait_for()
    shown = rows(page, "Operating points")
    report = cw.tank(cw.load(server.folder / "tank.toml")).report
    for label, value in (
        ("frequency", report.cold.frequency / 1e3),
        ("coil current", report.cold.coil_current),
        ("coil power", report.cold.coil_power),
        ("loaded Q", report.cold.loaded_q),
    ):
        assert float(shown[label][0]) == pytest.approx(value, rel=2e-3)
    for caution in report.cautions:
        assert page.locator(".cautions li", has_text=caution.text).count() >= 1
    assert page.locator(".prints img").count() >= 6
    page.locator(".prints img").first.scroll_into_view_if_needed()
    wait_for(lambda: page.locator(".prints img").first.evaluate("i => i.naturalWidth") > 300)
    table = taken(page, "Take the table away: Operating points (CSV)", tmp_path / "points.csv").decode("utf-8-sig")
    cold = {row["what"]: row["cold"] for row in csv.DictReader(io.StringIO(table))}
    assert float(cold["coil power"]) == pytest.approx(report.cold.coil_power, rel=1e-6)
    assert taken(page, "Take the picture away: the circuit (SVG)", tmp_path / "tank.svg").lstrip().startswith(b"<?xml")
    assert taken(page, "Take the picture away: the circuit (PNG)", tmp_path / "tank.png").startswith(b"\x89PNG")
    assert b"tank" in taken(page, "Take tank.cir away", tmp_path / "tank.cir")
    assert serious(page) == []


def test_a_window_is_finished_after_its_tab_is_closed(tab, server):
    page = tab("window", "varies.toml")
    page.locator('[data-key="effort"]').select_option("small")
    page.locator('[data-key="shots"]').fill("many")
    press(page, "Look at the window")
    page.get_by_text("must be a whole number").wait_for()
    page.locator('[data-key="shots"]').fill("2000")
    page.locator('[data-key="readings"]').select_option("no")
    press(page, "Look at the window")
    page.locator("progress").wait_for()
    page.context.close()
    progress = server.folder / ".coilwright" / "studies" / "varies" / "1" / "progress.json"
    wait_for(lambda: '"running"' not in progress.read_text(encoding="utf-8"), 240)
    assert '"done"' in progress.read_text(encoding="utf-8"), progress.read_text(encoding="utf-8")
    page = tab("window", "varies.toml")
    page.get_by_role("heading", name="No. 1: yield").wait_for()
    assert "coil.centre" in rows(page, "How far each thing may be out")
    assert rows(page, "Yield by station")["1"]
    assert serious(page) == []


def test_a_material_is_found_plotted_and_added(tab, server, tmp_path):
    file = server.folder / "own.toml"
    file.write_text(SHORT, encoding="utf-8")
    page = tab("materials", file.name)
    page.get_by_role("searchbox").fill("titan")
    press(page, "titanium")
    page.get_by_role("heading", name="titanium", exact=True).wait_for()
    wait_for(lambda: page.locator(".chart svg path").count() > 5)
    assert page.get_by_text("Source:").count() >= 4
    table = taken(page, "Take the curves away (CSV)", tmp_path / "t.csv").decode()
    at_20 = next(r for r in csv.DictReader(io.StringIO(table)) if r["property"] == "resistivity_ohm_m")
    assert float(at_20["value"]) == pytest.approx(
        float(cw.library().get("titanium").resistivity(float(at_20["temperature_degC"]) + 273.15))
    )
    assert b"<svg" in taken(page, "Take the picture away (SVG)", tmp_path / "t.svg")
    page.get_by_text("Add one of your own").click()
    page.locator('[data-key="name"]').fill("trial titanium")
    page.locator('[data-key="like"]').fill("titanum")
    page.locator('[data-key="resistivity"]').fill("20 degC: 0.5 uohm m; 800 degC: 1.6 uohm m")
    page.locator('[data-key="source"]').fill("own measurement")
    press(page, "Add it to the job")
    page.locator(".bad", has_text="titanium").first.wait_for()
    page.locator('[data-key="like"]').fill("titanium")
    press(page, "Add it to the job")
    page.get_by_role("heading", name="trial titanium", exact=True).wait_for()
    press(page, "Save")
    page.locator(".file", has_text=", saved").wait_for()
    job = cw.load(file)
    assert float(job.library().get("trial titanium").resistivity(293.15)) == pytest.approx(0.5e-6)
    assert "# " in file.read_text(encoding="utf-8")


def test_the_build_pack_and_pictures_leave_as_files(tab, server, tmp_path):
    page = tab("paper", "tank.toml")
    page.locator('[data-key="limits"]').select_option("no")
    press(page, "Write the build pack")
    page.get_by_role("heading", name=re.compile("files")).wait_for(timeout=90_000)
    assert taken(page, "Take pack.pdf away", tmp_path / "pack.pdf").startswith(b"%PDF")
    taken(page, "Take pack.zip away", tmp_path / "pack.zip")
    with ZipFile(tmp_path / "pack.zip") as archive:
        names = set(archive.namelist())
        assert {"pack.pdf", "job.toml", "work-coil.svg", "work-coil.dxf", "winding-card.csv"} <= names
        assert archive.read("job.toml").decode() == (server.folder / "tank.toml").read_text(encoding="utf-8")
    assert taken(page, "Take the job file away", tmp_path / "job.toml").decode() == TANK
    assert serious(page) == []


def study_of(tmp_path, kind, text, settings):
    """A study run in this process; its result as the page reads it."""
    folder = tmp_path / "1"
    folder.mkdir()
    (folder / "job.toml").write_text(text, encoding="utf-8")
    asked = {"kind": kind, "title": "", "made": 0.0, "settings": settings, "folder": str(tmp_path)}
    (folder / "asked.json").write_text(json.dumps(asked), encoding="utf-8")
    run(folder)
    progress = json.loads((folder / "progress.json").read_text(encoding="utf-8"))
    assert progress["state"] == "done", progress["said"]
    return json.loads((folder / "result.json").read_text(encoding="utf-8")), folder


def test_readings_are_taken_as_typed():
    typed = {"what": "frequency-hot", "station": "", "value": "349.8 kHz", "healthy": "350 kHz", "uncertainty": ""}
    wanted = {"what": "frequency", "condition": "hot", "value": "349.8 kHz", "healthy": "350 kHz"}
    assert one_reading(typed) == wanted
    assert one_reading({**typed, "what": "q", "station": "3", "value": "54.4", "healthy": ""}) == {
        "what": "q",
        "value": 54.4,
        "station": 3,
    }
    assert one_reading({**typed, "value": " "}) == {}
    with pytest.raises(cw.BadInput, match="whole number"):
        one_reading({**typed, "station": "third"})


def test_an_amount_is_taken_as_typed_or_left_out():
    assert amount("power on", " ", "time") is None
    assert amount("power on", "1980 ms", "time") == pytest.approx(1.98)
    assert amount("one sigma", "0 K", "temperature_difference") == 0.0
    for typed, told in (("2 K", "power on: .*time"), ("-1 s", "power on: must not be below 0"), ("soon", "power on")):
        with pytest.raises(cw.BadInput, match=told):
            amount("power on", typed, "time")


def test_contrasts_are_taken_as_typed():
    typed = {"lot": "12 of 60", "lots": "1/60", "shift": "", "shifts": " "}
    assert list(contrasts(typed)) == [{"by": "lot", "bad": [12, 1], "tried": [60, 60]}]
    assert list(contrasts({**typed, "shift": "3 of 40", "shifts": "2 of 80"}))[1] == {
        "by": "shift", "bad": [3, 2], "tried": [40, 80],
    }  # fmt: skip
    with pytest.raises(cw.BadInput, match=r"other lots: must be bad pieces .* received \"\""):
        list(contrasts({**typed, "lots": ""}))
    with pytest.raises(cw.BadInput, match="12 of 60"):
        list(contrasts({**typed, "lot": "a dozen"}))


def test_the_log_of_a_machine_is_shown(tab, server):
    base, lines = datetime(2026, 1, 5, 6, tzinfo=UTC), ["time,station,result,tray"]
    for tray in range(30):
        for station in (1, 2, 3):
            result = "bad" if station == 2 and tray > 14 and tray % 2 else "good"
            lines.append(f"{(base + timedelta(minutes=2 * tray)).isoformat()},{station},{result},T{tray}")
    (server.folder / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    columns = "\n".join(f'{name} = "{name}"' for name in ("time", "station", "result", "tray"))
    (server.folder / "map.toml").write_text(
        f'machine = "hall 2"\nstations = 3\n[columns]\n{columns}\n', encoding="utf-8"
    )
    line_add(server.folder / "log.csv", server.folder / "map.toml", str(server.folder / "shots.db"))
    page = tab("line", "tank.toml")
    press(page, "Look at the log")
    page.get_by_role("heading", name="hall 2: 8 bad of 90").wait_for()
    shown = rows(page, "Station against the others")
    assert (shown["2"][:2], shown["1"][:2]) == (["30", "8"], ["30", "0"])
    assert page.locator(".prints img").count() == 2
    press(page, "Find the cause")
    page.get_by_text("readings: are missing").wait_for()
    press(page, "Add a reading")
    page.locator('[data-key="value"]').nth(1).fill("300 kHz")
    page.locator('[data-key="station"]').nth(1).fill("third")
    press(page, "Find the cause")
    page.get_by_text("must be whole numbers").wait_for()
    assert serious(page) == []


def test_a_trace_is_brought_and_never_over_another(tab, server):
    page = tab("trial")
    chosen = page.locator('input[type="file"]')
    chosen.set_input_files({"name": "t1.csv", "mimeType": "text/csv", "buffer": b"time [s],TC1 [degC]\n0,20\n1,30\n"})
    wait_for(lambda: page.locator('[data-key="trace"]').input_value() == "t1.csv")
    assert (server.folder / "t1.csv").read_text(encoding="utf-8").endswith("1,30\n")
    chosen.set_input_files({"name": "t1.csv", "mimeType": "text/csv", "buffer": b"other"})
    page.get_by_text("is there already with other figures").wait_for()
    chosen.set_input_files({"name": "big.csv", "mimeType": "text/csv", "buffer": b"x" * 3_100_000})
    page.get_by_text("holds more than 3 MB").wait_for()
    assert not (server.folder / "big.csv").exists()
    page.locator('[data-key="columns"]').fill("TC1")
    press(page, "Lay it over the prediction")
    page.get_by_text("must name a column and the place").wait_for()


@pytest.mark.parametrize(
    ("value", "unit", "printed"),
    [
        (0.0021, "H", (2.1, "mH")), (0.357e-3, "kg", (357.0, "mg")), (850.0, "degC", (850.0, "°C")),
        (1e-5 / 3, "m^3/s", (0.2, "L/min")),
        (0.0, "W", (0.0, "W")), (0.2, "1", (0.2, "")), (1.55e-3, "ohm", (1.55, "mΩ")), (2.09e10, "Hz", (20900.0, "MHz")),
        (1000.0, "W", (1.0, "kW")), (-2.5e3, "W", (-2.5, "kW")),
    ],
)  # fmt: skip
def test_a_hand_figure_has_a_unit_of_handy_size(value, unit, printed):
    number, shown = scaled(value, unit)
    assert (number, shown) == (pytest.approx(printed[0]), printed[1])


def test_the_hand_calculation_of_a_part_that_needs_no_supply(tmp_path):
    """Without a time to heat in there is no power to ask for; the sheets stand all the same."""
    untimed = re.sub(r"\[\[accept\]\]\n(\w+ = .*\n)+|on_time = .*\n", "", SHORT)
    result, _ = study_of(tmp_path, "quick", untimed, {})
    assert "by hand, without a supply" in result["said"]
    assert [t["title"] for t in result["tables"]] == ["ring, by hand", "the coil, by hand"]


def test_a_file_that_is_brought_is_plain_text_of_a_plain_name():
    assert checked("a-1.csv", "x", "form", "") == ("a-1.csv", "x")
    for name in ("../a.csv", "a.toml", "", None, "a\x00.csv", ".csv"):
        with pytest.raises(cw.BadInput, match=r"form: must be a plain file name ending in .csv"):
            checked(name, "x", "form", "")
    for words in (None, 7, "x" * 3_000_001):
        with pytest.raises(cw.BadInput, match=r"a.csv: holds more than 3 MB; a page or two"):
            checked("a.csv", words, "form", "a page or two")


def test_a_form_of_another_job_is_refused(tab, server):
    page = tab("line", "tank.toml")
    chosen = page.get_by_label("bring the filled form")
    form = "form,coilwright hand-over form 1\ndigest,0\n\nwhat,station,reading,expected,unit,value,uncertainty\nq,,,,,54,\n"
    for words, told in ((form, "belongs to another job"), ("a,b\n", "must be a hand-over form")):
        chosen.set_input_files({"name": "form.csv", "mimeType": "text/csv", "buffer": words.encode()})
        page.locator("[role=alert]", has_text=f"form.csv: {told}").wait_for()
    assert page.get_by_role("link", name=re.compile("^open")).count() == 0
    assert not list(server.folder.glob("*handed-over*"))
    assert serious(page) == []


def test_pictures_come_from_studies_only(server):
    for path in ("1/../../job.toml", "1/job.toml", "1/asked.json", "x/tank.png", "1/tank.png"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(f"http://127.0.0.1:{server.port}/kept/{path}/job.toml")
        assert refused.value.code in (404, 422)
        refused.value.close()


@pytest.mark.slow
def test_a_trial_gives_the_corrected_job(tmp_path):
    for name in ("trial.csv", "trial.toml"):
        (tmp_path / name).write_bytes((EXAMPLE / name).read_bytes())
    asked = {
        "trace": "trial.csv",
        "sheet": "trial.toml",
        "fit": ["power"],
        "further": False,
        "start": 1.98,
        "error": 3.0,
    }
    result, folder = study_of(tmp_path, "trial", (EXAMPLE / "job.toml").read_text(encoding="utf-8"), asked)
    assert "K before the fit" in result["said"]
    told = " ".join(result["findings"])
    assert "power on is taken at" not in told  # it was said
    assert str(tmp_path) not in told
    fitted = next(t for t in result["tables"] if t["name"] == "fitted")
    assert fitted["rows"][0][0] == "power"
    assert cw.load(folder / "fitted.toml").text != (folder / "job.toml").read_text(encoding="utf-8")
    assert all((folder / f"{p['name']}.{form}").exists() for p in result["pictures"] for form in p["forms"])


@pytest.mark.slow
def test_a_search_gives_job_files(tmp_path):
    (tmp_path / "tubes.csv").write_bytes((EXAMPLE / "tubes.csv").read_bytes())
    asked = {"evaluations": 12, "seed": 1}
    result, folder = study_of(tmp_path, "seek", (EXAMPLE / "seek.toml").read_text(encoding="utf-8"), asked)
    assert result["points"]
    for point in result["points"]:
        assert cw.loads((folder / point["file"]).read_text(encoding="utf-8"), "point.toml", tmp_path).coil is not None


@pytest.mark.slow
def test_a_cause_is_ranked_with_its_report(tmp_path):
    tables = {
        "reading": [{"what": "q", "value": 40.0, "healthy": 54.7}],
        "tally": [{"bad": [0, 0, 19, 1, 0, 0], "tried": 20}],
    }
    text = (EXAMPLE / "six-stations.toml").read_text(encoding="utf-8")
    result, folder = study_of(tmp_path, "why", text, {"tables": tables})
    assert next(t for t in result["tables"] if t["name"] == "causes")["rows"]
    assert result["cautions"]
    assert next(p["words"] for p in result["pictures"] if p["name"] == "causes").startswith("how likely each cause is")
    assert (folder / "service-report.pdf").read_bytes().startswith(b"%PDF")
