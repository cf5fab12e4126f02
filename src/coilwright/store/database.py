"""Open a store: where it stands, its settings, one sentence for everything that can be wrong with it."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Final, Self

import sqlalchemy as sa
from platformdirs import user_data_path

from coilwright.errors import BadInput, CoilwrightError, Fault, MissingExtra
from coilwright.store.migrate import bring_up_to_date
from coilwright.store.tables import VERSION_TABLE

VARIABLE: Final = "COILWRIGHT_STORE"
_WAIT: Final = 10.0  # s that a writer waits for another one
_ONE_WRITER: Final = 7_305_114  # key of PostgreSQL's advisory lock: any number, the same for all of us
_RESTORE: Final = "restore a back-up with  coilwright store restore BACKUP --store NEW_FILE"

_HELD: Final = f"was held by another program for more than {_WAIT:g} s; nothing was stored; try again"

# SQLite's own name of an error (its beginning) -> what it means to the user; the first that fits.
_SENTENCES: Final = (
    ("SQLITE_FULL", "cannot be written: the disk is full; nothing of this was stored; free some space and repeat"),
    ("SQLITE_IOERR", "cannot be read or written: the disk refuses or is full; nothing of this was stored"),
    ("SQLITE_CORRUPT", f"is damaged; nothing was changed; {_RESTORE}"),
    (
        "SQLITE_NOTADB",
        f"must be a store, or a new file; received no database or a damaged one, left as it is; {_RESTORE}",
    ),
    ("SQLITE_BUSY", _HELD),
    ("SQLITE_LOCKED", _HELD),
    ("SQLITE_READONLY", "cannot be written: it or its folder is read-only; choose another place with --store"),
    ("SQLITE_PERM", "cannot be written: it or its folder is read-only; choose another place with --store"),
    ("SQLITE_CANTOPEN", "cannot be opened: it or its folder is read-only or gone; choose another place with --store"),
)


def default_place() -> str:
    """Where the store stands when nobody says: the environment's COILWRIGHT_STORE, else the user's data folder."""
    return os.environ.get(VARIABLE) or str(user_data_path("coilwright", appauthor=False) / "store.db")


def exists(place: str | Path | None) -> bool:
    """Whether there is a file at a place; databases on a server are taken to be there."""
    path = _file_of(default_place() if place is None else str(place))
    return path is None or path.exists()


class Database:
    """An open store, up to date: a SQLite file by its path, or PostgreSQL by postgresql://user@host/name."""

    def __init__(self, place: str | Path | None = None) -> None:
        given = str(place) if place is not None else default_place()
        path = _file_of(given)
        if path is not None:
            self.place = str(path)
            _hold_file(path)
            url = sa.URL.create("sqlite", database=str(path))
        else:
            url = _address(given)
            self.place = url.set(drivername="postgresql").render_as_string(hide_password=True)
        self.path = path
        try:
            self.engine = sa.create_engine(url, pool_pre_ping=path is None, connect_args=_wait(path))
        except ImportError:
            raise MissingExtra("psycopg", "postgres", "a store in PostgreSQL") from None
        if path is not None:
            sa.event.listen(self.engine, "connect", _sqlite_settings)
            sa.event.listen(self.engine, "begin", _sqlite_begin)
        try:
            with self._sentences():
                bring_up_to_date(self.engine, self.place, self.writing)
        except BaseException:
            self.engine.dispose()
            raise

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"{type(self).__name__} at {self.place}"

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection that sees one state of the store however long it lasts."""
        with self._sentences(), self.engine.connect() as connection, connection.begin():
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A connection that is the only writer; what it wrote is kept when the block ends well, else nothing of it."""
        with self._sentences(), self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SET LOCAL lock_timeout = {round(1000 * _WAIT)}")
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ONE_WRITER})")
            yield connection

    @contextmanager
    def _sentences(self) -> Iterator[None]:
        try:
            yield
        except sa.exc.DBAPIError as error:
            raise sentence(error, self.place) from None


def _file_of(given: str) -> Path | None:
    """The path of a SQLite file; None when `given` is another address."""
    if given.startswith("sqlite:///"):
        given = given.removeprefix("sqlite:///")
    if "://" in given:
        return None
    if not given or "\0" in given:
        raise BadInput(Fault("--store", "must name a file or a postgresql:// address; received nothing"))
    return Path(given).expanduser()


def _address(given: str) -> sa.URL:
    try:
        url = sa.make_url(given)
    except (sa.exc.ArgumentError, ValueError):
        url = None
    if url is None or url.get_backend_name() not in ("postgresql", "postgres"):
        shown = given if url is None else url.render_as_string(hide_password=True)
        what = "must be a file, or an address such as postgresql://user@host/name; no other database is known"
        raise BadInput(Fault(shown[:200], what))
    return url.set(drivername="postgresql+psycopg")


def _wait(path: Path | None) -> dict[str, Any]:
    return {"timeout": _WAIT} if path is not None else {"connect_timeout": int(_WAIT)}


def _hold_file(path: Path) -> None:
    """Refuse what cannot become a store, before anything touches the file."""
    where = str(path)
    try:
        if path.is_dir():
            raise BadInput(Fault(where, "is a folder; name a file in it, e.g. store.db"))
        path.parent.mkdir(parents=True, exist_ok=True)
        there = path.exists()
    except OSError as error:
        what = f"cannot be opened ({(error.strerror or str(error)).lower()}); choose another place with --store"
        raise BadInput(Fault(where, what)) from None
    if not all(os.access(p, os.W_OK) for p in ([path] if there else []) + [path.parent]):
        raise BadInput(Fault(where, "cannot be written: it or its folder is read-only; choose another with --store"))
    if not there:
        return
    try:
        names = _tables_of(path, "ro")
    except sqlite3.Error as error:
        raise sentence(error, where) from None
    if names and VERSION_TABLE not in names and not {"version", "shot"} <= names:
        what = f'must be a store written by coilwright, or a new file; received another database (tables "{min(names)}" ...)'
        raise BadInput(Fault(where, what))


def _tables_of(path: Path, mode: str) -> set[str]:
    """Tables of a file, only ever through SQLite: to open and close its file by hand would drop our locks on it."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=_WAIT)) as raw:
            return {row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except sqlite3.OperationalError as error:
        if mode == "ro" and getattr(error, "sqlite_errorname", "").startswith("SQLITE_READONLY"):
            return _tables_of(path, "rw")  # a power cut left a change half-way: SQLite takes it back first
        raise


def sentence(error: Exception, place: str) -> Exception:
    cause = getattr(error, "orig", None) or error
    name = getattr(cause, "sqlite_errorname", "")
    for start, what in _SENTENCES:
        if name.startswith(start):
            kept = BadInput if start in ("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_READONLY") else _cannot
            return kept(Fault(place, what))
    if type(cause).__name__ == "LockNotAvailable":  # PostgreSQL's word for it
        return _cannot(Fault(place, _HELD))
    if not name and (getattr(error, "connection_invalidated", False) or type(cause).__name__ == "OperationalError"):
        reason = " ".join(str(cause).split())[:200]
        return _cannot(Fault(place, f"cannot be reached or was lost ({reason}); nothing of this was stored; try again"))
    return error


def _cannot(fault: Fault) -> CoilwrightError:
    return CoilwrightError(str(fault))


def _sqlite_settings(connection: Any, _: Any) -> None:
    connection.isolation_level = None  # transactions begin where we say, tables made in them included
    cursor = connection.cursor()
    for setting in (f"busy_timeout={round(1000 * _WAIT)}", "foreign_keys=ON", "synchronous=FULL"):
        cursor.execute(f"PRAGMA {setting}")
    _write_ahead(cursor)
    cursor.close()


def _write_ahead(cursor: Any) -> None:
    """The journal that lets readers read on; changing to it does not wait for others by itself."""
    until = time.monotonic() + _WAIT
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if getattr(error, "sqlite_errorname", "") != "SQLITE_BUSY" or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _sqlite_begin(connection: sa.Connection) -> None:
    """A writer takes its turn at once; one that begins by reading could not become a writer when another was faster."""
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("writes") else "BEGIN")
