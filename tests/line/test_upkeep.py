"""When to look again, from limits and rates of wandering."""

import math

import pytest

import coilwright as cw
from coilwright.line.limits import Limit
from coilwright.line.machine import READINGS
from coilwright.line.upkeep import drifts, upkeep

JOB = cw.loads(cw.template("ring-through-glass"))


def limit(what, amber, station=0, seen=True):
    return Limit(what, station, "power falls", amber, 2.0 * amber, 0.001, seen, None)


def with_drift(*drift):
    return JOB.with_value("documents", {"drift": list(drift)})


def test_a_reading_is_taken_twice_while_it_wanders_to_amber():
    job = with_drift({"what": "q", "by": 0.01, "hours": 100.0})
    (found,) = upkeep((limit("q", -0.04),), job)
    assert found.hours == pytest.approx(0.04 / (math.log1p(0.01) / 100.0) / 2.0)
    assert found.turn == "every month"  # 160 h is the longest usual turn within 201 h
    assert found.turn_hours <= found.hours
    assert found.source.kind == "user"
    assert found.rate_per_1000 == pytest.approx(1000 * math.log1p(0.01) / 100)


def test_the_tightest_of_all_stations_and_sides_counts():
    found = upkeep((limit("start", 0.08, 1), limit("start", 0.03, 2), limit("start", -0.05, 3)), JOB)
    assert [u.room for u in found] == [0.03]
    assert found[0].room_share == pytest.approx(math.expm1(0.03))


def test_lengths_wander_by_lengths():
    (found,) = upkeep((limit("setback", 1e-4, 1),), with_drift({"what": "setback", "by": "0.1 mm", "hours": 500.0}))
    assert found.hours == pytest.approx(250.0)
    assert not found.relative
    assert found.turn == "every month"


def test_too_fast_for_any_turn_and_what_is_seen_comes_first():
    found = upkeep((limit("mains", -0.002, seen=False), limit("on-time", -0.2)), JOB)
    assert [u.what for u in found] == ["on-time", "mains"]
    assert found[1].turn == ""


def test_the_usual_rates_say_they_are_from_memory():
    known = drifts(JOB)
    assert set(known) <= set(READINGS)
    assert {d.source.kind for d in known.values()} == {"memory"}
    assert all(d.rate > 0.0 for d in known.values())


@pytest.mark.parametrize(
    ("drift", "said"),
    [
        ({"what": "mood", "by": 0.1, "hours": 1.0}, "documents.drift 1.what: must be one of frequency"),
        ({"what": "q", "by": "0.1 mm", "hours": 1.0}, "wanders by a share"),
        ({"what": "setback", "by": 0.1, "hours": 1.0}, "setback|unit"),
        ({"what": "q", "by": 0.0, "hours": 1.0}, "must be greater than zero"),
        ({"what": "q", "by": 0.1, "hours": 0.0}, "hours"),
    ],
)
def test_faults_name_the_line(drift, said):
    with pytest.raises(cw.BadInput, match=said):
        drifts(with_drift(drift))
