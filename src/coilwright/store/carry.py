"""Rows from one store to another, whatever kind each is."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from coilwright.errors import CoilwrightError, Fault
from coilwright.store.tables import meta

_PART: Final = 5_000  # rows held in memory at a time


def count_rows(connection: sa.Connection) -> dict[str, int]:
    """Rows of every table."""
    return {t.name: int(connection.scalar(sa.select(sa.func.count()).select_from(t)) or 0) for t in meta.sorted_tables}


def copy_rows(source: sa.Connection, target: sa.Connection) -> None:
    """All rows of a store into another one that has none, keys as they are."""
    for table in meta.sorted_tables:
        found = source.execution_options(yield_per=_PART).execute(sa.select(table).order_by(*table.primary_key))
        for part in found.mappings().partitions():
            target.execute(table.insert(), [dict(row) for row in part])
    count_on(target)


def clear_rows(connection: sa.Connection) -> None:
    """Take every row out of a store."""
    for table in reversed(meta.sorted_tables):
        connection.execute(table.delete())


def count_on(connection: sa.Connection) -> None:
    """After rows came in with keys of their own PostgreSQL must be told to count on from them; SQLite does so itself."""
    if connection.dialect.name != "postgresql":
        return
    for table in meta.sorted_tables:
        if "id" in table.c:
            name = f"pg_get_serial_sequence('{table.name}', 'id')"
            highest = f'(SELECT coalesce(max(id), 0) + 1 FROM "{table.name}")'
            connection.exec_driver_sql(f"SELECT setval({name}, {highest}, false)")


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """A folder on the same disk as `path` for what is not finished yet; gone afterwards."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.parent))
    except OSError as error:
        raise not_written(path, error) from None
    try:
        yield folder
    except OSError as error:
        raise not_written(path, error) from None
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def not_written(path: Path, error: OSError) -> CoilwrightError:
    """The sentence for a disk that refuses."""
    reason = (error.strerror or str(error)).lower()
    return CoilwrightError(str(Fault(str(path), f"cannot be written ({reason}); nothing was changed")))


def settle(path: Path) -> None:
    """Wait until a file or folder is on the disk; Windows does so for folders by itself."""
    if os.name == "nt" and path.is_dir():
        return
    handle = os.open(path, os.O_RDONLY if os.name != "nt" else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def missing_rows(wanted: Mapping[str, Any], found: Mapping[str, int]) -> str:
    """The first table that does not hold the rows it should, in words; empty when all do."""
    for name, number in wanted.items():
        if found.get(name, 0) != number:
            return f"{found.get(name, 0)} rows of {name} where {number} were kept"
    return ""
