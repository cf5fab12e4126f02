"""Records in and out, on SQLite and on PostgreSQL; what is refused, and that nothing stored changes by it."""

import hashlib
import math

import pytest

from coilwright.errors import BadInput
from coilwright.store import trials
from coilwright.store.opening import open_store
from coilwright.store.records import (
    CanReading,
    CanRecord,
    CoilReading,
    CoilRecord,
    Fitted,
    HandOverReading,
    HandOverRecord,
    JobReading,
    TrialRecord,
)
from coilwright.tank.stock import parse_stock
from tests.store.filled import TRACE, content, fill


@pytest.fixture
def store(place):
    with open_store(place) as opened:
        yield opened


def test_the_same_text_is_not_stored_twice(store):
    first = store.keep_job("ring", "a", note="one", when=1.0)
    assert store.keep_job("ring", "a").number == 1
    again = store.keep_job("ring", "a", note="two", figures={"mass_kg": 1.0})
    assert (again.number, again.note, again.when, again.figures) == (1, "one\ntwo", 1.0, {"mass_kg": 1.0})
    assert store.keep_job("ring", "a", note="two").note == "one\ntwo"
    second = store.keep_job("ring", "b")
    third = store.keep_job("ring", "a")  # back again: a version of its own, the text kept once
    assert (first.number, second.number, third.number) == (1, 2, 3)
    assert third.digest == first.digest == hashlib.sha256(b"a").hexdigest()
    assert [v.text for v in store.versions_of("ring")] == ["a", "b", "a"]
    assert len(content(store)["job_text"]) == 2
    assert store.job("ring").number == 3
    assert store.job("ring", 2).text == "b"


def test_two_jobs_with_one_name_are_told_apart(store):
    store.keep_job("ring", "a", origin="/jobs/ring/job.toml")
    before = content(store)
    with pytest.raises(
        BadInput, match=r"kept from /jobs/ring/job.toml; received /jobs/ring-2/job.toml.*--same.*--as NAME"
    ):
        store.keep_job("ring", "b", origin="/jobs/ring-2/job.toml")
    assert content(store) == before
    assert store.keep_job("ring", "b", origin="/jobs/ring-2/job.toml", same=True).number == 2
    assert store.keep_job("ring", "c", origin="/jobs/ring-2/job.toml").number == 3  # the folder it stands in now
    assert store.jobs()[0].origin == "/jobs/ring-2/job.toml"


def test_unknown_names_are_told_with_the_nearest(store):
    with pytest.raises(BadInput, match="it holds none yet"):
        store.job("ring")
    store.keep_job("getter ring", "a")
    for call in (store.job, store.versions_of, store.trials_of, store.fitted_of, store.readings_of):
        with pytest.raises(BadInput, match='has no job "geter ring"; known: "getter ring"'):
            call("geter ring")
    with pytest.raises(BadInput, match="has versions 1 to 1; received 4"):
        store.job("getter ring", 4)
    with pytest.raises(BadInput, match="has no trial number 7"):
        store.trial(7)
    with pytest.raises(BadInput, match="has no trial number 7"):
        store.set_fit(7, {})
    with pytest.raises(BadInput, match='has no coil "W"'):
        store.coil("W")
    with pytest.raises(BadInput, match='has no capacitor "C"'):
        store.measure_can("C", CanReading(1e5, 1e-6))
    with pytest.raises(BadInput, match='has no machine "M"'):
        store.hand_overs("M")


def test_a_trial_comes_back_whole(store, tmp_path, monkeypatch):
    store.keep_job("ring", "a")
    store.keep_job("ring", "b")
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"jpg")
    sheet = TrialRecord(
        "ring", when=1.5, coil="W 1", gap_m=1e-3, setting={"dial": 0.5}, outcome="good", remark="next: 2 mm",
        readings=({"what": "start", "value": 3.0, "uncertainty": 0.1},), events=({"what": "glow", "time_s": 2.0},),
        photo=str(photo), trace_name="t.csv", trace=TRACE, fit={"chi2": 1.0},
    )  # fmt: skip
    kept = store.add_trial(sheet)
    assert kept.version == 2
    assert kept.photo_digest == hashlib.sha256(b"jpg").hexdigest()
    assert store.trial(kept.number) == kept
    earlier = store.add_trial(TrialRecord("ring", when=0.5, version=1, trace=TRACE, photo="gone.jpg"))
    assert (earlier.photo_digest, store.trial(earlier.number).photo_content) == ("", None)
    photo.unlink()
    assert store.trial(kept.number).photo_content == b"jpg"
    listed = store.trials_of("ring")
    assert [t.number for t in listed] == [earlier.number, kept.number]
    assert all(t.trace is None and t.photo_content is None for t in listed)
    monkeypatch.setattr(trials, "LARGEST_PHOTO", 2)
    with pytest.raises(BadInput, match="must be at most"):
        store.add_trial(TrialRecord("ring", photo="big.jpg", photo_content=b"jpg"))
    assert [t.number for t in store.trials_of("ring", version=2)] == [kept.number]
    assert len(content(store)["attachment"]) == 2  # the same trace, kept once, and the photograph
    assert store.jobs()[0].trials == 2


def test_fitted_values_say_which_trial_they_come_from(store):
    store.keep_job("ring", "a")
    number = store.add_trial(TrialRecord("ring")).number
    store.set_fit(number, {"chi2": 1.0}, [Fitted("body.ring.emissivity", "0.4", "0.05")])
    store.set_fit(number, {"chi2": 0.5}, [Fitted("body.ring.emissivity", "0.38", "0.03", written_to=1)])
    assert store.trial(number).fit == {"chi2": 0.5}
    assert store.fitted_of("ring") == (
        Fitted("body.ring.emissivity", "0.4", "0.05", None, number),
        Fitted("body.ring.emissivity", "0.38", "0.03", 1, number),
    )
    with pytest.raises(BadInput, match="has versions 1 to 1; received 3"):
        store.set_fit(number, {"chi2": 0.1}, [Fitted("x", "1", written_to=3)])
    assert store.trial(number).fit == {"chi2": 0.5}


def test_coils_stand_beside_their_design(store):
    store.keep_job("ring", "a")
    reading = CoilReading(1e5, 3.3e-7, 4e-3, 1e-9, 1e-4, "empty", 3.0e-7, 5e-3, "LCR", when=2.0)
    made = store.add_coil(CoilRecord("W 1", "ring", None, {"turns": 4}, readings=(reading,)))
    assert (made.job, made.version, made.readings) == ("ring", 1, (reading,))
    assert made.readings[0].inductance_ratio == pytest.approx(1.1)
    assert made.readings[0].resistance_ratio == pytest.approx(0.8)
    earlier = CoilReading(1e5, 3.2e-7, 4e-3, state="loaded", when=1.0)
    assert store.measure_coil("W 1", earlier).readings == (earlier, reading)
    assert earlier.inductance_ratio is None
    assert store.coils() == (store.coil("W 1"),)
    before = content(store)
    with pytest.raises(BadInput, match='has a coil "W 1" already'):
        store.add_coil(CoilRecord("W 1"))
    for wrong in (
        CoilReading(0.0, 1e-6, 1e-3), CoilReading(1e5, math.nan, 1e-3), CoilReading(1e5, 1e-6, -1.0),
        CoilReading(1e5, 1e-6, 1e-3, state="warm"),
    ):  # fmt: skip
        with pytest.raises(BadInput, match="coil"):
            store.measure_coil("W 1", wrong)
    with pytest.raises(BadInput, match="has no job"):
        store.add_coil(CoilRecord("W 2", "rings"))
    assert content(store) == before


def test_the_shelf_goes_out_as_a_stock_file(store):
    ratings = {"frequency": [5e4, 1e5], "voltage": [700.0, 600.0], "reactive_power": [4e4, 3e4], "current": [80.0]}
    store.put_can(CanRecord("film; 0.33 uF", 12, 0.33e-6, 0.05, 5e-4, 8.5, ratings, -2.5e-4))
    (item,) = parse_stock(store.stock().splitlines(), "stock.csv")
    assert (item.count, item.price, item.can.capacitance, item.can.tolerance) == (12, 8.5, 0.33e-6, 0.05)
    assert (item.can.voltage.at(1e5), item.can.current.at(1e5)) == (pytest.approx(600.0), 80.0)
    assert item.can.reactive_power.at(5e4) == pytest.approx(4e4)
    assert item.can.temperature_coefficient == pytest.approx(-2.5e-4)
    store.measure_can("film; 0.33 uF", CanReading(1e5, 0.32e-6, 1.6e-9, 2e-3, when=1.0))
    store.put_can(CanRecord("film; 0.33 uF", 11, 0.33e-6, 0.05, 5e-4, 8.5, ratings, -2.5e-4))
    (item,) = parse_stock(store.stock().splitlines(), "stock.csv")
    assert (item.count, item.can.capacitance) == (11, pytest.approx(0.32e-6))
    assert item.can.tolerance == pytest.approx(0.01)
    assert item.can.loss_tangent == pytest.approx(2 * math.pi * 1e5 * 0.32e-6 * 2e-3, rel=1e-3)


@pytest.mark.parametrize(
    "wrong",
    [
        CanRecord("C", -1, 1e-6),
        CanRecord("C", 1, 0.0),
        CanRecord("C", 1, 1e-6, tolerance=1.0),
        CanRecord("C", 1, 1e-6, loss_tangent=-1e-3),
        CanRecord("C", 1, 1e-6, price=math.inf),
        CanRecord("C", 1, 1e-6, ratings={"frequency": [1e5], "voltage": [1.0, 2.0]}),
        CanRecord("C", 1, 1e-6, ratings={"weight": [1.0]}),
        CanRecord("", 1, 1e-6),
        CanRecord("two\nlines", 1, 1e-6),
        CanRecord("C" * 201, 1, 1e-6),
    ],
)
def test_bad_capacitors_are_refused(tmp_path, wrong):
    with open_store(tmp_path / "s.db") as store:
        with pytest.raises(BadInput, match="capacitor"):
            store.put_can(wrong)
        assert store.cans() == ()


def test_hand_overs_of_a_machine(store):
    store.keep_job("ring", "a")
    kept = (HandOverReading("frequency", 0, 1e5, 50.0), HandOverReading("start", 3, 4.8, 0.1, "hot", "loaded", 4.7))
    first = store.add_hand_over(HandOverRecord("press 2", {"by": "k"}, kept, "ring", 1, 1.0))
    assert first == HandOverRecord("press 2", {"by": "k"}, kept, "ring", 1, 1.0)
    second = store.add_hand_over(HandOverRecord("press 2", {}, when=2.0))
    assert store.hand_overs("press 2") == (first, second)
    assert store.machines() == ("press 2",)
    with pytest.raises(BadInput, match="at most 80 characters"):
        store.add_hand_over(HandOverRecord("m" * 81, {}))


def test_readings_of_a_job_outside_a_trial(store):
    store.keep_job("ring", "a")
    record = JobReading("ring", "LCR", ({"what": "q", "value": 74.0, "uncertainty": 1.0},), 3.0)
    store.add_reading(record)
    assert store.readings_of("ring") == (record,)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"readings": ({"value": math.nan},)}, "finite number"),
        ({"setting": {"dial": object()}}, "received object"),
        ({"remark": "a\0b"}, "zero byte"),
        ({"outcome": "\ud800"}, "half a character"),
        ({"gap_m": math.inf}, "gap_m"),
        ({"coil": "W" * 201}, "200 characters"),
        ({"version": 9}, "received 9"),
        ({"job": "rings"}, "has no job"),
    ],
    ids=lambda v: v if isinstance(v, str) else next(iter(v)),
)
def test_bad_trials_are_refused_and_nothing_changes(place, change, said):
    with open_store(place) as store:
        store.keep_job("ring", "a")
        before = content(store)
        with pytest.raises(BadInput, match=said):
            store.add_trial(TrialRecord(**{"job": "ring", "trace": b"x", **change}))
        assert content(store) == before


def test_numpy_numbers_are_kept_plain(store):
    import numpy as np

    store.keep_job("ring", "a", figures={"mass_kg": np.float64(0.5), "many": np.arange(3)})
    assert store.job("ring").figures == {"mass_kg": 0.5, "many": [0, 1, 2]}


def test_everything_at_once_is_the_same_on_both(place, tmp_path):
    """The two kinds of store hold the same rows after the same calls (times apart)."""
    with open_store(place) as one, open_store(tmp_path / "other.db") as two:
        fill(one)
        fill(two)
        first, second = content(one), content(two)
    assert {k: len(v) for k, v in first.items()} == {k: len(v) for k, v in second.items()}
    assert first["shot"] == second["shot"]
    assert [r[2:] for r in first["fitted"]] == [r[2:] for r in second["fitted"]]
