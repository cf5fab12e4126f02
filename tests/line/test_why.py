"""The diagnosis: the six-station fixture, what cannot be told, what is asked next, what is warned of, blind cases."""

import math
from pathlib import Path

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.line.causes import keys
from coilwright.line.machine import READINGS, Signature, baseline
from coilwright.line.plant import Condition
from coilwright.line.posterior import build_board, posterior
from coilwright.line.rehearse import can_be_told, choose, rehearse
from coilwright.line.taken import Contrast, Readings, Taken, from_tables, tally
from coilwright.line.why import predicted_healthy, why
from tests.line.machines import board, ring_job

TOTALS = ("frequency", "q", "coil-current", "source-power")
SETS = (
    ("pick-up",), ("start",), ("start", "setback"), TOTALS, ("gauge-step",), (),
    ("pick-up", "setback", "mains", "setting", "on-time", "q", "q-empty", "frequency", "part-mass", "part-resistance", "start"),
)  # fmt: skip


def back(mm=1.0, k=3):
    c = Condition.healthy(1, 6)
    c.coil_back[0, k - 1] = 1e-3 * mm
    return board().plant.predict(c)


def exactly(got, *what):
    """Readings of a state without noise, with their usual uncertainty."""
    out = []
    for w in what:
        values = np.atleast_1d(got.ratios[w][0])
        each = READINGS[w].each
        out += [Taken(w, n + 1 if each else 0, float(v), READINGS[w].sigma) for n, v in enumerate(values)]
    return tuple(out)


def test_there_are_more_than_twenty_causes():
    kinds = {c.key for c in board().causes}
    assert len(kinds) >= 25
    assert sum(c.prior for c in board().causes) == pytest.approx(1.0)
    assert all(c.weights.sum() == pytest.approx(1.0) for c in board().causes)


def test_tallies_alone_name_the_station_but_not_the_cause():
    answer = why(board(), Readings(tallies=(tally([0, 0, 17, 1, 0, 0], 20, 6),)))
    assert answer.told == "station"
    assert answer.stations[2] > 0.95
    assert answer.said.startswith("Station 3 is at fault")
    assert answer.ranked[0].key == "coil-back"


@pytest.mark.parametrize("what", ["pick-up", "gauge-step"])
def test_a_loop_or_a_gauge_piece_tells_the_setback(what):
    answer = why(board(), Readings(exactly(back(1.0), what), (tally([0, 0, 17, 1, 0, 0], 20, 6),)))
    top = answer.ranked[0]
    assert (answer.told, top.key, top.stations) == ("cause", "coil-back", (3,))
    low, middle, high = top.size
    assert low < 1.0 < high
    assert middle == pytest.approx(1.0, abs=0.15)
    assert high - low < 0.8
    # a loop in the nest cannot see whether the coil or the nest is wrong: it says so, and asks for the gauge
    assert any("nest of station 3" in t for t in answer.twins)
    assert answer.next[0].what == "setback"
    both = why(board(), Readings(exactly(back(1.0), what, "setback")))
    assert both.ranked[0].probability > 0.85  # the rest: the same and low mains, which neither reading sees


def test_the_totals_of_the_source_cannot_tell():
    answer = why(board(), Readings(exactly(back(1.0), *TOTALS)))
    assert answer.told == "nothing"
    assert "Cannot be told" in answer.said
    assert max(answer.stations) < 0.3
    assert answer.next[0].rate > 0


def test_nothing_read_nothing_told():
    answer = why(board(), Readings())
    assert answer.told == "nothing"
    assert sum(c.prior for c in board().causes if c.key == "nothing") == pytest.approx(
        next(r.probability for r in answer.ranked if r.key == "nothing")
    )


def test_trays_without_stations_tell_one_station_from_a_batch():
    even = posterior(board(), Readings(trays=(1,) * 13 + (0, 2)))
    bunched = posterior(board(), Readings(trays=(0, 3, 1, 2, 0, 4, 1, 0, 2, 3, 1, 0, 2, 0, 1)))
    assert even.stations[0] < 0.1
    assert bunched.stations[0] > 0.5


def test_a_lot_that_is_worse_is_blamed():
    answer = why(board(), Readings(contrasts=(Contrast("lot", (18, 1), (60, 60)),)))
    lots = {c.key for c in board().causes if c.follows == "lot"}
    assert answer.ranked[0].key in lots
    assert sum(r.probability for r in answer.ranked if r.key in lots) > 0.9


def test_raising_the_power_is_warned_against_in_figures():
    answer = why(board(), Readings(exactly(back(1.0), "pick-up", "setback")))
    (warning,) = [w for w in answer.warnings if "Do not raise the power" in w]
    assert "+13 %" in warning  # half of the 22 % of power that the station lost, as volts
    assert answer.scrap_now > 5 * answer.scrap_after


@pytest.mark.parametrize(("key", "take"), [
    ("capacitor-lost", ("frequency", "q")),
    ("mains-low", ("mains", "coil-current", "frequency", "q")),
    ("timer-short", ("on-time",)),
    ("joint-loose", ("q", "q-empty", "outlet-rise", "frequency", "mains", "setting")),
    ("short-turn", ("frequency", "voltage-share", "start")),
    ("part-missing", ("start", "pick-up", "part-resistance")),
    ("coil-forward", ("setback", "pick-up")),
])  # fmt: skip
def test_plain_faults_are_found(key, take):
    b = board()
    index = choose(b, key)
    c = b.causes[index]
    middle = c.grid.take([len(c.weights) // 2])
    got = why(b, Readings(exactly(b.plant.predict(middle), *take)))
    assert got.ranked[0].key == key, got.said


def test_every_cause_stands_in_the_guide():
    guide = (Path(__file__).parents[2] / "docs" / "line.md").read_text(encoding="utf-8")
    kinds = keys(board().causes)
    assert len(kinds) >= 20
    assert not [k for k in kinds if f"`{k}`" not in guide]


def test_what_the_readings_rule_out_is_said():
    answer = why(board(), Readings(exactly(back(1.0), "pick-up", "setback", "frequency", "mains")))
    named = {x.key: x for x in answer.excluded}
    assert "capacitor-lost" in named
    assert named["capacitor-lost"].probability < 0.01
    assert "frequency" in named["capacitor-lost"].why
    assert "coil-back" not in named


def test_one_wrong_reading_does_not_decide():
    taken = exactly(back(1.0), "pick-up", "setback", "start")
    spoilt = (*taken, Taken("frequency", 0, 0.5, 1e-3))  # a slipped digit
    assert why(board(), Readings(spoilt)).ranked[0].key == "coil-back"


def test_a_measured_signature_is_preferred():
    computed = back(1.0).ratios["pick-up"][0, 2]
    moved = Signature(3, 1e-3, 0.02e-3, {"pick-up": (1.3 * float(computed), 0.005)})
    measured = build_board(board().plant, moved)
    reading = tuple(Taken("pick-up", k, 1.3 * float(computed) if k == 3 else 0.0, 0.01) for k in range(1, 7))
    got = why(measured, Readings(reading)).ranked[0]
    assert got.key == "coil-back"
    assert got.size[1] == pytest.approx(1.0, abs=0.1)
    # the power falls off as fast as the loop's square, and with it the limits close in
    assert measured.gain.value == pytest.approx(1.3, abs=0.06)
    assert measured.gain.measured
    plain = why(board(), Readings(reading)).ranked[0]
    assert plain.size[1] > 1.2


def test_readings_from_a_file():
    raw = {
        "reading": [
            {"what": "pick-up", "station": 3, "value": "1.33 V", "healthy": "1.50 V", "uncertainty": "0.015 V"},
            {"what": "start", "station": 3, "value": "never"},
            {"what": "frequency", "value": "350.1 kHz"},
            {"what": "setback", "station": 2, "value": "0.3 mm"},
        ],
        "tally": [{"bad": [0, 0, 19, 1, 0, 0], "tried": 20}],
        "tray": [{"bad": [1, 0, 1]}],
    }
    got = from_tables(raw, "readings.toml", baseline(ring_job()), 6, predicted_healthy(board().plant))
    loop, never, f, gap = got.taken
    assert loop.value == pytest.approx(math.log(1.33 / 1.5))
    assert loop.sigma == pytest.approx(0.015 / 1.33)
    assert never.floor
    assert never.value > 0.3
    assert f.sigma > 0.04  # no hand-over record: the model's own frequency is known to a few per cent only
    assert gap.value == pytest.approx(0.3e-3)
    assert (got.tallies[0].tried, got.trays) == ((20,) * 6, (1, 0, 1))


def test_the_hand_over_record_is_the_healthy_value():
    more = """
[machine]
date = "2026-03-01"
spread = 0.05
[[machine.reading]]
what = "pick-up"
station = 3
value = "1.52 V"
repeats = ["1.50 V", "1.54 V"]
[machine.moved]
station = 1
back = "1 mm"
change = { pick-up = 0.88 }
"""
    base = baseline(ring_job(more=more))
    assert base.values["pick-up", 3] == pytest.approx((1.52, 0.02))
    assert base.spread == 0.05
    assert (base.moved.station, base.moved.back, base.moved.back_sigma) == pytest.approx((1, 1e-3, 0.05e-3))
    assert base.moved.changes["pick-up"] == pytest.approx((math.log(0.88), READINGS["pick-up"].sigma * math.sqrt(2)))
    reading = {"reading": [{"what": "pick-up", "station": 3, "value": "1.40 V"}]}
    (got,) = from_tables(reading, "r.toml", base, 6).taken
    assert got.value == pytest.approx(math.log(1.40 / 1.52))


@pytest.mark.parametrize(("raw", "said"), [
    ({"reading": [{"what": "pick-up", "value": "1 V", "healthy": "1 V"}]}, "station"),
    ({"reading": [{"what": "pick-up", "station": 9, "value": "1 V", "healthy": "1 V"}]}, "1 to 6"),
    ({"reading": [{"what": "pick-up", "station": 1, "value": "1 V"}]}, "healthy"),
    ({"reading": [{"what": "pick-up", "station": 1, "value": 1.0, "healthy": "1 V"}]}, "no unit"),
    ({"reading": [{"what": "frequency", "value": "350 V"}]}, "frequency"),
    ({"reading": [{"what": "frequency", "value": "-350 kHz", "healthy": "350 kHz"}]}, "greater than zero"),
    ({"reading": [{"what": "smell", "value": 1}]}, "one of"),
    ({"tally": [{"bad": [1, 2], "tried": 3}]}, "per station"),
    ({"tally": [{"bad": [9, 0, 0, 0, 0, 0], "tried": 3}]}, "bad <= tried"),
    ({"tray": [{"bad": [7]}]}, "0 to 6"),
    ({"contrast": [{"by": "moon", "bad": [1, 1], "tried": [3, 3]}]}, "by"),
    ({"nonsense": 3}, "nonsense"),
])  # fmt: skip
def test_faulty_readings_are_refused_in_words(raw, said):
    with pytest.raises(BadInput, match=said):
        from_tables(raw, "readings.toml", baseline(ring_job()), 6)


def _blind(seeds):
    """(first, probability, can be told, covered or None) of rehearsed cases over mixed sets of readings."""
    b = board()
    for seed in seeds:
        case = rehearse(b, seed, take=SETS[seed % len(SETS)], trays=20 if seed % 3 else 0, by_station=bool(seed % 2),
                        contrast=seed % 5 == 0)  # fmt: skip
        post = posterior(b, case.readings)
        first = int(np.argmax(post.causes))
        size = post.interval(case.index)
        covered = None if size is None or case.size is None else size[0] <= case.size <= size[2]
        yield first == case.index, float(post.causes[first]), can_be_told(b, case), covered


@pytest.mark.parametrize("seeds", [range(60), pytest.param(range(1000, 1600), marks=pytest.mark.slow)])
def test_blind_rehearsal(seeds):
    """The model diagnoses its own faults (a check of the reasoning, not of the model): first where it can be told, honest
    where it cannot, probabilities that mean what they say, intervals that hold."""
    first, p, told, covered = (list(x) for x in zip(*_blind(seeds), strict=True))
    first, p, told = np.array(first), np.array(p), np.array(told)
    assert first[told].mean() >= 0.8
    assert np.mean(p[~told] < 0.7) >= (0.95 if len(p) > 100 else 0.9)  # below that `why` says it cannot tell
    assert abs(p.mean() - first.mean()) < 0.04 + 1.0 / math.sqrt(len(p))
    for low, high in ((0.0, 0.3), (0.3, 0.6), (0.6, 1.01)):
        inside = (p >= low) & (p < high)
        if inside.sum() >= 12:
            room = 0.1 + 1.5 * math.sqrt(0.25 / inside.sum())
            assert abs(p[inside].mean() - first[inside].mean()) < room
    sized = [c for c in covered if c is not None]
    assert 0.86 - 1.0 / math.sqrt(len(sized)) < np.mean(sized) <= 1.0
