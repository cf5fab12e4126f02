"""The shot log on both kinds of store: every sum the same, in and out."""

import numpy as np
import pytest

from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.store.shots import Aside, Shot, ShotStore

START = 1_700_000_000.0


def shots(n=240):
    rng = np.random.default_rng(4)
    return [
        Shot(START + 600.0 * (k // 6), 1 + k % 6, bool(rng.random() < 0.2), f"T{k // 6}", "A" if k < 90 else "B", "r",
             {"start": round(float(4.8 + 0.1 * rng.standard_normal()), 6)} if k % 3 else None)
        for k in range(n)
    ]  # fmt: skip


@pytest.fixture
def store(place):
    with ShotStore(place) as opened:
        with opened.delivery("press 2", "log.csv", "d1") as box:
            assert box.latest() is None
            assert box.add(shots()) == 240
            assert box.set_aside([Aside(3, "half-written", "has 2 columns", "a\0b;c")]) == 1
        yield opened


def test_sums_are_those_of_the_shots(store):
    kept = shots()
    for by, of in {
        "station": lambda s: s.station,
        "tray": lambda s: s.tray,
        "batch": lambda s: s.batch,
        "recipe": lambda s: s.recipe,
        "hour": lambda s: int(s.time % 86400 // 3600),
        "day": lambda s: int(s.time // 86400),
    }.items():
        tally = store.tally("press 2", [by])
        expected = {k: [sum(of(s) == k for s in kept), sum(of(s) == k and s.bad for s in kept)] for k in map(of, kept)}
        found = {k: [t, b] for k, t, b in zip(tally.keys, tally.tried.tolist(), tally.bad.tolist(), strict=True)}
        assert found == expected, by
    both = store.tally("press 2", ["station", "batch"], since=START + 600, until=START + 6000)
    assert both.tried.sum() == sum(START + 600 <= s.time < START + 6000 for s in kept)
    assert all(len(k) == 2 for k in both.keys)


def test_readings_come_back(store):
    kept = [s for s in shots() if s.readings]
    time, station, value = store.readings("press 2", "start")
    assert sorted(zip(time, station, value, strict=True)) == sorted(
        (s.time, s.station, s.readings["start"]) for s in kept
    )
    assert store.reading_names("press 2") == ("start",)
    means = store.means("press 2", "start", slices=4)
    assert means[:, 2].sum() == len(kept)
    assert np.average(means[:, 3], weights=means[:, 2]) == pytest.approx(np.mean(value), rel=1e-12)
    assert len(store.readings("press 2", "none")[0]) == 0


def test_cells_and_trays(store):
    cells, first, width = store.cells("press 2", slices=8)
    assert (first, cells.tried.sum()) == (START, 240)
    assert {k[3] for k in cells.keys} == set(range(8))
    assert width == pytest.approx(600 * 39 / 8)
    trays = store.per_tray("press 2")
    assert (trays[:, 0] * trays[:, 2]).sum() == 240
    assert (trays[:, 1] * trays[:, 2]).sum() == sum(s.bad for s in shots())


def test_rows_set_aside_are_kept_word_for_word_but_zero_bytes(store):
    numbers, rows = store.aside()
    assert numbers == {"half-written": 1}
    assert rows[0].text == "a\N{SYMBOL FOR NULL}b;c"


def test_a_second_reading_of_the_same_delivery_finds_the_first(store):
    with store.delivery("press 2", "log.csv", "d1") as box:
        assert box.latest() == START + 600 * 39
        assert len(box.kept(START, START)) == 6
        assert box.set_aside([Aside(3, "half-written", "has 2 columns", "x")]) == 0


def test_a_delivery_that_fails_leaves_nothing(store):
    with pytest.raises(RuntimeError), store.delivery("press 9", "other.csv", "d2") as box:
        box.add(shots(12))
        raise RuntimeError("half-way")
    assert store.machines() == ("press 2",)


def test_a_log_with_zero_bytes_is_taken_but_for_those_rows(place, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(b"time,nest,result,tray\n2026-03-02T08:00:00,1,OK,T1\n2026-03-02T08:00:40,1,OK,T\0\0\n")
    mapping = tmp_path / "map.toml"
    mapping.write_text(
        'machine = "press"\nstations = 6\n[columns]\ntime = "time"\nstation = "nest"\nresult = "result"\ntray = "tray"\n',
        encoding="utf-8",
    )
    with ShotStore(place) as opened:
        got = add_log(log, read_map(mapping), opened)
        assert (got.written, dict(got.aside)) == (1, {"half-written": 1})
        assert "zero bytes" in opened.aside()[1][0].why
        assert add_log(log, read_map(mapping), opened).known == 1
