"""Verdicts from a hand-made trace."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.heating.criteria import Criterion, crossing, judge, longest_above
from coilwright.heating.programme import Programme, Stage, constant
from coilwright.heating.result import BodyTrace, CoilTrace, Trace
from coilwright.units import ZERO_CELSIUS


def trace(mean, *, burnt=None):
    time = np.linspace(0.0, 10.0, len(mean))
    mean = np.asarray(mean, float) + ZERO_CELSIUS
    zero = np.zeros_like(time)
    body = BodyTrace(mean - 10.0, mean, mean + 10.0, zero, burnt)
    return Trace(time, {"ring": body}, {"spot": mean + 5.0}, CoilTrace(zero, zero, zero, zero, zero, zero))


def one(criterion, t):
    return judge((criterion,), t)[0]


def test_reaches_in_time_gives_both_margins():
    v = one(Criterion("ring", "reaches", 850 + ZERO_CELSIUS, "mean", within=9.0), trace([0, 1000]))
    assert v.met
    assert v.margin_s == pytest.approx(0.5)
    assert v.margin_K == pytest.approx(50.0)
    assert v.to_dict()["reached_at_s"] == pytest.approx(8.5)


@pytest.mark.parametrize(("at", "shift"), [("coldest", -10), ("mean", 0), ("hottest", 10), ("spot", 5)])
def test_reaches_reads_the_asked_place(at, shift):
    v = one(Criterion("ring", "reaches", 900 + ZERO_CELSIUS, at, within=5.0), trace([0, 1000]))
    assert not v.met
    assert v.margin_K == pytest.approx(500 + shift - 900)
    assert v.margin_s < 0


def test_never_reached_has_no_time_margin():
    v = one(Criterion("ring", "reaches", 1500 + ZERO_CELSIUS, "mean", within=5.0), trace([0, 1000]))
    assert v.margin_s is None
    assert "short of" in v.said


def test_stays_below():
    assert one(
        Criterion("ring", "stays_below", 1020 + ZERO_CELSIUS, "hottest"), trace([0, 1000])
    ).margin_K == pytest.approx(10)
    assert not one(Criterion("ring", "stays_below", 1000 + ZERO_CELSIUS, "hottest"), trace([0, 1000, 20])).met


def test_charge():
    burnt = np.array([0.0, 0.0, 1.0])
    v = one(Criterion("ring", "charge_fired", 0.95, "mean"), trace([0, 500, 1000], burnt=burnt))
    assert v.met
    assert v.margin == pytest.approx(0.05)
    assert v.details["start_at_s"] == pytest.approx(5.25)
    with pytest.raises(BadInput, match="needs a body with a charge"):
        one(Criterion("ring", "charge_fired", 0.95, "mean"), trace([0, 500, 1000]))


def test_holds_counts_the_longest_span():
    t = np.array([0.0, 1, 2, 3, 4, 5])
    assert longest_above(t, np.array([0.0, 2, 0, 2, 2, 0]), 1.0) == pytest.approx(2.0)
    assert longest_above(t, np.zeros(6), 1.0) == 0.0
    v = one(Criterion("ring", "holds", 500 + ZERO_CELSIUS, "mean", lasting=5.0), trace([0, 1000]))
    assert v.met
    assert v.margin_s == pytest.approx(0.0, abs=1e-12)


def test_crossing_at_the_first_entry():
    assert crossing(np.array([0.0, 1.0]), np.array([5.0, 6.0]), 4.0) == 0.0


def test_programme_levels_and_changes():
    p = Programme((Stage(0, 2, 0.5), Stage(3, 5, 1.0)), 6.0)
    assert [p.level(t) for t in (0, 1.9, 2.0, 2.5, 3.0, 4.999, 5.0, 6.0)] == [0.5, 0.5, 0, 0, 1, 1, 0, 0]
    assert p.changes == (2, 3, 5, 6)
    assert p.switched_off == 5
    assert p.last == 1.0
    # two moments stand at a change: the first still belongs to what was before
    assert p.levels([0.0, 1.0, 2.0, 2.0, 3.0, 3.0, 5.0, 5.0, 6.0]) == [0.5, 0.5, 0.5, 0, 0, 1, 1, 0, 0]
    assert constant(4.0, 1.0).changes == (4.0, 5.0)
