"""Traces and sheets as people make them: what is found in them, and one sentence for each thing that is wrong."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.job import loads, template
from coilwright.readings.records import Temperatures
from coilwright.trials.measured import TraceOptions, measured, read_trace
from coilwright.trials.sheet import blank_sheet, read_sheet, sheet_from
from coilwright.trials.unknowns import unknowns
from tests.trials.jobs import ring_job, sheet

PLACES = ["ring", "ring: mean", "ring: hottest", "ring: coldest"]


def climbing(start=2.0, until=12.0, step=0.1, noise=0.5, seed=0):
    t = np.arange(0.0, until, step)
    kelvin = 293.15 + 60.0 * np.clip(t - start, 0.0, 6.0) + noise * np.random.default_rng(seed).standard_normal(len(t))
    return t, kelvin


def look(t, kelvin, form=None, **options):
    return measured(
        Temperatures(t, {"TC": kelvin}, "trace.csv"), ring_job(), form or sheet(), PLACES, TraceOptions(**options)
    )


def test_power_on_is_found_in_the_trace():
    seen = look(*climbing())
    assert seen.start.value == pytest.approx(2.0, abs=2.0 * seen.start.sigma)
    assert [f.code for f in seen.findings] == ["trial-start-found"]
    assert seen.channels[0].place == "ring"
    assert seen.channels[0].time[0] < 0.1


def test_power_on_as_told_is_taken():
    seen = look(*climbing(), start=1.9)
    assert seen.start.value == 1.9
    assert not seen.findings


def test_glitches_go_and_a_firing_charge_stays():
    t, kelvin = climbing(noise=0.3)
    kelvin[[30, 70, 71]] += 90.0
    jump = t > 5.5
    kelvin[jump] += 180.0 * np.clip((t[jump] - 5.5) / 0.3, 0.0, 1.0)
    seen = look(t, kelvin)
    assert seen.channels[0].left_out == 3
    near = (seen.channels[0].time > 3.4) & (seen.channels[0].time < 4.0)
    assert near.sum() >= 5


def test_whole_degrees_count_as_noise():
    t, kelvin = climbing(noise=0.0)
    assert look(t, np.round(kelvin)).channels[0].noise >= 1.0 / np.sqrt(12.0) - 0.01


def test_a_few_stopwatch_points_are_a_trace():
    seen = look(np.array([0.0, 2.0, 4.0, 6.0, 8.0]), 293.0 + np.array([0.0, 100.0, 190.0, 270.0, 260.0]), start=0.0)
    assert seen.channels[0].noise == 3.0


def test_a_short_trace_is_told():
    seen = look(*climbing(start=0.5, until=4.0), start=0.5)
    assert [f.code for f in seen.findings] == ["trial-trace-short"]


@pytest.mark.parametrize(
    ("make", "options", "said"),
    [
        (lambda: climbing(), {"columns": {"TC": "bulb"}}, "no body of ring.toml and no point within one"),
        (lambda: climbing(), {"start": 30.0}, "must lie within the trace"),
        (lambda: climbing(start=2.0, until=2.4), {"start": 2.1}, "samples after power on"),
        (lambda: (np.arange(50.0), 300.0 + 0.1 * np.sin(np.arange(50.0))), {}, "tells nothing about a shot"),
        (lambda: climbing(until=2.55, step=0.02), {"start": 2.0}, "at least a tenth"),
    ],
)
def test_traces_that_cannot_serve(make, options, said):
    with pytest.raises(BadInput, match=said):
        look(*make(), **options)


def test_columns_must_be_told_apart():
    t, kelvin = climbing()
    two = Temperatures(t, {"TC1": kelvin, "TC2": kelvin}, "trace.csv")
    with pytest.raises(BadInput, match=r'say which is which, e\.g\. --column "TC1=ring"'):
        measured(two, ring_job(), sheet(), PLACES)
    named = Temperatures(t, {"ring": kelvin, "room": kelvin}, "trace.csv")
    assert [c.name for c in measured(named, ring_job(), sheet(), PLACES).channels] == ["ring"]


@pytest.mark.parametrize(
    ("text", "options", "said"),
    [
        ("time [s],TC [mV]\n0,1\n1,2\n2,3\n", {}, "unknown unit"),
        ("time [s],TC\n0,20\n1,30\n2,40\n", {}, "does not say its unit"),
        ("time [s],TC [degC]\n0,20\n2,30\n1,40\n", {}, "runs backwards"),
        ("time [s],TC [degC]\n0,20\n1,30\n2,40\n", {"columns": {"TC9": "ring"}}, 'no temperature column "TC9"'),
        ("time [s],TC [degC]\n0,20\n1,nan\n2,40\n", {}, "no number"),
        ("time [s],TC [degC]\n0,20\n1,-300\n2,40\n", {}, "absolute zero"),
    ],
)
def test_trace_files_with_faults(text, options, said, tmp_path):
    (tmp_path / "t.csv").write_text(text)
    with pytest.raises(BadInput, match=said):
        read_trace(tmp_path / "t.csv", sheet(), TraceOptions(**options))


SHEET = """
format = 1
[trial]
name = "T-7"
date = 2026-03-04
coil = "C-2"
gap = "1.0 mm"
[changes]
"drive.on_time" = "5 s"
[trace]
start = "2 s"
error = "2 K"
[trace.columns]
TC = "ring"
[[event]]
what = "reaches"
temperature = "400 degC"
at = "4.1 s"
[[event]]
what = "glow seen"
at = "5 s"
by = "video"
[[reading]]
what = "coil current"
value = "255 A"
uncertainty = "2 %"
[[reading]]
what = "inductance change"
value = "21 nH"
[water]
flow = "1 L/min"
rise = "5 K"
"""


def test_a_sheet_is_read(tmp_path):
    (tmp_path / "s.toml").write_text(SHEET)
    form = read_sheet(tmp_path / "s.toml")
    assert form.trial.date == "2026-03-04"
    assert [r.sigma for r in form.reading] == pytest.approx([5.1, 0.4e-9])
    t, kelvin = climbing()
    seen = look(t, kelvin, form)
    assert [str(d) for d in seen.data] == [
        "reaches ring",
        "coil current",
        "inductance change",
    ]  # a glow is for the record
    assert seen.data[0].limit == pytest.approx(673.15)
    assert seen.error == 2.0
    assert seen.name == "T-7"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "T-7"', "", "name"),
        ('what = "coil current"', 'what = "coil currant"', "not a reading a trial can use.*coil current"),
        ('value = "255 A"', 'value = "255 V"', "is not a current"),
        ('temperature = "400 degC"\n', "", "says what"),
        ('start = "2 s"', 'start = "2"', "no unit"),
        ('gap = "1.0 mm"', "gap_width = 1", "gap_width"),
        ('flow = "1 L/min"', 'flow = "1 kg"', "flow"),
        ('by = "video"', 'by = "ear"', "by"),
    ],
)
def test_sheets_with_faults(old, new, said, tmp_path):
    assert old in SHEET
    (tmp_path / "s.toml").write_text(SHEET.replace(old, new))
    with pytest.raises(BadInput, match=said):
        read_sheet(tmp_path / "s.toml")


def test_events_of_what_the_job_has_not():
    form = sheet_from({"trial": {"name": "x"}, "event": [{"what": "charge starts", "at": "4 s"}]}, "s.toml")
    with pytest.raises(BadInput, match="needs a body with a charge"):
        look(*climbing(), form)
    form = sheet_from({"trial": {"name": "x"}, "event": [
        {"what": "reaches", "at": "4 s", "temperature": "300 degC", "where": "rung"}]}, "s.toml")  # fmt: skip
    with pytest.raises(BadInput, match=r"no place of ring\.toml"):
        look(*climbing(), form)
    assert blank_sheet("x").event == ()


# what may be fitted ---------------------------------------------------------------------------------------------------


def test_usual_unknowns_of_a_job():
    names = [x.name for x in unknowns(ring_job(), ())]
    assert names == ["power", "emissivity", "support", "convection", "heat content"]
    getter = loads(template("ring-through-glass"), "getter.toml")
    names = [x.name for x in unknowns(getter, (), electrical=True)]
    assert names == ["power", "emissivity", "support", "charge rate", "heat content", "charge heat", "resistivity factor",
                     "gap (coil.centre)"]  # fmt: skip


def test_values_come_and_go_on_their_scales():
    for x in unknowns(loads(template("ring-through-glass"), "getter.toml"), (), electrical=True):
        assert x.value(0.0) == pytest.approx(x.nominal)
        for u in (-2.0, 0.3, 1.5):
            assert x.place(x.value(u)) == pytest.approx(u)
        assert x.value(1.0) > x.value(-1.0)
    (emissivity,) = (x for x in unknowns(ring_job(), ()) if x.name == "emissivity")
    assert 0.0 < emissivity.value(-8.0) < emissivity.value(8.0) < 1.0


def test_widths_are_taken():
    found = unknowns(ring_job(), ("power=2 %", "coil.centre=0.2 mm", "emissivity=0.1", "heat content=1 %"))
    by = {x.name: x for x in found}
    assert by["power"].width == pytest.approx(0.02)
    assert by["coil.centre"].width == pytest.approx(0.2e-3)
    assert by["emissivity"].width == pytest.approx(0.1 / 0.24)
    assert not by["heat content"].aside


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("charge", "nothing of that kind; it has power"),
        ("permeability", "nothing of that kind"),
        ("emisivity", "not a quantity of ring.toml; .*emissivity"),
        ("coil.turns", "must say how far"),
        ("coil.centre", "must say how far"),
        ("power=fast", "does not begin with a number"),
        ("power=-2 %", "above zero"),
        ("body.ring.material=1 %", "must name a value with a unit"),
        ("coil", "not a quantity"),
    ],
)
def test_what_cannot_be_fitted(asked, said):
    with pytest.raises(BadInput, match=said):
        unknowns(ring_job(), (asked,))


def test_twice_the_same_is_refused():
    with pytest.raises(BadInput, match="asked for twice"):
        unknowns(ring_job(), ("power", "drive.coil_current"))
