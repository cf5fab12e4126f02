"""The log looked at: a station, a day, a lot; rehearsed logs through the store and back."""

import io
import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from coilwright.cli.main import main
from coilwright.line.course import trays_needed
from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.line.rehearse import LOG_MAP, choose, readings_text, rehearse, write_log
from coilwright.line.watch import watch
from coilwright.store.shots import Shot, ShotStore
from tests.line.machines import board, ring_job


def filled(store, bad_of, trays=200, lots=1, seed=0, stations=6):
    """Shots of a line, one tray a minute; `bad_of(tray, station, lot)` is the chance of a bad piece."""
    rng = np.random.default_rng(seed)
    begin = datetime(2026, 3, 2, 6, tzinfo=UTC)
    with store.delivery("press", "x", "d") as box:
        box.add(
            Shot((begin + timedelta(minutes=t)).timestamp(), k + 1, bool(rng.random() < bad_of(t, k + 1, t * lots // trays)),
                 f"T{t}", f"L{t * lots // trays}", "", {"start": 4.8 + 0.1 * rng.standard_normal() + 0.6 * (k == 1)})
            for t in range(trays) for k in range(stations)
        )  # fmt: skip


@pytest.fixture
def store(tmp_path):
    with ShotStore(tmp_path / "log.db") as opened:
        yield opened


def test_a_quiet_line(store):
    filled(store, lambda t, k, lot: 0.02, seed=1)
    got = watch(store, "press")
    assert got.tried == 1200
    assert got.interval[0] < 0.02 < got.interval[1]
    assert got.worst.p > 0.01
    assert "No station stands out" in " ".join(got.said)
    assert got.readings[0].apart == (2,)  # its start is late
    assert got.readings[0].means[1] == pytest.approx(5.4, abs=0.05)


def test_one_station_from_one_day_on(store):
    filled(store, lambda t, k, lot: 0.6 if k == 4 and t >= 120 else 0.01)
    got = watch(store, "press")
    assert got.worst.p < 1e-6
    assert int(np.argmin(got.against_rest)) == 3
    assert got.change.p < 0.01
    assert got.changed_at.startswith("2026-03-02 0")
    text = " ".join(got.said)
    assert "Station 4 is worse" in text
    assert "changed about" in text
    json.dumps(got.to_dict())


def test_a_bad_lot_is_not_blamed_on_a_station(store):
    filled(store, lambda t, k, lot: 0.25 if lot == 2 else 0.01, lots=4)
    got = watch(store, "press")
    assert got.lots.p < 1e-6
    assert got.worst.p > 0.01


def test_how_many_more_trays_would_show_it(store):
    wrong = {(0, 2), (5, 2), (9, 2), (3, 1)}
    filled(store, lambda t, k, lot: (t, k) in wrong, trays=20)
    got = watch(store, "press")
    assert got.worst.p > 0.01
    assert 20 < got.more_trays < 200
    assert f"about {got.more_trays} more full trays" in " ".join(got.said)
    # with so many trays more of the same kind it is shown
    share = trays_needed(6, 3 / 20, 1 / 100)
    assert got.more_trays == share - 20


def test_rehearsed_log_and_readings_go_round(tmp_path, store):
    b = board()
    case = rehearse(b, 5, index=choose(b, "coil-back", 3), size=1.5, trays=40)
    text = io.StringIO()
    write_log(b, case, text, trays=200, seed=5, onset=100)
    (tmp_path / "log.csv").write_text(text.getvalue(), encoding="utf-8")
    (tmp_path / "map.toml").write_text(LOG_MAP.format(stations=6), encoding="utf-8")
    got = add_log(tmp_path / "log.csv", read_map(tmp_path / "map.toml"), store)
    assert (got.written, dict(got.aside)) == (1200, {})
    seen = watch(store, "rehearsal")
    assert int(np.argmin(seen.against_rest)) == 2
    assert seen.readings[0].apart == (3,)
    again = rehearse(b, 5, index=choose(b, "coil-back", 3), size=1.5, trays=40)
    assert again.readings == case.readings  # the same seed is the same case
    assert readings_text(case.readings, lambda what, station: (1.0, "V")).count("[[reading]]") == 12


def test_commands(tmp_path, capsys):
    job = tmp_path / "ring.toml"
    job.write_text(ring_job().text, encoding="utf-8")
    out, store = tmp_path / "case", str(tmp_path / "shots.db")
    made = call(capsys, "line", "rehearse", job, "--out", out, "--fault", "coil-back", "--station", 3, "--size", 1.2)
    assert made["fault"]["stations"] == [3]
    added = call(capsys, "line", "add", out / "log.csv", "--map", out / "map.toml", "--store", store)
    assert (added["written"], added["aside"]) == (720, {})
    shown = call(capsys, "line", "show", "--store", store)
    assert int(np.argmin(shown["station_against_rest_p"])) == 2
    told = call(capsys, "why", job, "--readings", out / "readings.toml")
    assert told["causes"][0]["stations"] == [3]
    low, high = (told["causes"][0]["size"][k] for k in ("low", "high"))
    assert low < 1.2 < high
    tallied = call(capsys, "why", job, "--store", store)
    assert tallied["told"] == "station"
    kept = call(capsys, "line", "limits", job)
    assert {x["reading"] for x in kept["limits"]} >= {"pick-up", "setback", "start", "q", "on-time"}
    assert kept["missing"]


def call(capsys, *arguments):
    """JSON of a command."""
    with pytest.raises(SystemExit) as leave:
        main([*map(str, arguments), "--json"])
    assert leave.value.code in (0, None)
    return json.loads(capsys.readouterr().out)


def test_commands_refuse_in_one_sentence(tmp_path, capsys):
    for arguments in (
        ("line", "show", "--store", tmp_path / "none.db"),
        ("line", "add", tmp_path / "none.csv", "--map", tmp_path / "none.toml", "--store", tmp_path / "s.db"),
    ):
        with pytest.raises(SystemExit) as leave:
            main([*map(str, arguments)])
        assert leave.value.code in (2, 3)
        assert "Traceback" not in capsys.readouterr().err
