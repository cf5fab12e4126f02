"""The page in a browser, step by step, each figure shown held against `--json` of the command line on the same file.

A step (`by_hand`, `same_shot`, ...) presses what a person presses, waits for the result and compares; it returns what the
command said. Figures agree to the digits shown: both are the same computation, run twice.
"""

import contextlib
import csv
import io
import json
import math
import re
import time

import pypdf
import pytest

from tests.bench.server import Server

from .calling import asked, cli

SHOWN = 6e-4  # four digits
HAND_DIGITS = 6e-3  # three digits
PREFIX = {"": 1.0, "k": 1e3, "M": 1e6, "m": 1e-3, "µ": 1e-6, "u": 1e-6, "n": 1e-9, "p": 1e-12}
LONG = 1500.0  # s; a study of the hardened pin on two busy cores


# ---- server and tab
@contextlib.contextmanager
def serving(folder):
    """A server on the folder; page and commands keep the machines they have computed in one place."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COILWRIGHT_CACHE", str(folder / "kept"))
        running = Server(folder, job=None)
        yield running
        running.stop()


@contextlib.contextmanager
def tab(browser, server):
    """The folder's page in a tab of its own; nothing may be said on the console."""
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


# ---- what a person does
def press(page, name):
    page.get_by_role("button", name=name, exact=True).locator("visible=true").click()


def fill(page, **values):
    for key, value in values.items():
        field = page.locator(f'section:visible [data-key="{key}"]').first
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(str(value))
        else:
            field.fill(str(value))


def choose_job(page, name):
    page.get_by_role("link", name=name, exact=True).click()
    page.locator(".doing[data-settled=true]").wait_for()


def go(page, title):
    press(page, title)
    page.locator("section:visible h2").first.wait_for()


def settled(page):
    page.locator(".doing[data-settled=true]").wait_for()
    page.locator(".figures", has_text="estimated error").wait_for()


def save(page):
    press(page, "Save")
    page.locator(".file", has_text=", saved").wait_for()


def done(page, button, words):
    """Press a button that begins a study and wait for its result, whose heading has these words; the study's number."""
    heading = page.locator("section:visible h2", has_text=re.compile(rf"^No\. \d+: .*{words}"))
    before = heading.all_inner_texts()
    press(page, button)
    end = time.monotonic() + LONG
    while (now := heading.all_inner_texts()) == before or not now:
        assert [w for w in page.locator("section:visible .bad").all_inner_texts() if w] == []  # refused, or failed
        assert time.monotonic() < end, f"{button}: no answer"
        time.sleep(0.2)
    return int(re.match(r"No\. (\d+)", now[0])[1])


def figures(page):
    """The figures beside the drawing, SI where they are one number with a unit."""
    out = {}
    for line in page.locator("table.figures").first.locator("tr").all():
        label, shown = line.locator("th").inner_text(), line.locator("td").inner_text()
        match = re.fullmatch(r"([-\d.e]+) ([kMmµunp]?)(W|A|V|Hz|%)", shown)
        out[label] = float(match[1]) * (0.01 if match[3] == "%" else PREFIX[match[2]]) if match else shown
    return out


def table(page, title):
    """Rows of a result as lists of cells."""
    lines = page.get_by_role("region", name=title, exact=True).locator("visible=true").locator("tbody tr")
    return [line.split("\t") for line in lines.all_inner_texts()]


def taken(page, name):
    """What a button gives away. The browser drops what is taken faster than ten a second; no hand is that fast."""
    page.wait_for_timeout(110)
    with page.expect_download() as given:
        press(page, name)
    return given.value.path().read_bytes()


def words_of(pdf):
    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        return " ".join(" ".join(sheet.extract_text() for sheet in reader.pages).split())


def close(cell, value, rel=SHOWN):
    """Whether a cell shows a figure; "–" is none."""
    return cell == "–" if value is None else float(cell) == pytest.approx(value, rel=rel, abs=1e-9)


def first_number(cell):
    return float(re.search(r"[-+]?\d[\d.]*(?:e[-+]?\d+)?", cell)[0])


# ---- the steps
def by_hand(page, job):
    """The hand calculation, line by line."""
    go(page, "By hand")
    done(page, "Work it out by hand", "")
    quick = asked("quick", job)
    sheets = {**{name: (f"{name}, by hand", s) for name, s in quick["bodies"].items()}}
    sheets["coil"] = ("the coil, by hand", quick["coil"])
    for name, (title, sheet) in sheets.items():
        rows, told = table(page, title), quick["formulas"][name]
        assert [r[0] for r in rows] == [t["label"] for t in told]
        for (_, value, unit, formula, source), line in zip(rows, told, strict=True):
            assert (formula, source) == (line["formula"], line["source"])
            assert _si(value, unit) == pytest.approx(sheet[line["key"]], rel=HAND_DIGITS), line
    return quick


def _si(value, unit):
    if unit == "L/min":
        return float(value) / 6e4
    match = re.fullmatch(r"([kMmµnp]?)(W|A|V|Hz|J|Ω|H|VA|g|m|s)", unit)
    if match is None:
        assert unit in ("", "°C"), unit
        return float(value)
    return float(value) * PREFIX[match[1]] * (1e-3 if match[2] == "g" else 1.0)


def same_field(page, job):
    """The figures beside the drawing against `coilwright field`."""
    settled(page)
    field, shown = asked("field", job), figures(page)
    powers = {re.sub(", to be spared$", "", k): v for k, v in shown.items() if k.startswith("power in ")}
    assert list(powers) == [f"power in {name}" for name in field["bodies"]]
    for name, body in field["bodies"].items():
        assert powers[f"power in {name}"] == pytest.approx(body["power_W"], rel=SHOWN, abs=1e-9), name
    assert shown["lost in the coil"] == pytest.approx(field["coil"]["power_W"], rel=SHOWN)
    assert shown["efficiency"] == pytest.approx(field["efficiency"], rel=5 * SHOWN)
    assert shown["coil current, rms"] == pytest.approx(field["coil"]["current_A"], rel=SHOWN)
    assert shown["frequency"] == pytest.approx(field["frequency_Hz"], rel=SHOWN)
    errors = [field["error"]["resistance"], field["error"]["inductance"], *field["error"]["power"].values()]
    known = max(e for e in errors if e is not None)
    assert shown["estimated error of these"] == pytest.approx(known, rel=0.06)  # two digits
    for state, label in (("loaded", "coil with the part"), ("unloaded", "coil empty")):
        read = field["coil"][state]
        henry, prefix, ohm, milli, q = re.match(
            r"([\d.]+) ([µn])H\s+([\d.]+) (m?)Ω\s+Q ([\d.]+)", shown[label]
        ).groups()
        assert float(henry) * PREFIX[prefix] == pytest.approx(read["inductance_H"], rel=SHOWN)
        assert float(ohm) * PREFIX[milli] == pytest.approx(read["resistance_ohm"], rel=HAND_DIGITS)
        assert float(q) == pytest.approx(read["q"], rel=HAND_DIGITS)
    return field


def same_shot(page, job):
    """Verdicts word by word, and every column of the curve at the instants shown."""
    go(page, "Shot")
    press(page, "Run the shot")
    page.locator(".verdict:visible").first.wait_for(timeout=1e3 * LONG)
    said = [" ".join(words.split()) for words in page.locator(".verdict:visible").all_inner_texts()]
    curve = list(csv.DictReader(io.StringIO(taken(page, "Take the table away (CSV)").decode("utf-8"))))
    code, shot = _shot(job)
    assert said == [f"{'holds' if a['met'] else 'fails'} {a['said']}" for a in shot["accept"]]
    assert (code == 0) == (shot["verdict"] == "pass") == all(words.startswith("holds") for words in said)
    trace, shown = shot["trace"], {k: [float(r[k]) for r in curve] for k in curve[0]}
    pick = _instants(len(trace["time_s"]))
    assert shown["time_s"] == pytest.approx([trace["time_s"][k] for k in pick], rel=1e-4, abs=1e-6)
    wanted = {f"{n}_{k}": b[k] for n, b in trace["bodies"].items() for k in ("min_degC", "mean_degC", "max_degC")}
    wanted |= {f"{name}_power_W": body["power_W"] for name, body in trace["bodies"].items()}
    wanted |= {f"{name}_degC": values for name, values in trace["points"].items()}
    wanted |= {f"coil_{key}": values for key, values in trace["coil"].items()}
    assert wanted.keys() <= shown.keys()
    for column, values in wanted.items():
        near = {"abs": 6e-3} if column.endswith("degC") else {"rel": SHOWN, "abs": 1e-9}
        assert shown[column] == pytest.approx([values[k] for k in pick], **near), column
    assert pick[-1] == len(trace["time_s"]) - 1
    return shot


def _instants(many, most=300):
    """The page keeps so many instants of a long trace at most, evenly counted."""
    kept = min(many, most)
    return sorted({round(k * (many - 1) / max(kept - 1, 1)) for k in range(kept)})


def _shot(job):
    code, out, _ = cli("heat", job, "--json")
    return code, json.loads(out)


_POINT = {
    "frequency": lambda p: p["frequency_Hz"] / 1e3,
    "phase, current lags": lambda p: math.degrees(p["phase_rad"]),
    "coil current": lambda p: p["coil"]["current_A"],
    "coil voltage": lambda p: p["coil"]["voltage_V"],
    "coil power": lambda p: p["coil"]["power_W"],
    "source voltage": lambda p: p["source"]["voltage_V"],
    "source current": lambda p: p["source"]["current_A"],
    "source power": lambda p: p["source"]["power_W"],
    "drive": lambda p: 100 * p["source"]["drive"],
    "coil power over source power": lambda p: 100 * p["efficiency"],
    "loaded Q": lambda p: p["loaded_q"],
    "unloaded Q": lambda p: p["unloaded_q"],
}


def same_tank(page, machine):
    """Operating points, components, ratings, start-up and water."""
    go(page, "Tank")
    done(page, "Compute the tank", "kHz")
    tank = asked("tank", machine)
    shown = {what: cells for what, *cells in table(page, "Operating points")}
    assert shown.keys() == {*_POINT, "held back by"}
    for label, read in _POINT.items():
        for cell, point in zip(shown[label], ("cold", "hot", "empty"), strict=False):
            figure = None if tank[point] is None else read(tank[point])
            assert close(cell, figure), (label, point)
    components = {name: cells for name, *cells in table(page, "Every component, cold")}
    assert components.keys() == tank["cold"]["components"].keys()
    for name, part in tank["cold"]["components"].items():
        wanted = [part["voltage_V"], part["current_A"], part["reactive_power_var"] / 1e3, part["loss_W"]]
        assert [float(c) for c in components[name]] == pytest.approx(wanted, rel=SHOWN, abs=1e-6), name
    ratings = table(page, "Capacitors: ratings and margins")
    for cells, worst in zip(ratings, tank["worst"], strict=True):
        scale = 1e-3 if worst["quantity"] == "reactive power" else 1.0
        assert cells[:2] == [worst["component"], worst["quantity"]]
        assert close(cells[2], scale * worst["value"])
        assert close(cells[6], 100 * worst["used"])
    start = {what: cells[0] for what, *cells in table(page, "Start-up and ringing")}
    for label, key, scale in (
        ("coil current within 10 % of its end after", "ring_up_time_s", 1e6),
        ("peak of the source current", "peak_source_current_A", 1.0),
        ("peak of the coil current", "peak_coil_current_A", 1.0),
        ("peak of the bank voltage", "peak_bank_voltage_V", 1.0),
    ):
        assert close(start[label], scale * tank["start_up"][key]), label
    whole = page.locator("section:visible tr", has_text="whole circuit").first.inner_text().split("\t")
    water = tank["cooling"]
    for cell, value in (
        (whole[2], water["flow_L_per_min"]),
        (whole[4], water["outlet_degC"]),
        (whole[7], water["heat_W"]),
    ):
        assert close(cell, value)
    told = " ".join(page.locator("section:visible .cautions li").all_inner_texts())
    assert all(c["text"] in told for c in tank["cautions"])
    return tank


def same_window(page, job, runs, shots=4000):
    """Yield, stations, limits of each thing, causes and sampling, on as many full shots on either side."""
    go(page, "Window")
    fill(page, effort="small", runs=runs, shots=shots, readings="no")
    done(page, "Look at the window", "yield")
    code, window = _window(job, runs, shots)
    parts = window["yield"]["parts"]
    heading = page.locator("section:visible h2", has_text=re.compile("yield")).inner_text()
    shown = [float(x) for x in re.findall(r"[\d.]+(?= %| to|\)| %)", heading.partition(":")[2])]
    assert shown[0] == pytest.approx(100 * parts["yield"], abs=6e-3)
    assert (code == 0) == (parts["yield"] >= 0.95)
    rows = table(page, "Yield by station")
    for cells, station, good in zip(rows, window["fixture"]["stations"], window["yield"]["stations"], strict=True):
        assert close(cells[1], station["power_W"])
        assert close(cells[2], station["current_A"])
        assert close(cells[3], 100 * station["voltage_share"])
        assert close(cells[4], station["start_time_s"])
        wanted = [100 * good[k] for k in ("yield", "low", "high")]
        assert [float(c) for c in cells[5:8]] == pytest.approx(wanted, rel=SHOWN, abs=1e-3)
    for cells, limit in zip(table(page, "How far each thing may be out"), window["tolerances"], strict=True):
        assert cells[0] == limit["what"]
        for cell, end in ((cells[2], "low"), (cells[3], "high")):
            value = next((v for k, v in limit.items() if re.fullmatch(rf"{end}(_(?!because)\w+)?", k)), None)
            assert cell.startswith("beyond") == (value is None), (cells, limit)
            if value is not None:
                assert _length(cell) == pytest.approx(value, rel=2e-2, abs=1e-9), (cells, limit)
    causes = {name: cells for name, *cells in table(page, "What moves the result")}
    for name, share in window["variance"]["shares"].items():
        assert float(causes[name][0]) == pytest.approx(100 * max(share["total"], 0.0), rel=SHOWN, abs=1e-6), name
    for cells, proof in zip(table(page, "How many parts prove it"), window["sampling"], strict=True):
        assert int(cells[1]) == proof["parts"]
        assert close(cells[2], 100 * proof["chance_to_pass"])
    return window


def _length(cell):
    """SI of a limit as it is shown; a plain share stays one."""
    number, _, unit = cell.partition(" ")
    scale = {"mm": 1e-3, "%": 1e-2, "": 1.0, "deg": math.pi / 180, "mg": 1e-6}.get(unit)
    return float(number) * (1.0 if scale is None else scale)


def _window(job, runs, shots):
    effort = ("--runs", runs, "--shots", shots, "--no-readings", "--reshoot", 0, "--workers", 2)
    code, out, error = cli("window", job, *effort, "--json")
    assert code in (0, 1), error
    return code, json.loads(out)


def same_pack(page, machine, out, tank=None):
    """The build pack: every file is, byte by byte, the one the command writes; its tables and words carry the tank."""
    go(page, "Paper")
    fill(page, date="2026-03-02")
    done(page, "Write the build pack", "files")
    pack = asked("pack", machine, "--out", out, "--date", "2026-03-02")
    written = sorted(p.name for p in out.iterdir())
    offered = page.get_by_role("button", name=re.compile("^Take .* away$")).locator("visible=true").all()
    names = [b.get_attribute("aria-label").removeprefix("Take ").removesuffix(" away") for b in offered]
    assert {*written, "pack.zip"} <= set(names)
    for name in written:
        assert taken(page, f"Take {name} away") == (out / name).read_bytes(), name
    words = words_of((out / "pack.pdf").read_bytes())
    assert pack["digest"] in words
    settings = {what: cells for what, *cells in table(page, "Settings")}
    for label, point in (("frequency, cold part", "cold"), ("frequency, end of the shot", "hot")) if tank else ():
        assert close(settings[label][0], tank[point]["frequency_Hz"] / 1e3)
        assert settings[label][0] in words
    return pack


def filled_in(page, form, machine, out):
    """The hand-over form filled with what it expects, brought to the page and opened as the job it has become."""
    rows = list(csv.reader(form.read_text(encoding="utf-8").splitlines()))
    start = next(k for k, row in enumerate(rows) if row and row[0] == "what")
    for row in rows[start + 1 :]:
        row[5] = row[3]
    filled = out / "filled.csv"
    with filled.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    go(page, "Line")
    chosen = page.get_by_label("bring the filled form")
    chosen.set_input_files(filled)
    name = f"{machine.stem}-handed-over.toml"
    link = page.get_by_role("link", name=f"open {name}", exact=True)
    link.wait_for()
    by_command = out / "by-command"
    got = asked("pack", machine, "--filled", filled, "--out", by_command)
    assert page.get_by_text(f"with {got['readings']} readings").count() == 1
    job = machine.with_name(name)
    assert job.read_text(encoding="utf-8") == (by_command / name).read_text(encoding="utf-8")
    chosen.set_input_files(filled)
    page.get_by_text("is not overwritten").wait_for()
    link.click()
    page.locator(".file", has_text=f"{name}, saved").wait_for()
    page.locator("section:visible h2").first.wait_for()
    return job


# Units of the hand-over form in SI.
_READ_IN = {
    "": 1.0, "kHz": 1e3, "A": 1.0, "V": 1.0, "W": 1.0, "K": 1.0, "s": 1.0, "µF": 1e-6, "g": 1e-3, "mΩ": 1e-3, "mm": 1e-3,
    "L/min": 1 / 6e4, "bar": 1e5, "µH": 1e-6,
}  # fmt: skip


def same_record(page, job):
    """The hand-over record beside the model, and the limits of the readings."""
    done(page, "Lay the record beside the model", "hand-over record")
    record = asked("line", "record", job)
    for cells, row in zip(table(page, "The record beside the model"), record["readings"], strict=True):
        assert cells[0] == row["reading"]
        assert cells[1] == str(row["station"] or "whole")
        si = _READ_IN[cells[5]]
        for cell, key in zip(cells[2:5], ("measured", "uncertainty", "predicted"), strict=True):
            assert close(cell, None if row[key] is None else row[key] / si), row
        assert close(cells[7], row["apart"]), row
    lacks = page.get_by_role("region", name="What the record lacks", exact=True)
    assert [c.strip() for c in lacks.locator("tbody tr").all_inner_texts()] == record["lacking"]
    bounds = asked("line", "limits", job)["limits"]
    for cells, limit in zip(table(page, "Green, amber, red"), bounds, strict=True):
        unit = "mm" if "red_mm" in limit else "percent"
        assert cells[0] == limit["reading"]
        for cell, level in ((cells[3], "amber"), (cells[4], "red")):
            assert float(cell.split()[0]) == pytest.approx(limit[f"{level}_{unit}"], rel=0.06)  # two digits
        assert (cells[5] == "yes") == limit["can_be_seen"]
    return record


def rehearsed(page, job, out, fault, size, station=None, seed=4):
    """A fault rehearsed; its three files are those of the command. (number of the rehearsal, what was wrong)"""
    fill(page, fault=fault, at=station or "", size=size, seed=seed)
    number = done(page, "Rehearse it", "a fault in")
    at = ("--station", station) if station else ()
    case = asked("line", "rehearse", job, "--out", out, "--fault", fault, *at, "--size", size, "--seed", seed)
    for name in ("log.csv", "readings.toml", "map.toml"):
        assert taken(page, f"Take {name} away") == (out / name).read_bytes()
    asked("line", "add", out / "log.csv", "--map", out / "map.toml", "--store", out / "s.db")
    return number, case["fault"]


def same_log(page, number, store):
    """The log of the rehearsal."""
    fill(page, store=f"rehearsal {number}")
    done(page, "Look at the log", "machine rehearsal")
    shown = asked("line", "show", "--store", store)
    heading = page.locator("h2", has_text="machine rehearsal").inner_text()
    assert heading.endswith(f"{shown['bad']} bad of {shown['tried']}")
    stations = shown["stations"]
    wanted = zip(stations["tried"], stations["bad"], shown["station_against_rest_p"], strict=True)
    for cells, (tried, bad, chance) in zip(table(page, "Station against the others"), wanted, strict=True):
        assert (int(cells[1]), int(cells[2])) == (tried, bad)
        assert close(cells[3], 100 * bad / tried)
        assert close(cells[4], chance)
    assert all(page.get_by_text(line, exact=True).count() for line in shown["said"])
    return shown


def same_cause(page, job, number, out, told):
    """The cause of a rehearsed fault, what to read next, and the service report."""
    fill(page, file=f"rehearsal {number}", log="yes")
    done(page, "Find the cause", "")
    answer = asked("why", job, "--readings", out / "readings.toml", "--store", out / "s.db")
    assert_causes(page, answer)
    assert page.get_by_text(answer["said"]).count() >= 1
    if answer["next"]:
        for cells, reading in zip(table(page, "What to read next"), answer["next"], strict=True):
            assert cells[0] == reading["ask"]
            assert close(cells[1], reading["information_bits"])
            assert close(cells[2], reading["time_s"] / 60)
    words = words_of(taken(page, "Take service-report.pdf away"))
    assert answer["causes"][0]["name"] in words
    press(page, f"Say what was wrong in rehearsal {number}")
    page.get_by_text(re.compile(f"What was wrong: {re.escape(told['name'])}")).wait_for()
    return answer


def assert_causes(page, answer):
    """The ranked causes with the sizes found."""
    likely = [cause for cause in answer["causes"] if cause["probability"] > 0.005]  # what the page lists
    for cells, cause in zip(table(page, "Causes"), likely, strict=True):
        assert float(cells[0]) == pytest.approx(100 * cause["probability"], rel=SHOWN)
        assert cells[1] == cause["name"]
        if cause["size"]:
            found = [float(c) for c in cells[2:5]]
            assert found == pytest.approx([cause["size"][k] for k in ("middle", "low", "high")], rel=SHOWN)
