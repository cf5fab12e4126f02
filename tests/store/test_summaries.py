"""Old shots as sums, on both kinds of store: the charts say the same, nothing is dropped uncounted, nothing counts twice."""

import sqlite3

import numpy as np
import pytest

from coilwright.cli.main import main
from coilwright.errors import BadInput
from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.line.watch import watch
from coilwright.store.shots import Shot, ShotStore
from coilwright.store.summaries import summarise

FIRST = 1_772_400_000.0  # 2026-03-01 21:20 UTC
LOG = "time,nest,result,tray\n2026-03-02T08:00:00,1,OK,T1\n2026-04-02T08:00:00,2,NOK,T2\n"
MAP = 'machine = "press"\nstations = 6\n[columns]\ntime = "time"\nstation = "nest"\nresult = "result"\ntray = "tray"\n'


def fill(store, days=40, seed=3):
    """Six stations, a tray every half hour; station 4 goes wrong after two thirds; a reading with a large offset."""
    rng = np.random.default_rng(seed)
    with store.delivery("press", "x", "d") as box:
        box.add(
            Shot(FIRST + 1800.0 * t, k + 1, bool(rng.random() < (0.5 if k == 3 and t > 32 * days else 0.02)), f"T{t}",
                 f"L{t // 300}", "", {"f": 350e3 + 10.0 * rng.standard_normal()} if k else None)
            for t in range(48 * days) for k in range(6)
        )  # fmt: skip


def test_charts_say_the_same_afterwards(place):
    with ShotStore(place) as store:
        fill(store)
        before, hours = watch(store, "press"), store.tally("press", ["hour", "station"])
        means = store.means("press", "f", 1)
        trays = np.sort(store.per_tray("press"), axis=0)
        told = summarise(store, "press", 10)
        assert (told.shots > 8000, told.readings, told.done) == (True, ("f",), True)
        assert "by hour, station, lot and recipe" in str(told)
        after = watch(store, "press")
        assert (after.tried, after.bad) == (before.tried, before.bad)
        assert after.stations.to_dict() == before.stations.to_dict()
        assert after.worst.p == pytest.approx(before.worst.p)
        assert after.change.at == pytest.approx(before.change.at, abs=1)
        assert store.tally("press", ["hour", "station"]).to_dict() == hours.to_dict()
        assert store.means("press", "f", 1)[:, 2:] == pytest.approx(means[:, 2:], rel=1e-9)
        assert store.per_tray("press")[:, 2].sum() == trays[:, 2].sum()
        # a second time drops nothing more, and a later one goes on from there
        assert summarise(store, "press", 10).shots == 0
        summarise(store, "press", 5)
        assert watch(store, "press").tried == before.tried


def test_looking_first_changes_nothing(place):
    with ShotStore(place) as store:
        fill(store, 10)
        told = summarise(store, "press", 3, dry=True)
        assert told.shots > 0
        assert "would be kept" in str(told)
        assert store.tally("press", ["tray"]).tried.sum() == 6 * 48 * 10
        assert summarise(store, "press", 3).shots == told.shots


def test_what_was_summed_does_not_count_twice(place, tmp_path):
    log, mapping = tmp_path / "log.csv", tmp_path / "map.toml"
    log.write_text(LOG, encoding="utf-8")
    mapping.write_text(MAP, encoding="utf-8")
    given = read_map(mapping)
    with ShotStore(place) as store:
        add_log(log, given, store)
        assert summarise(store, "press", 10).shots == 1
        again = add_log(log, given, store)  # the same file
        assert (again.written, again.known, dict(again.aside)) == (0, 2, {})
        log.write_text(
            LOG + "2026-04-02T08:01:00,2,OK,T3\n", encoding="utf-8"
        )  # another file with the same shots in it
        again = add_log(log, given, store)
        assert (again.written, again.known, dict(again.aside)) == (1, 1, {"summarised": 1})
        assert store.tally("press", ["station"]).tried.tolist() == [1, 2]
        assert "sums only" in store.aside()[1][0].why


def test_refused_in_words(place):
    with ShotStore(place) as store:
        with pytest.raises(BadInput, match="no single shots"):
            summarise(store, "press", 10)
        with pytest.raises(BadInput, match="at least 1"):
            summarise(store, "press", 0)


def test_nothing_is_dropped_when_the_sums_fail(tmp_path, monkeypatch):
    place = tmp_path / "log.db"
    with ShotStore(place) as store:
        fill(store, 5)
        monkeypatch.setattr("coilwright.store.summaries._totals", lambda *_: (0, 0))
        with pytest.raises(Exception, match="nothing was changed"):
            summarise(store, "press", 1)
    with sqlite3.connect(place) as raw:
        assert raw.execute("select count(*) from shot").fetchone()[0] == 6 * 48 * 5
        assert raw.execute("select count(*) from shot_summary").fetchone()[0] == 0
    raw.close()


def test_commands(tmp_path, capsys):
    place = tmp_path / "log.db"
    with ShotStore(place) as store:
        fill(store, 5)
    for words, said in (
        (["summarise", "--days", "2", "--look"], "would be kept"),
        (["summarise", "--days", "2"], "are now kept as"),
        (["summarise", "--days", "2"], "no single shots from before"),
        (["aside"], "set aside: nothing"),
        (["show"], "1440"),
    ):
        with pytest.raises(SystemExit) as leave:
            main(["line", *words, "--store", str(place)])
        assert leave.value.code == 0
        assert said in capsys.readouterr().out
