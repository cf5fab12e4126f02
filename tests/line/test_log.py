"""The shot log: what is kept, what is set aside and why, reading twice, old and foreign files, speed."""

from datetime import UTC, datetime, timedelta

import pytest

from coilwright.errors import BadInput
from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.store.shots import Shot, ShotStore

MAP = """
machine = "press 2"
stations = 6
delimiter = ";"
decimal = ","
[columns]
time = "time"
station = "nest"
result = "result"
tray = "tray"
batch = "lot"
[result]
good = ["OK"]
bad = ["NOK"]
[readings.start]
column = "start"
unit = "ms"
kind = "time"
"""
HEAD = "time;nest;result;tray;lot;start\n"
NOW = datetime(2026, 6, 1, tzinfo=UTC).timestamp()


@pytest.fixture
def mapped(tmp_path):
    path = tmp_path / "map.toml"
    path.write_text(MAP, encoding="utf-8")
    return read_map(path)


@pytest.fixture
def store(tmp_path):
    with ShotStore(tmp_path / "log.db") as opened:
        yield opened


def written(tmp_path, *lines, name="log.csv"):
    path = tmp_path / name
    path.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_rows_are_kept_and_counted(tmp_path, mapped, store):
    file = written(
        tmp_path,
        "2026-05-04T08:00:00;1;OK;T1;A;4800",
        "2026-05-04T08:00:00;2;NOK;T1;A;6123,5",
        "2026-05-04T15:00:00;2;OK;T2;B;",
    )
    got = add_log(file, mapped, store, NOW)
    assert (got.rows, got.written, got.known, dict(got.aside)) == (3, 3, 0, {})
    by_station = store.tally("press 2", ["station"])
    assert (by_station.keys, by_station.tried.tolist(), by_station.bad.tolist()) == ((1, 2), [1, 2], [0, 1])
    assert store.tally("press 2", ["hour"]).keys == (8, 15)
    assert store.tally("press 2", ["batch", "station"]).keys == (("A", 1), ("A", 2), ("B", 2))
    _, station, value = store.readings("press 2", "start")
    assert station.tolist() == [1, 2]
    assert value == pytest.approx([4.8, 6.1235])  # SI


def test_reading_twice_changes_nothing(tmp_path, mapped, store):
    file = written(tmp_path, *(f"2026-0{m}-04T08:00:00;1;OK;T{m};A;4800" for m in (1, 2, 3)), "nonsense")
    first, again = add_log(file, mapped, store, NOW), add_log(file, mapped, store, NOW)
    assert (first.written, first.known) == (3, 0)
    assert (again.written, again.known) == (0, 3)
    assert store.tally("press 2", ["station"]).tried.tolist() == [3]
    assert store.aside()[0] == {"half-written": 1}  # kept once


def test_a_longer_copy_of_the_same_file_adds_only_its_tail(tmp_path, mapped, store):
    lines = [f"2026-05-04T08:0{k}:00;1;OK;T{k};A;4800" for k in range(5)]
    add_log(written(tmp_path, *lines[:3]), mapped, store, NOW)
    got = add_log(written(tmp_path, *lines, name="later.csv"), mapped, store, NOW)
    assert (got.written, got.known) == (2, 3)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("2026-05-04T08:00:00;1;OK;T1;A;4801", "duplicate"),
        ("2026-05-04T08:01:00;7;OK;T1;A;4800", "unknown station"),
        ("2026-05-04T08:01:00;0;OK;T1;A;4800", "unknown station"),
        ("2026-05-04T08:01:00;x;OK;T1;A;4800", "unknown station"),
        ("2026-05-04T08:01:00;1;OK;T1", "half-written"),
        ("2026-05-04T08:01:00;1;;T1;A;4800", "half-written"),
        (";1;OK;T1;A;4800", "half-written"),
        ("2026-05-04T08:01:00;1;MAYBE;T1;A;4800", "unknown result"),
        ("yesterday;1;OK;T1;A;4800", "unreadable time"),
        ("2026-05-04T08:01:00;1;OK;T1;A;4.8.0", "unreadable reading"),
        ("2026-05-04T08:01:00;1;OK;T1;A;nan", "unreadable reading"),
        ("2026-05-04T07:01:00;1;OK;T1;A;4800", "clock"),
        ("2036-05-04T08:01:00;1;OK;T1;A;4800", "future"),
    ],
)
def test_faulty_rows_are_set_aside_with_the_reason(tmp_path, mapped, store, line, reason):
    good = "2026-05-04T08:00:00;1;OK;T1;A;4800", "2026-05-04T08:02:00;1;OK;T1;A;4800"
    got = add_log(written(tmp_path, good[0], line, good[1]), mapped, store, NOW)
    assert (got.rows, got.written, dict(got.aside)) == (3, 2, {reason: 1})
    (kept,) = store.aside()[1]
    assert (kept.row, kept.reason, kept.text) == (3, reason, line)
    assert kept.why


def test_late_and_contradicting_rows(tmp_path, mapped, store):
    add_log(written(tmp_path, "2026-05-20T08:00:00;1;OK;T1;A;4800"), mapped, store, NOW)
    lines = (
        "2026-05-02T08:00:00;1;OK;T0;A;4800",
        "2026-05-19T08:00:00;1;OK;T9;A;4800",
        "2026-05-20T08:00:00;1;NOK;T1;A;4800",
    )
    got = add_log(written(tmp_path, *lines, name="later.csv"), mapped, store, NOW)
    assert (got.written, dict(got.aside)) == (1, {"late": 1, "contradiction": 1})


def test_rows_within_minutes_may_stand_in_any_order(tmp_path, mapped, store):
    lines = "2026-05-20T08:05:00;1;OK;T2;A;1", "2026-05-20T08:00:00;1;OK;T1;A;1"
    assert add_log(written(tmp_path, *lines), mapped, store, NOW).written == 2


def test_nothing_of_a_broken_delivery_stays(store):
    with pytest.raises(RuntimeError), store.delivery("press 2", "x", "d") as box:
        box.add([Shot(1.0, 1, False)])
        raise RuntimeError("power cut")
    with store.delivery("press 2", "x", "e") as box:
        assert box.latest() is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("machine = 3", "machine"),
        ("x = [", "TOML"),
        (MAP.replace('"ms"', '"kHz"'), "unit"),
        (MAP.replace('kind = "time"', 'kind = "thyme"'), "kind"),
        (MAP.replace('bad = ["NOK"]', 'bad = ["OK"]'), "good and as bad"),
        (MAP.replace("stations = 6", "stations = 0"), "stations"),
    ],
)
def test_a_faulty_map_is_refused_in_words(tmp_path, text, said):
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=said):
        read_map(path)


def test_a_file_of_other_columns_is_refused(tmp_path, mapped, store):
    path = tmp_path / "other.csv"
    path.write_text("a;b\n1;2\n", encoding="utf-8")
    with pytest.raises(BadInput, match='must name the column "time"'):
        add_log(path, mapped, store, NOW)


def test_settings_of_the_file(tmp_path, store):
    with store.engine.connect() as connection:
        assert connection.exec_driver_sql("pragma journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("pragma foreign_keys").scalar() == 1


def test_unknown_machine(store):
    with pytest.raises(BadInput, match="no machine"):
        store.tally("press 9", ["station"])


def test_a_long_file_is_read_in_parts(tmp_path, mapped, store, monkeypatch):
    """Rows held at a time are few; doubles far apart are still known. How long a million takes, the benchmark tells."""
    monkeypatch.setattr("coilwright.line.rows._PART", 100)
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    lines = [f"{(begin + timedelta(seconds=t)).isoformat()};{t % 6 + 1};OK;T{t};A;{4800 + t % 7}" for t in range(1000)]
    got = add_log(written(tmp_path, *lines, lines[500]), mapped, store, NOW)
    assert (got.rows, got.written, dict(got.aside)) == (1001, 1000, {"duplicate": 1})
    got = add_log(written(tmp_path, *lines[:600], lines[550], *lines[600:]), mapped, store, NOW)
    assert (got.rows, got.written, got.known, dict(got.aside)) == (1001, 0, 1000, {"duplicate": 1})
