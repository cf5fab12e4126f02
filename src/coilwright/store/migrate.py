"""Bring a database up to date with Alembic, shot logs of the older numbered format included."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Final

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault
from coilwright.store.tables import HEAD, VERSION_TABLE, meta

if TYPE_CHECKING:
    from alembic.script import ScriptDirectory

# Before the records came, a table "version" held a number: 1 is the shot log as step 0001 makes it.
_NUMBERED: Final = {1: "0001"}
_version = sa.table(VERSION_TABLE, sa.column("version_num"))
_older = sa.table("version", sa.column("number"))


def bring_up_to_date(
    engine: sa.Engine, place: str, writing: Callable[[], AbstractContextManager[sa.Connection]]
) -> None:
    """Apply the steps that the database lacks, all or none. Raises BadInput when it is newer or not ours."""
    with engine.connect() as connection:
        if revision(connection, place) == HEAD:
            return
    with writing() as connection:
        have = revision(connection, place)  # another program may have been faster
        if have != HEAD:
            _run(connection, have, HEAD, place)


def revision(connection: sa.Connection, place: str) -> str | None:
    """The step the database stands at; None when it is empty. Raises BadInput when its tables are not ours."""
    names = set(sa.inspect(connection).get_table_names())
    if VERSION_TABLE in names:
        return str(connection.scalar(sa.select(_version.c.version_num)) or "")
    if {"version", "shot"} <= names:
        number = int(connection.scalar(sa.select(_older.c.number)) or 0)
        return _NUMBERED.get(number, f"number {number}")
    if clash := sorted(names & set(meta.tables)):
        what = f'must be a database of its own; received one that has a table "{clash[0]}" of another program'
        raise BadInput(Fault(place, what))
    return None


def scripts() -> ScriptDirectory:
    """The steps as Alembic reads them."""
    from alembic.script import ScriptDirectory

    from coilwright import migrations

    folder = str(migrations.__path__[0])
    return ScriptDirectory(folder, version_locations=[folder])


def begin_at(connection: sa.Connection, step: str, place: str) -> None:
    """Make the tables of an empty database as they were at `step`. Raises BadInput when a newer program wrote it."""
    _run(connection, None, step, place)


def _run(connection: sa.Connection, have: str | None, step: str, place: str) -> None:
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext

    script = scripts()
    known = {s.revision for s in script.walk_revisions()}
    unknown = [s for s in (have, step) if s is not None and s not in known]
    if unknown:
        what = f"was written by a newer coilwright (step {unknown[0][:40]}, known up to {HEAD}); update coilwright to read it"
        raise BadInput(Fault(place, what))
    context = MigrationContext.configure(
        connection,
        opts={
            "version_table": VERSION_TABLE,
            "transactional_ddl": True,
            "fn": lambda at, _: script._upgrade_revs(step, at),
        },
    )
    if have is not None and not sa.inspect(connection).has_table(VERSION_TABLE):
        context.stamp(script, have)
        connection.exec_driver_sql("DROP TABLE version")
    with Operations.context(context):
        context.run_migrations()
