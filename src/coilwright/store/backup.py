"""Back-ups: one file with a whole store in it, checked before it replaces anything.

A back-up is a zip archive of `manifest.json` (what it holds, with digests) and `store.db` (a SQLite database), also when
the store stands in PostgreSQL.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import tempfile
import time
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from coilwright.errors import BadInput, CoilwrightError, Fault
from coilwright.store.carry import beside, clear_rows, copy_rows, count_rows, missing_rows, settle
from coilwright.store.database import Database, sentence
from coilwright.store.plain_files import load_plain
from coilwright.store.tables import HEAD

FORMAT: Final = 1
_MANIFEST, _STORE = "manifest.json", "store.db"
_PIECE: Final = 1 << 20


@dataclass(frozen=True)
class Backup:
    """A back-up or an export that was written, or put back: where, and how many rows of each kind it holds."""

    path: str
    rows: Mapping[str, int]

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


def back_up(store: Database, path: str | Path, *, replace: bool = False) -> Backup:
    """Write the whole store into one file, as it stood at one moment, while others go on using it.

    Raises BadInput when the file exists (unless `replace`) or the store is damaged, CoilwrightError when the disk refuses.
    """
    path = Path(path).expanduser()
    if path.is_dir() or (path.exists() and not replace):
        raise BadInput(Fault(str(path), "exists already and is not overwritten; choose another name, or say --replace"))
    with beside(path) as folder:
        copy = folder / _STORE
        _copy(store, copy, str(path))
        rows = _checked(copy, store.place)
        about = {
            "format": FORMAT, "what": "back-up of a coilwright store", "step": HEAD, "made_s": time.time(), "rows": rows,
            "file": _STORE, "sha256": _digest(copy),
        }  # fmt: skip
        packed = folder / "packed"
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
            archive.write(copy, _STORE)
            archive.writestr(_MANIFEST, json.dumps(about, indent=1))
        settle(packed)
        packed.replace(path)
        settle(path.parent)
    return Backup(str(path), rows)


def restore(place: str | Path | None, source: str | Path, *, replace: bool = False) -> Backup:
    """Put a back-up, or a folder written by an export, into the store at `place`; what it holds now stays unless `replace`.

    Everything is read, its digest compared and its rows counted before the store is touched; then it is changed in one
    piece or not at all. Raises BadInput for half a back-up, a changed file, a newer coilwright, a store that is not empty.
    """
    source = Path(source).expanduser()
    if not source.exists():
        raise BadInput(
            Fault(str(source), "is not there; name a back-up, or a folder written by  coilwright store export")
        )
    with (
        Database(place) as target,
        _opened(source, target.path or Path(tempfile.gettempdir()) / _STORE) as kept,
        kept.reading() as old,
    ):
        rows = count_rows(old)
        with target.writing() as new:
            there = {k: n for k, n in count_rows(new).items() if n}
            if there and not replace:
                held = ", ".join(f"{n} of {k.replace('_', ' ')}" for k, n in sorted(there.items())[:4])
                what = f"holds records already ({held}); nothing was changed; say --replace to give them up for the back-up"
                raise BadInput(Fault(target.place, what))
            clear_rows(new)
            copy_rows(old, new)
            if wrong := missing_rows(rows, count_rows(new)):
                raise CoilwrightError(str(Fault(target.place, f"took {wrong}; nothing was changed")))
        return Backup(target.place, rows)


@contextmanager
def _opened(source: Path, near: Path) -> Iterator[Database]:
    """The content of a back-up or an export as a store of its own, checked."""
    with beside(near) as folder:
        copy = folder / _STORE
        rows = load_plain(source, copy) if source.is_dir() else _unpack(source, copy)
        found = _checked(copy, str(source))
        if wrong := missing_rows(rows, found):
            raise BadInput(Fault(str(source), f"is damaged: it has {wrong}; nothing was changed"))
        try:
            opened = Database(copy)
        except BadInput as error:
            raise BadInput([Fault(str(source), f.what) for f in error.faults]) from None
        with opened:
            yield opened


def _copy(store: Database, path: Path, said: str) -> None:
    if store.path is None:
        with Database(path) as target, store.reading() as old, target.writing() as new:
            copy_rows(old, new)
        return
    with store.reading() as connection, closing(sqlite3.connect(path)) as file:
        raw: Any = connection.connection.driver_connection
        try:
            raw.backup(file)
        except sqlite3.Error as error:
            raise sentence(error, said) from None
        file.execute("PRAGMA journal_mode=DELETE")  # one file, no companions


def _checked(path: Path, said: str) -> dict[str, int]:
    """Rows of a database that is whole. Raises BadInput when it is not."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as raw:
            wrong = raw.execute("PRAGMA integrity_check(1)").fetchone()[0]
            if wrong != "ok" or raw.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise BadInput(Fault(said, "is damaged: its database does not hold together; nothing was changed"))
            names = [r[0] for r in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            rows = {n: raw.execute(f'SELECT count(*) FROM "{n}"').fetchone()[0] for n in names}
    except sqlite3.Error as error:
        raise BadInput(Fault(said, f"is damaged ({error}); nothing was changed")) from None
    return {k: n for k, n in rows.items() if not k.startswith(("coilwright_", "sqlite_"))}


def _unpack(source: Path, target: Path) -> dict[str, int]:
    """Write the database of a back-up to `target`, its digest compared; the rows it should have."""
    half = "is no back-up, or only half of one; nothing was changed"
    try:
        with zipfile.ZipFile(source) as archive:
            about = json.loads(archive.read(_MANIFEST))
            if not isinstance(about, dict) or not isinstance(about.get("rows"), dict):
                raise BadInput(Fault(str(source), half))
            if about.get("format") != FORMAT:
                what = f"was written by a newer coilwright (format {about.get('format')}, known {FORMAT}); update coilwright"
                raise BadInput(Fault(str(source), what))
            made = hashlib.sha256()
            with archive.open(_STORE) as packed, target.open("wb") as file:
                while piece := packed.read(_PIECE):
                    made.update(piece)
                    file.write(piece)
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, EOFError, NotImplementedError):
        raise BadInput(Fault(str(source), half)) from None
    if made.hexdigest() != about.get("sha256"):
        raise BadInput(
            Fault(str(source), "is damaged: its content does not have the digest written in it; nothing changed")
        )
    return {str(k): int(n) for k, n in about["rows"].items()}


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
