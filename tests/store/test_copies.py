"""Back-up, export, restore: every row comes back, also into the other kind of store; what is half or changed is refused."""

import json
import shutil
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coilwright.errors import BadInput
from coilwright.store.backup import restore
from coilwright.store.opening import open_store
from coilwright.store.records import CanRecord, Fitted, TrialRecord
from coilwright.store.shots import Shot, ShotStore
from tests.store.filled import TRACE, content, fill
from tests.store.test_opening import old_file


@pytest.fixture
def filled(tmp_path):
    """A filled SQLite store: its path and content."""
    with open_store(tmp_path / "filled.db") as store:
        return tmp_path / "filled.db", content(fill(store))


@pytest.fixture
def backup(filled, tmp_path):
    with open_store(filled[0]) as store:
        store.back_up(tmp_path / "backup.zip")
    return tmp_path / "backup.zip"


@pytest.fixture
def exported(filled, tmp_path):
    with open_store(filled[0]) as store:
        store.export(tmp_path / "plain")
    return tmp_path / "plain"


def held(place):
    with open_store(place) as store:
        return content(store)


def test_there_and_back_by_way_of_either_kind(place, filled, tmp_path):
    """SQLite -> back-up -> `place` -> back-up and export -> SQLite."""
    with open_store(filled[0]) as store:
        assert store.back_up(tmp_path / "one.zip").rows["shot"] == 36
    restore(place, tmp_path / "one.zip")
    assert held(place) == filled[1]
    with open_store(place) as store:
        store.back_up(tmp_path / "two.zip")
        store.export(tmp_path / "plain")
        number = store.add_trial(TrialRecord("Ring, 9 mm")).number  # counting goes on after the rows that came in
        assert number == 4
        store.keep_job("new", "x")
    restore(tmp_path / "a.db", tmp_path / "two.zip")
    restore(tmp_path / "b.db", tmp_path / "plain")
    assert held(tmp_path / "a.db") == held(tmp_path / "b.db") == filled[1]
    before = held(place)
    with pytest.raises(BadInput, match=r"holds records already \(.*nothing was changed; say --replace"):
        restore(place, tmp_path / "plain")
    assert held(place) == before
    restore(place, tmp_path / "plain", replace=True)
    assert held(place) == filled[1]


def test_an_export_reads_without_us(exported):
    jobs = sorted(p.relative_to(exported).as_posix() for p in exported.glob("jobs/*/*.toml"))
    assert jobs == [
        "jobs/0001-Ring-9-mm/version-1.toml",
        "jobs/0001-Ring-9-mm/version-2.toml",
        "jobs/0002-Cap-brazing-two/version-1.toml",
    ]
    assert (exported / jobs[1]).read_bytes() == "format = 1\r\n# second: ü\n".encode()
    assert (exported / "traces/0001-run-1-.csv").read_bytes() == TRACE
    assert (exported / "photos/0001-1.jpg").read_bytes() == b"\xff\xd8 a ring"
    sheet = json.loads((exported / "jobs/0001-Ring-9-mm/trial-1.json").read_text(encoding="utf-8"))
    assert (sheet["gap_m"], sheet["outcome"], sheet["fit"]) == (1.5e-3, "glowed, even", {"chi2": 0.9})
    assert "designed_inductance_H" in (exported / "coils.csv").read_text(encoding="utf-8")
    assert (
        json.loads((exported / "machines/0001-press-2.json").read_text(encoding="utf-8"))[0]["readings"][0]["value"]
        == 1.01e5
    )
    assert "tables/" in (exported / "README.txt").read_text(encoding="utf-8")
    assert (exported / "tables/shot.csv").read_text(encoding="utf-8").count("\n") == 37


words = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
names = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=30)
numbers = st.floats(allow_nan=False, allow_infinity=False)
tables = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | numbers | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=6,
)
table = st.dictionaries(words, tables, max_size=3)
trials = st.builds(
    lambda **given: given,
    when=numbers, coil=words, gap_m=st.none() | numbers, setting=table, readings=st.lists(table, max_size=2).map(tuple),
    events=st.lists(table, max_size=2).map(tuple), outcome=words, remark=words, photo=words, trace_name=words,
    photo_content=st.none() | st.binary(max_size=60),
    trace=st.none() | st.binary(max_size=60), fit=st.none() | table,
)  # fmt: skip
jobs = st.dictionaries(
    names, st.lists(st.tuples(words, words, table, st.lists(trials, max_size=2)), min_size=1, max_size=3), max_size=3
)
shots = st.lists(
    st.tuples(numbers, st.integers(1, 9), st.booleans(), words, st.none() | st.dictionaries(words, numbers, max_size=2)),
    max_size=4, unique_by=lambda s: (s[0], s[1], s[3]),
)  # fmt: skip


anything = given(
    kept=jobs, taught=st.tuples(words, words, words), shelf=st.lists(names, max_size=3, unique=True), log=shots
)


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@anything
def test_whatever_is_kept_comes_back(kept, taught, shelf, log):
    there_and_back(kept, taught, shelf, log)


@pytest.mark.slow
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@anything
def test_whatever_is_kept_comes_back_many_times(kept, taught, shelf, log):
    there_and_back(kept, taught, shelf, log)


def there_and_back(kept, taught, shelf, log):
    folder = Path(tempfile.mkdtemp())
    try:
        with open_store(folder / "a.db") as store:
            for name, versions in kept.items():
                for text, note, figures, sheets in versions:
                    store.keep_job(name, text, note=note, figures=figures)
                    for sheet in sheets:
                        number = store.add_trial(TrialRecord(name, **sheet)).number
                        store.set_fit(number, {"of": name}, [Fitted(*taught)])
            for k, name in enumerate(shelf):
                store.put_can(CanRecord(name, k, 1e-6, notes=name))
            with ShotStore(folder / "a.db") as line, line.delivery("m", "f", "d") as box:
                box.add(
                    [Shot(time, station, bad, tray, "", "", readings) for time, station, bad, tray, readings in log]
                )
            store.export(folder / "plain")
            store.back_up(folder / "backup.zip")
            expected = content(store)
        restore(folder / "b.db", folder / "plain")
        restore(folder / "c.db", folder / "backup.zip")
        assert held(folder / "b.db") == expected
        assert held(folder / "c.db") == expected
    finally:
        shutil.rmtree(folder)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.7, 0.99])
def test_half_a_backup_is_refused(backup, filled, share):
    whole = backup.read_bytes()
    backup.write_bytes(whole[: int(share * len(whole))])
    with pytest.raises(BadInput, match="no back-up, or only half of one; nothing was changed"):
        restore(filled[0], backup, replace=True)
    assert held(filled[0]) == filled[1]
    assert sorted(p.name for p in backup.parent.iterdir() if p.name.startswith(".")) == []


def repacked(backup, change):
    """The back-up with its parts changed: `change` takes the manifest and the database."""
    with zipfile.ZipFile(backup) as archive:
        about, data = json.loads(archive.read("manifest.json")), archive.read("store.db")
    about, data = change(about, data)
    with zipfile.ZipFile(backup, "w") as archive:
        archive.writestr("manifest.json", json.dumps(about) if about is not None else "")
        if data is not None:
            archive.writestr("store.db", data)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda about, data: (about, data[:-10]), "does not have the digest"),
        (lambda about, data: ({**about, "format": 2}, data), "newer coilwright"),
        (lambda about, data: (about, None), "only half"),
        (lambda about, data: (None, data), "only half"),
        (lambda about, data: ([], data), "only half"),
        (lambda about, data: ({**about, "rows": {**about["rows"], "shot": 99}}, data), "36 rows of shot where 99"),
    ],
    ids=["cut", "newer", "no-database", "no-manifest", "odd-manifest", "rows-lost"],
)
def test_changed_backups_are_refused(backup, filled, tmp_path, change, said):
    repacked(backup, change)
    with pytest.raises(BadInput, match=said):
        restore(filled[0], backup, replace=True)
    assert held(filled[0]) == filled[1]
    with pytest.raises(BadInput, match=said):
        restore(tmp_path / "new.db", backup)


def test_a_backup_with_a_newer_store_in_it_is_refused(backup, tmp_path):
    import hashlib

    def newer(about, data):
        path = tmp_path / "newer.db"
        path.write_bytes(data)
        with closing(sqlite3.connect(path)) as raw, raw:
            raw.execute("update coilwright_version set version_num = '9999'")
        return {**about, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}, path.read_bytes()

    repacked(backup, newer)
    with pytest.raises(BadInput, match=r"backup.zip: was written by a newer coilwright"):
        restore(tmp_path / "new.db", backup)


def test_damaged_exports_are_refused(exported, filled, tmp_path):
    def refused(said):
        with pytest.raises(BadInput, match=said):
            restore(filled[0], exported, replace=True)
        assert held(filled[0]) == filled[1]

    manifest = exported / "manifest.json"
    whole = manifest.read_text(encoding="utf-8")
    for half in ("", whole[:100], "[]", '{"sha256": {}, "rows": {"shot": 1}, "step": "0002"}'):
        manifest.write_text(half, encoding="utf-8")
        refused("no finished export")
    manifest.write_text(json.dumps({**json.loads(whole), "format": 5}), encoding="utf-8")
    refused("newer coilwright")
    manifest.write_text(json.dumps({**json.loads(whole), "step": "0077"}), encoding="utf-8")
    refused(r"newer coilwright \(step 0077")
    outside = json.loads(whole)
    outside["sha256"]["../outside.txt"] = "0"
    manifest.write_text(json.dumps(outside), encoding="utf-8")
    refused("is missing from the export")
    manifest.write_text(whole, encoding="utf-8")
    table = exported / "tables/trial.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("glowed", "glared"), encoding="utf-8")
    refused("was changed or cut since it was exported")
    table.unlink()
    refused("trial.csv: is missing from the export")


def test_an_export_with_a_table_that_cannot_be_read_is_refused(exported, tmp_path):
    import hashlib

    table = exported / "tables/capacitor.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("3.3e-07", "much"), encoding="utf-8")
    about = json.loads((exported / "manifest.json").read_text(encoding="utf-8"))
    about["sha256"]["tables/capacitor.csv"] = hashlib.sha256(table.read_bytes()).hexdigest()
    (exported / "manifest.json").write_text(json.dumps(about), encoding="utf-8")
    with pytest.raises(BadInput, match=r"capacitor.csv: cannot be read as the table it was"):
        restore(tmp_path / "new.db", exported)


def test_an_export_of_an_older_step_is_brought_up_to_date(tmp_path):
    """Folders written when only the shot log was known (as a later program will meet those of today)."""
    import csv
    import hashlib

    folder = tmp_path / "plain"
    (folder / "tables").mkdir(parents=True)
    rows = {}
    with closing(sqlite3.connect(old_file(tmp_path / "old.db"))) as raw:
        for name in ("machine", "delivery", "shot", "aside"):
            found = raw.execute(f"select * from {name}")
            with (folder / f"tables/{name}.csv").open("w", newline="", encoding="utf-8") as file:
                writer = csv.writer(file)
                writer.writerow([c[0] for c in found.description])
                kept = found.fetchall()
                writer.writerows(kept)
            rows[name] = len(kept)
    digests = {f"tables/{n}.csv": hashlib.sha256((folder / f"tables/{n}.csv").read_bytes()).hexdigest() for n in rows}
    about = {"format": 1, "step": "0001", "rows": rows, "sha256": digests}
    (folder / "manifest.json").write_text(json.dumps(about), encoding="utf-8")
    restore(tmp_path / "new.db", folder)
    with ShotStore(tmp_path / "new.db") as store:
        assert store.tally("press 2", ["station"]).tried.tolist() == [10, 10, 10]


def test_nothing_is_overwritten_unasked(backup, exported, filled, tmp_path):
    before = backup.read_bytes()
    with open_store(filled[0]) as store:
        with pytest.raises(BadInput, match="exists already and is not overwritten"):
            store.back_up(backup)
        assert backup.read_bytes() == before
        store.back_up(backup, replace=True)
        with pytest.raises(BadInput, match="exists already and is not overwritten"):
            store.export(exported)
        with pytest.raises(BadInput, match="exists already and is not overwritten"):
            store.export(backup)
        (tmp_path / "empty").mkdir()
        store.export(tmp_path / "empty")
    with pytest.raises(BadInput, match="is not there; name a back-up"):
        restore(tmp_path / "new.db", tmp_path / "none.zip")
    assert not (tmp_path / "new.db").exists()
    with pytest.raises(BadInput, match="no finished export"):
        restore(tmp_path / "new.db", tmp_path)


def test_a_damaged_store_is_not_backed_up(filled, tmp_path):
    with open_store(filled[0]) as store:
        for k in range(30):
            store.keep_job(f"job {k}", f"{k}" + "x" * 3000)
    data = bytearray(filled[0].read_bytes())
    data[-9000:-6000] = b"\xff" * 3000
    filled[0].write_bytes(data)
    with open_store(filled[0]) as store, pytest.raises(BadInput, match="damaged"):
        store.back_up(tmp_path / "backup.zip")
    assert not (tmp_path / "backup.zip").exists()


def test_a_backup_while_another_writes_holds_together(tmp_path):
    from tests.store.test_power_cuts import writer

    process = writer(tmp_path / "s.db", "ring", 1)
    try:
        for _ in range(8):
            process.stdout.readline()
        with open_store(tmp_path / "s.db") as store:
            rows = [store.back_up(tmp_path / f"{k}.zip").rows["job_version"] for k in range(3)]
    finally:
        process.kill()
        process.stdout.close()
        process.wait()
    assert rows == sorted(rows)
    restore(tmp_path / "back.db", tmp_path / "2.zip")
    with open_store(tmp_path / "back.db") as store:
        assert [v.number for v in store.versions_of("ring")] == list(range(1, rows[-1] + 1))
