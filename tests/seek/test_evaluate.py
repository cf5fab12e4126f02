"""One point: what stops it, and every figure against another way to it."""

import json
import math
from itertools import pairwise

import numpy as np
import pytest

from coilwright.heating.model import shot_model
from coilwright.heating.setup import drive_of
from coilwright.job import load, loads
from coilwright.section.scene import scene
from coilwright.seek.evaluate import Evaluator, Outcome
from coilwright.seek.figures import FIGURES, Requirement
from coilwright.seek.screen import short_of_energy
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from coilwright.steps.tank import tank
from coilwright.units import parse

from .jobs import WASHER, washer
from .test_change import EXAMPLES

EVERY = ("time", "coil current", "coil voltage", "coil kVA", "efficiency", "setback loss")
EDGES = ("power margin", "setback")


def look(job, values, names=EVERY, required=(), level="coarse"):
    return Evaluator(job, tuple(FIGURES[n] for n in names), tuple(required))(values, level)


@pytest.fixture(scope="module")
def edges():
    return look(washer(), {"drive.coil_current": "380 A"}, EDGES, level="normal")


def test_figures_are_those_of_heat():
    values = {"coil.centre": "-7 mm", "drive.coil_current": "420 A"}
    found = look(washer(), values, level="normal").figures
    shot = heat(washer().with_values(values), estimate_error=False)
    coil, time = shot.trace.coil, shot.trace.time
    assert found["time"] == shot.verdicts[0].details["reached_at_s"]
    assert found["coil current"] == coil.current.max()
    assert found["coil kVA"] == (coil.current * coil.voltage).max()
    # energies by another rule than the search's: the parabola through three points of an even trace
    even = heat(washer().with_values(values), estimate_error=False, every=0.05).trace
    assert even.time[-1] == time[-1]
    share = np.trapezoid(even.bodies["washer"].power, even.time) / np.trapezoid(even.coil.power, even.time)
    assert found["efficiency"] == pytest.approx(share, rel=2e-3)


def test_the_power_margin_is_what_may_be_lost(edges):
    """The coil current that carries just so much less power meets the deadline within what `close` promises."""
    at_edge = 380.0 * math.sqrt(1.0 - edges.figures["power margin"])
    margins = []
    for factor in (1.0, 1.01, 0.99):
        shot = heat(washer().with_value("drive.coil_current", f"{factor * at_edge} A"), estimate_error=False)
        margins.append(2.5 / (shot.verdicts[0].details["reached_at_s"] or 1e9))
    assert margins[0] == pytest.approx(1.0, abs=4e-3)
    assert margins[1] > 1.0 > margins[2]


def test_the_setback_is_how_far_the_coil_may_go(edges):
    back = edges.figures["setback"]
    assert 0.5e-3 < back < 5e-3
    job = washer().with_value("drive.coil_current", "380 A")
    for factor, met in ((0.97, True), (1.03, False)):
        assert heat(job.with_value("coil.centre", f"{-8e-3 - factor * back} m"), estimate_error=False).passed is met


def test_the_setback_of_the_cold_field_is_that_of_full_shots(edges):
    cheap = look(washer(), {"drive.coil_current": "380 A"}, EDGES)
    assert cheap.figures["setback"] == pytest.approx(edges.figures["setback"], rel=0.02)
    assert cheap.figures["power margin"] == pytest.approx(edges.figures["power margin"], rel=0.02)
    assert cheap.shots < edges.shots


def test_the_setback_loss_is_that_of_two_cold_fields():
    here, back = (
        field(washer().with_value("coil.centre", z), level="coarse", estimate_error=False).result.body_powers["washer"]
        for z in ("-8 mm", "-9 mm")
    )
    assert look(washer(), {}).figures["setback loss"] == pytest.approx((1.0 - back / here) / 1e-3, rel=2e-3)


def test_a_coil_round_its_part_may_be_out_both_ways():
    """Middle on middle the field is flat, so that the first millimetre costs little either way; off the middle it costs more."""
    round_it = washer(
        "", ('mean_diameter = "20 mm"', 'mean_diameter = "36 mm"'), ('"-8 mm"', '"0 mm"'), ("400 A", "800 A")
    )
    centred, off = (look(round_it.with_value("coil.centre", z), {}).figures["setback loss"] for z in ("0 mm", "2 mm"))
    assert 0.0 < centred < 0.5 * off


def test_nearer_is_stronger_and_more_current_is_faster():
    near = [look(washer(), {"coil.gap": f"{g} mm"}, (*EVERY, *EDGES)).figures for g in (1.0, 1.5, 2.0, 2.5)]
    for a, b in pairwise(near):
        assert a["time"] < b["time"]
        assert a["efficiency"] > b["efficiency"]
        assert a["power margin"] > b["power margin"]
    amps = [look(washer(), {"drive.coil_current": f"{i} A"}, (*EVERY, *EDGES)).figures for i in (360, 400, 440)]
    for a, b in pairwise(amps):
        assert a["time"] > b["time"]
        assert a["setback"] < b["setback"]
        # nothing saturates, so volts go with amps and power with their square
        assert b["coil kVA"] / a["coil kVA"] == pytest.approx((b["coil current"] / a["coil current"]) ** 2, rel=1e-9)


def test_what_cannot_be_drawn_is_counted_with_its_reason():
    clash = look(washer(), {"coil.turns": 3})
    assert clash.stage == "drawn"
    assert list(clash.stops) == ['body "washer" and coil']
    wide = look(washer(), {"coil.conductor": {"diameter": "7 mm"}})
    assert list(wide.stops) == ["coil.pitch"]
    assert wide.violation > clash.violation - 1e-9 > 50.0


def test_too_little_power_is_seen_before_any_shot_and_only_then():
    weak = look(washer(), {"drive.coil_current": "80 A"})
    assert (weak.stage, weak.shots) == ("field", 0)
    ((name, (by, said)),) = weak.stops.items()
    assert "cold field" in name
    assert by > 0.5
    assert "J" in said
    # the screen is a bound: whatever it stops misses by far, and whatever passes a shot is let through
    for amps in (100, 150, 200, 250, 330):
        job = washer().with_value("drive.coil_current", f"{amps} A")
        model = shot_model(scene(job), 40e3, "coarse")
        if short_of_energy(model, drive_of(job)) is not None:
            margin = heat(job, estimate_error=False).verdicts[0].margin_K
            assert margin < -20.0


def test_a_failing_shot_says_by_how_much_and_gets_no_more_shots():
    late = look(washer(), {"drive.coil_current": "280 A"}, EDGES)
    assert (late.stage, late.shots) == ("shot", 1)
    ((name, (by, said)),) = late.stops.items()
    assert name == "washer: coldest reaches 200 degC within 2.5 s"
    assert by == pytest.approx(
        math.log(look(washer(), {"drive.coil_current": "280 A"}).figures["time"] / 2.5), rel=1e-9
    )
    assert "too late" in said


def test_requirements_stop_points_and_say_what_they_found():
    most = Requirement(FIGURES["coil current"], None, 320.0)
    least = Requirement(FIGURES["efficiency"], 0.9, None)
    found = look(washer(), {}, required=(most, least))
    assert set(found.stops) == {"coil current at most 320 A", "efficiency at least 90 %"}
    assert found.stops["coil current at most 320 A"][0] == pytest.approx(0.25)
    loss = Requirement(FIGURES["setback loss"], None, 1.0)
    early = look(washer(), {}, ("time",), (loss,))
    assert (early.stage, early.shots) == ("field", 0)  # known from the cold field, so no shot is spent


def test_too_much_heat_stops_too_and_a_margin_without_a_lower_end_is_open():
    hot = washer('[[accept]]\nbody = "washer"\nstays_below = "250 degC"\n')
    found = look(hot, {}, ("headroom",), level="normal")
    assert "washer: hottest stays below 250 degC" in found.stops
    peak = heat(hot, estimate_error=False).verdicts[1].details["peak_degC"]
    assert found.figures["headroom"] == pytest.approx(250.0 - peak, rel=1e-12)
    only = loads(WASHER.replace('reaches = "200 degC"\nwithin = "2.5 s"', 'stays_below = "1200 degC"'))
    free = look(only, {}, EDGES)
    assert set(free.beyond) == set(EDGES)


def test_one_acceptance_written_twice_is_no_trouble():
    twice = washer('[[accept]]\nbody = "washer"\nreaches = "200 degC"\nwithin = "2.5 s"\n')
    assert look(twice, {}, EDGES).figures == look(washer(), {}, EDGES).figures


def test_an_outcome_goes_through_text_unchanged():
    for found in (look(washer(), {"coil.gap": "1.3 mm"}, EDGES), look(washer(), {"coil.turns": 3})):
        assert Outcome.from_dict(json.loads(json.dumps(found.to_dict()))) == found


@pytest.mark.slow
def test_ratings_of_source_and_capacitors_stop_points():
    job = load(EXAMPLES / "with-tank.toml")
    fine = look(job, {}, ("capacitor use", "source current", "source kVA", "efficiency"))
    assert fine.passes
    assert 0.2 < fine.figures["capacitor use"] <= 1.0
    shot = heat(job, estimate_error=False).trace
    work, coil = (np.trapezoid(p, shot.time) for p in (shot.bodies["ring"].power, shot.coil.power))
    assert fine.figures["efficiency"] < work / coil
    low = look(job, {"capacitor.1.rated_voltage": "300 V"}, ("capacitor use",))
    assert list(low.stops) == ["tank: ceramic 6.8 nF voltage within its rating"]
    # a quarter of the volts allowed is four times the use of them, if volts were what was used most before
    assert 1.0 < low.figures["capacitor use"] / fine.figures["capacitor use"] <= 4.0 + 1e-9
    stalled = look(job, {"tank.transformer.ratio": 3}, ("capacitor use",))
    assert (stalled.stage, list(stalled.stops)) == ("field", ["the source runs on the coil"])


@pytest.mark.slow
def test_ratings_are_those_of_the_tank_report_the_empty_coil_included():
    """On a set drive level the empty coil rings higher than the loaded one: a rating that only this breaks stops the point."""
    text = (EXAMPLES / "with-tank.toml").read_text(encoding="utf-8")
    loose = text.replace('hold = "coil current"\ncoil_current = "132 A"', 'hold = "level"\nlevel = 0.215')
    job = loads(loose, folder=EXAMPLES)
    report = tank(job).report
    used = {(r.component, r.quantity): r.used for r in report.empty.ratings}
    loaded = {(r.component, r.quantity): max(a.used, r.used)
              for a, r in zip(report.cold.ratings, report.hot.ratings, strict=True)}  # fmt: skip
    worst = max(used, key=used.get)
    assert used[worst] > 1.02 * max(loaded.values())
    found = look(job, {}, ("capacitor use",))
    assert found.figures["capacitor use"] == pytest.approx(used[worst], rel=0.02)  # coarse meshes, copper as drawn
    # the rating just between: enough loaded, not enough empty
    rated = parse(job.document["capacitor"][0]["rated_voltage"], "voltage")
    key = ("tank: ceramic 6.8 nF", "voltage")
    tight = rated * 0.5 * (used[key] + loaded[key])
    (name, (_, said)), = look(job, {"capacitor.1.rated_voltage": f"{tight} V"}, ("capacitor use",)).stops.items()
    assert name == "tank: ceramic 6.8 nF voltage within its rating" and said.endswith("with the coil empty")


def test_one_odd_point_does_not_end_a_search(monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("coilwright.seek.evaluate.short_of_energy", broken)
    found = look(washer(), {})
    assert found.stops == {"no fault of coilwright itself": (1.0, "ZeroDivisionError: float division by zero")}
