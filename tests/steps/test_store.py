"""The steps about what is kept: figures of a job, coils beside their design, the shelf from a stock file, hand-overs."""

import math
from types import SimpleNamespace

import pytest

from coilwright.errors import BadInput
from coilwright.job import loads, template
from coilwright.line.record import Beside
from coilwright.line.why import predicted_healthy
from coilwright.steps import store as steps
from coilwright.steps.field import field
from coilwright.steps.quick import quick
from coilwright.steps.store import designed, figures, find, hand_over, keep, measured_coil, shelve
from coilwright.store.opening import open_store
from coilwright.store.records import CoilReading
from coilwright.tank.stock import parse_stock
from tests.line.machines import board

STOCK = """\
name,capacitance,count,price,tolerance,loss_tangent,frequency,rated_voltage,rated_current,rated_kvar,\
temperature_coefficient
film,0.33 uF,12,8.5,0.05,5e-4,50 kHz; 100 kHz,700 V; 600 V,80 A,40 kvar,-250 ppm/K
mica,1 nF,3,,,,,2 kV,,,
"""
MACHINE = """
[machine]
date = "2026-05-04"
by = "k"
[[machine.reading]]
what = "frequency"
value = "101 kHz"
uncertainty = "50 Hz"
[[machine.reading]]
what = "q"
value = 74
repeats = [73, 75]
[[machine.reading]]
what = "coil-current"
value = "200 A"
condition = "hot"
[[machine.reading]]
what = "start"
station = 1
value = "4.8 s"
"""


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "s.db") as opened:
        yield opened


def job(kind="ring-through-glass"):
    return loads(template(kind), f"{kind}.toml")


def test_figures_are_those_of_the_hand_calculation():
    found, lacks = figures(job())
    sheet = quick(job())
    assert lacks == ""
    assert found["mass_kg"] == pytest.approx(sum(b.value("mass_kg") for b in sheet.bodies))
    assert found["depths"] == sheet.bodies[0].value("thickness_over_depth_hot")
    assert found["power_W"] == pytest.approx(sum(b.value("power_needed_W") for b in sheet.bodies))
    assert (found["winding"], found["frequency_Hz"]) == ("helix", job().drive.frequency)
    assert found["materials"] == sorted({b.material for b in job().bodies if b.role == "work"})


def test_a_job_that_cannot_be_computed_is_kept_and_says_so(store):
    crossed = job().with_value("coil.centre", "0 mm")
    kept = keep(crossed, store)
    assert kept.new
    assert kept.lacks
    assert kept.version.figures["winding"] == "helix"
    assert "mass_kg" not in kept.version.figures
    assert store.job(crossed.title).text == crossed.text


def test_keep_and_find(store):
    kinds = ("ring-through-glass", "bar-in-coil", "ferrule-to-braze", "pancake-under-disc")
    for kind in kinds:
        assert keep(job(kind), store, name=kind).new
    assert not keep(job("bar-in-coil"), store, name="bar-in-coil", note="again").new
    near = job("bar-in-coil").with_value("drive.frequency", "140 kHz")
    found = find(store, near)
    assert found[0].version.job == "bar-in-coil"
    assert found[0].likeness > 0.9
    assert found[1].likeness < 0.6
    assert "bar-in-coil" not in [f.version.job for f in find(store, job("bar-in-coil"))]  # itself is no news
    assert find(store, wanted={"winding": "spiral"})[0].version.job == "pancake-under-disc"
    assert find(store, words="ferrule")[0].version.job == "ferrule-to-braze"
    with pytest.raises(BadInput, match="needs something"):
        find(store)


@pytest.mark.parametrize("state", ["empty", "loaded"])
def test_the_design_is_the_field_with_leads(state):
    report = field(job(), estimate_error=False)
    coil = report.result.unloaded if state == "empty" else report.result.loaded
    inductance, resistance = designed(job(), job().drive.frequency, state)
    assert inductance == pytest.approx(coil.inductance + report.leads.inductance, rel=1e-6)
    assert resistance == pytest.approx(coil.resistance + report.leads.resistance, rel=1e-6)


def test_skin_effect_of_the_design_at_the_frequency_of_the_meter():
    low, high = designed(job(), 1e5, "empty"), designed(job(), 4e5, "empty")
    assert 1.5 < high[1] / low[1] < 2.1  # resistance with the root of frequency
    assert 0.9 < high[0] / low[0] < 1.0


def test_a_coil_as_built(store):
    kept = keep(job(), store)
    inductance, resistance = designed(job(), 3.5e5, "empty")
    reading = CoilReading(3.5e5, 1.02 * inductance, 1.1 * resistance, when=1.0)
    made = measured_coil(store, "W 1", reading, job(), kept.version)
    assert (made.job, made.version) == (job().title, 1)
    assert made.winding["turns"] == job().coil.turns
    assert made.readings[0].inductance_ratio == pytest.approx(1.02)
    again = measured_coil(
        store, "W 1", CoilReading(1e5, inductance, resistance, when=2.0)
    )  # the design it was built for
    assert again.readings[1].designed_inductance == pytest.approx(designed(job(), 1e5, "empty")[0])
    bare = measured_coil(store, "W 2", reading)
    assert bare.readings[0].designed_inductance is None


def test_a_stock_file_goes_in_and_out(store, tmp_path):
    path = tmp_path / "shelf.csv"
    path.write_text(STOCK, encoding="utf-8")
    before = parse_stock(STOCK.splitlines(), "shelf.csv")
    for _ in range(2):  # twice changes nothing
        assert [c.name for c in shelve(store, path)] == ["film", "mica"]
    assert [c.count for c in store.cans()] == [12, 3]
    after = parse_stock(store.stock().splitlines(), "stock.csv")
    for one, other in zip(before, after, strict=True):
        assert other.count == one.count
        assert other.can.capacitance == pytest.approx(one.can.capacitance)
        for frequency in (5e4, 7e4, 1e5):
            for key in ("voltage", "current", "reactive_power"):
                a, b = getattr(one.can, key), getattr(other.can, key)
                assert (a is None and b is None) or b.at(frequency) == pytest.approx(a.at(frequency))


def test_a_hand_over(store):
    machine = loads(template("ring-through-glass") + MACHINE)
    keep(machine, store, name="ring")
    kept = hand_over(store, "press 2", machine)
    assert (kept.job, kept.version, kept.record["by"]) == ("ring", 1, "k")
    first, second, third, fourth = kept.readings
    assert (first.what, first.station, first.value, first.sigma) == (
        "frequency",
        0,
        pytest.approx(101e3),
        pytest.approx(50.0),
    )
    assert second.sigma == pytest.approx(math.sqrt(1.0))  # of 74, 73, 75
    assert (third.station, third.condition, third.value) == (0, "hot", 200.0)
    assert (fourth.station, fourth.condition, fourth.value, fourth.sigma) == (1, "cold", 4.8, pytest.approx(0.05 * 4.8))
    assert store.hand_overs("press 2") == (kept,)
    with pytest.raises(BadInput, match=r"at least one \[\[machine.reading\]\]"):
        hand_over(store, "press 2", job())


def test_what_the_model_says_stands_beside_cold_readings(store, monkeypatch):
    rows = [Beside("frequency", 0, 101e3, 50.0, 99e3, "model", 1.0), Beside("start", 1, 4.8, 0.1, 4.7, "stations", 1.0)]
    monkeypatch.setattr(steps, "line_record", lambda job: SimpleNamespace(rows=rows))
    kept = hand_over(store, "press 2", loads(template("ring-through-glass") + MACHINE), model=True)
    assert [r.predicted for r in kept.readings] == [99e3, None, None, None]

    def cannot(job):
        raise BadInput("no machine")

    monkeypatch.setattr(steps, "line_record", cannot)
    kept = hand_over(store, "press 2", loads(template("ring-through-glass") + MACHINE), model=True)
    assert [r.predicted for r in kept.readings] == [None] * 4


@pytest.mark.slow
def test_a_hand_over_stands_beside_the_model(store):
    fixture = '\n[fixture]\nstations = 6\nspacing = "80 mm"\nfeed = "series"\ncontrol = "voltage"\n'
    machine = loads(template("ring-through-glass") + fixture + MACHINE).with_value("drive.coil_current", "139 A")
    first, second, third, fourth = hand_over(store, "press 2", machine, model=True).readings
    expected = predicted_healthy(board().plant)
    assert first.predicted == pytest.approx(expected["frequency"], rel=1e-6)
    assert second.predicted == pytest.approx(expected["q"], rel=0.2)  # the board of the record takes its Q from it
    assert third.predicted is None  # hot: the model's are cold
    assert fourth.predicted == pytest.approx(expected["start"], rel=0.05)
