"""A store as plain files that anyone can read without this program, and back.

| file | holds |
|---|---|
| jobs/NAME/version-N.toml | every version of the job file, word for word |
| jobs/NAME/trial-N.json | the sheet of a trial |
| traces/, photos/ | trace files and photographs as they were given |
| coils.csv, stock.csv | coils with measured and designed values; the shelf as a stock file |
| machines/NAME.json | hand-overs |
| tables/*.csv | every table as it stands; what `restore` reads, with the job files and traces |
| manifest.json | rows of each table and the SHA-256 of every file |
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import Any, Final

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault
from coilwright.store.carry import beside, count_rows, settle
from coilwright.store.database import Database
from coilwright.store.machines import hand_overs
from coilwright.store.migrate import begin_at
from coilwright.store.records import as_table
from coilwright.store.shelf import coils, stock
from coilwright.store.tables import HEAD, attachment, job, job_text, job_version, machine, meta, trial
from coilwright.store.trials import trials_of

FORMAT: Final = 1
_MANIFEST: Final = "manifest.json"
_PART: Final = 5_000
# Tables whose content stands in files of its own: table -> the column, which the CSV replaces by the file's name.
_IN_FILES: Final = {job_text.name: "text", attachment.name: "content"}
# Columns of coils.csv -> what of a reading stands there.
_COIL_COLUMNS: Final = {
    "time_s": "when", "state": "state", "frequency_Hz": "frequency",
    "inductance_H": "inductance", "inductance_sigma_H": "inductance_sigma", "designed_inductance_H": "designed_inductance",
    "resistance_ohm": "resistance", "resistance_sigma_ohm": "resistance_sigma",
    "designed_resistance_ohm": "designed_resistance", "how": "how",
}  # fmt: skip
_ABOUT: Final = """\
Everything that was in this coilwright store, in plain files.
jobs/      every version of each job file, and its trials (JSON, SI units)
traces/    trace files of the trials
photos/    their photographs
coils.csv  coils as built: measured beside designed, H and ohm
stock.csv  capacitors on the shelf
machines/  hand-overs
tables/    every table as it stands, times in seconds since 1970, SI units; restored with
           coilwright store restore THIS_FOLDER --store NEW_FILE
"""


def export(store: Database, folder: str | Path) -> dict[str, int]:
    """Write the whole store into a new folder of plain files; rows of each table. Raises BadInput when it exists."""
    folder = Path(folder).expanduser()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(Fault(str(folder), "exists already and is not overwritten; choose another name"))
    with beside(folder) as made:
        made = made / "export"
        made.mkdir()
        (made / "README.txt").write_text(_ABOUT, encoding="utf-8")
        with store.reading() as connection:
            rows = count_rows(connection)
            places = {job_text.name: _job_files(connection, made), attachment.name: _attachments(connection, made)}
            for table in meta.sorted_tables:
                _write_table(connection, table, made / "tables" / f"{table.name}.csv", places.get(table.name, {}))
        _sheets(store, made)
        files = {p.relative_to(made).as_posix(): _digest(p) for p in sorted(made.rglob("*")) if p.is_file()}
        about = {
            "format": FORMAT, "what": "plain files of a coilwright store", "step": HEAD, "made_s": time.time(),
            "rows": rows, "sha256": files,
        }  # fmt: skip
        (made / _MANIFEST).write_text(json.dumps(about, indent=1), encoding="utf-8")
        settle(made / _MANIFEST)
        if folder.exists():
            folder.rmdir()
        made.rename(folder)
    return rows


def load_plain(folder: Path, target: Path) -> dict[str, int]:
    """Make a SQLite store at `target` from a folder of plain files; the rows it should have. Raises BadInput."""
    about = _manifest(folder)
    step, rows = str(about["step"]), {str(k): int(n) for k, n in about["rows"].items()}
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(target)))
    try:
        with engine.begin() as connection:
            begin_at(connection, step, str(folder))
            known = sa.MetaData()
            known.reflect(connection)
            for table in known.sorted_tables:
                path = folder / "tables" / f"{table.name}.csv"
                if table.name in rows:
                    with _in_words(path):
                        _read_table(connection, table, path, folder)
    finally:
        engine.dispose()
    return rows


def _manifest(folder: Path) -> dict[str, Any]:
    """The manifest of an export whose files are all as they were written."""
    path = folder / _MANIFEST
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
        files, rows = about["sha256"], about["rows"]
        named = isinstance(rows, dict) and all((f"tables/{k}.csv") in files for k in rows) and "step" in about
    except (OSError, ValueError, KeyError, TypeError):
        named = False
    if not named:
        raise BadInput(
            Fault(str(folder), "is no finished export: its manifest.json is missing or cut; nothing was changed")
        )
    if about.get("format") != FORMAT:
        what = f"was written by a newer coilwright (format {about.get('format')}, known {FORMAT}); update coilwright"
        raise BadInput(Fault(str(folder), what))
    for name, digest in files.items():
        file = folder / name
        if ".." in Path(name).parts or not file.is_file():
            raise BadInput(Fault(str(file), "is missing from the export; nothing was changed"))
        if _digest(file) != digest:
            raise BadInput(Fault(str(file), "was changed or cut since it was exported; nothing was changed"))
    return dict(about)


def _job_files(connection: sa.Connection, folder: Path) -> dict[str, str]:
    """Write every version of every job; digest -> the file that holds that text."""
    query = (
        sa.select(job.c.id, job.c.name, job_version.c.number, job_version.c.digest, job_text.c.text)
        .join_from(job, job_version)
        .join(job_text, job_text.c.digest == job_version.c.digest)
        .order_by(job.c.id, job_version.c.number)
    )
    places: dict[str, str] = {}
    for row in connection.execute(query):
        name = f"jobs/{_file_name(row.id, row.name)}/version-{row.number}.toml"
        _write(folder / name, row.text.encode("utf-8"))
        places.setdefault(row.digest, name)
    return places


def _attachments(connection: sa.Connection, folder: Path) -> dict[str, str]:
    """Write the files that belong to trials; digest -> file."""
    names: dict[str | None, str] = {}
    for row in connection.execute(sa.select(trial).order_by(trial.c.id)):
        names.setdefault(row.trace_digest, f"traces/{_file_name(row.id, row.trace_name or 'trace')}")
        names.setdefault(row.photo_digest, f"photos/{_file_name(row.id, PurePath(row.photo).name or 'photo')}")
    places = {}
    for digest in connection.scalars(sa.select(attachment.c.digest)).all():
        places[digest] = names.get(digest, f"traces/{digest}")
        content = connection.scalar(sa.select(attachment.c.content).where(attachment.c.digest == digest))
        _write(folder / places[digest], content or b"")
    return places


def _write_table(connection: sa.Connection, table: sa.Table, path: Path, places: Mapping[str, str]) -> None:
    aside = _IN_FILES.get(table.name)
    columns = [c for c in table.c if c.name != aside]
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\n")
        writer.writerow([*(c.name for c in columns), *(["file"] if aside else [])])
        found = connection.execution_options(yield_per=_PART).execute(sa.select(*columns).order_by(*table.primary_key))
        for row in found:
            cells = [_cell(c, v) for c, v in zip(columns, row, strict=True)]
            writer.writerow([*cells, *([places[row[0]]] if aside else [])])


def _cell(column: sa.Column[Any], value: Any) -> Any:
    if isinstance(column.type, sa.JSON):
        return json.dumps(value, ensure_ascii=False)
    return value


def _read_table(connection: sa.Connection, table: sa.Table, path: Path, folder: Path) -> None:
    aside = _IN_FILES.get(table.name)
    part: list[dict[str, Any]] = []
    with _long_cells(), path.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file, strict=True)
        names = [n for n in next(rows) if n != "file"]
        readers = [_reader(table.c[n]) for n in names]
        for row in rows:
            if len(row) != len(names) + (aside is not None):
                raise ValueError(f"line {rows.line_num} has {len(row)} cells")
            values = {n: read(text) for n, read, text in zip(names, readers, row, strict=False)}
            if aside is not None:
                content = (folder / row[-1]).read_bytes()
                values[aside] = content if isinstance(table.c[aside].type, sa.LargeBinary) else content.decode("utf-8")
            part.append(values)
            if len(part) >= _PART:
                connection.execute(table.insert(), part)
                part = []
    if part:
        connection.execute(table.insert(), part)


def _reader(column: sa.Column[Any]) -> Callable[[str], Any]:
    """How a cell of a column is read; an empty one is nothing where nothing is allowed."""
    kinds: dict[type, Callable[[str], Any]] = {sa.JSON: json.loads, sa.Integer: int, sa.Float: float}
    read = next((read for kind, read in kinds.items() if isinstance(column.type, kind)), str)
    return (lambda text: None if text == "" else read(text)) if column.nullable else read


def _sheets(store: Database, folder: Path) -> None:
    """What a person looks for first, once more, put together."""
    with store.reading() as connection:
        jobs = connection.execute(sa.select(job.c.id, job.c.name)).all()
        machines = connection.execute(sa.select(machine.c.id, machine.c.name)).all()
    for key, name in jobs:
        for sheet in trials_of(store, name):
            _write_json(folder / "jobs" / _file_name(key, name) / f"trial-{sheet.number}.json", as_table(sheet))
    for key, name in machines:
        if kept := [as_table(h) for h in hand_overs(store, name)]:
            _write_json(folder / "machines" / f"{_file_name(key, name)}.json", kept)
    (folder / "stock.csv").write_text(stock(store), encoding="utf-8")
    with (folder / "coils.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, ("coil", "job", "version", *_COIL_COLUMNS), lineterminator="\n")
        writer.writeheader()
        for c in coils(store):
            for r in c.readings:
                row = {column: getattr(r, name) for column, name in _COIL_COLUMNS.items()}
                writer.writerow({"coil": c.name, "job": c.job, "version": c.version, **row})


def _file_name(key: int, name: str) -> str:
    """A name every file system takes, told apart by the key."""
    return f"{key:04d}-{re.sub(r'[^A-Za-z0-9._-]+', '-', name).strip('-.')[:60] or 'unnamed'}"


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def _write_json(path: Path, table: Any) -> None:
    _write(path, json.dumps(table, indent=1, ensure_ascii=False).encode("utf-8"))


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def _in_words(path: Path) -> Iterator[None]:
    try:
        yield
    except (csv.Error, ValueError, KeyError, TypeError, OSError, sa.exc.SQLAlchemyError) as error:
        reason = " ".join(str(error).split())[:120]
        raise BadInput(
            Fault(str(path), f"cannot be read as the table it was ({reason}); nothing was changed")
        ) from None


@contextmanager
def _long_cells() -> Iterator[None]:
    before = csv.field_size_limit(2**31 - 1)
    try:
        yield
    finally:
        csv.field_size_limit(before)
