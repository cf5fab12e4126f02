"""Jobs and their versions. A text is stored once; nothing that was kept is ever changed."""

from __future__ import annotations

import difflib
import hashlib
import time
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault
from coilwright.store.database import Database
from coilwright.store.records import JobReading, JobRecord, JobVersion, checked_name, checked_text, plain
from coilwright.store.tables import job, job_reading, job_text, job_version, trial

_COLUMNS = (
    job.c.name, job_version.c.number, job_version.c.time, job_version.c.note, job_text.c.text, job_version.c.digest,
    job_version.c.figures,
)  # fmt: skip


def keep_job(store: Database, name: str, text: str, *, note: str = "", origin: str = "", same: bool = False,
             figures: Mapping[str, Any] | None = None, when: float | None = None) -> JobVersion:  # fmt: skip
    """Keep the text of a job file as the next version of the job `name`; the newest version when it is the same text.

    `origin` is the file it comes from: another file under a name that is taken is refused, unless `same` says that it is
    the same job. A new note on the same text is added to the old one. Raises BadInput.
    """
    name = checked_name(name, "job")
    text, note = checked_text(text, f'job "{name}"'), checked_text(note.strip(), "note")
    digest, now = hashlib.sha256(text.encode("utf-8")).hexdigest(), time.time() if when is None else when
    facts = plain(dict(figures or {}), "figures")
    with store.writing() as connection:
        key = _job_for(connection, name, origin, same, now)
        last = connection.execute(
            sa.select(job_version.c.id, job_version.c.number, job_version.c.digest, job_version.c.note)
            .where(job_version.c.job_id == key)
            .order_by(job_version.c.number.desc())
            .limit(1)
        ).first()
        if last is not None and last.digest == digest:
            said = last.note.splitlines()
            values = {"note": "\n".join([*said, note] if note and note not in said else said)}
            if facts:
                values["figures"] = facts
            connection.execute(job_version.update().where(job_version.c.id == last.id).values(values))
            number = int(last.number)
        else:
            if connection.scalar(sa.select(job_text.c.digest).where(job_text.c.digest == digest)) is None:
                connection.execute(job_text.insert().values(digest=digest, text=text))
            number = 1 if last is None else int(last.number) + 1
            row = {"job_id": key, "number": number, "digest": digest, "time": now, "note": note, "figures": facts}
            connection.execute(job_version.insert().values(row))
        return version_of(connection, store.place, name, number)


def _job_for(connection: sa.Connection, name: str, origin: str, same: bool, now: float) -> int:
    there = connection.execute(sa.select(job.c.id, job.c.origin).where(job.c.name == name)).first()
    if there is None:
        row = connection.execute(job.insert().values(name=name, time=now, origin=checked_text(origin, "origin")))
        return int(row.inserted_primary_key[0])  # type: ignore[index]
    if origin and there.origin and origin != there.origin and not same:
        what = (
            f"stands in the store already, kept from {there.origin}; received {origin}: "
            "if it is the same job say so (--same), else give it a name of its own (--as NAME)"
        )
        raise BadInput(Fault(f'job "{name}"', what))
    if origin and origin != there.origin:
        connection.execute(job.update().where(job.c.id == there.id).values(origin=origin))
    return int(there.id)


def job_names(store: Database) -> tuple[str, ...]:
    """Names of all jobs, in alphabetical order."""
    with store.reading() as connection:
        return tuple(connection.scalars(sa.select(job.c.name).order_by(job.c.name)))


def jobs(store: Database) -> tuple[JobRecord, ...]:
    """All jobs, in alphabetical order."""
    versions = sa.select(sa.func.count()).where(job_version.c.job_id == job.c.id).scalar_subquery()
    trials = (
        sa.select(sa.func.count())
        .select_from(trial.join(job_version, trial.c.job_version_id == job_version.c.id))
        .where(job_version.c.job_id == job.c.id)
        .scalar_subquery()
    )
    with store.reading() as connection:
        rows = connection.execute(
            sa.select(job.c.name, job.c.time, job.c.origin, versions, trials).order_by(job.c.name)
        )
        return tuple(JobRecord(*row) for row in rows)


def job_at(store: Database, name: str, number: int | None = None) -> JobVersion:
    """A version of a job, the newest without a number. Raises BadInput when there is none."""
    with store.reading() as connection:
        return version_of(connection, store.place, name, number)


def versions_of(store: Database, name: str) -> tuple[JobVersion, ...]:
    """All versions of a job, oldest first. Raises BadInput for an unknown name."""
    with store.reading() as connection:
        key = job_key(connection, store.place, name)
        query = _joined().where(job.c.id == key).order_by(job_version.c.number)
        return tuple(JobVersion(*row) for row in connection.execute(query))


def newest_versions(store: Database) -> tuple[JobVersion, ...]:
    """The newest version of every job, in alphabetical order."""
    last = (
        sa.select(job_version.c.job_id, sa.func.max(job_version.c.number).label("number"))
        .group_by(job_version.c.job_id)
        .subquery()
    )
    query = _joined().join(last, (last.c.job_id == job.c.id) & (last.c.number == job_version.c.number))
    with store.reading() as connection:
        return tuple(JobVersion(*row) for row in connection.execute(query.order_by(job.c.name)))


def add_reading(store: Database, record: JobReading) -> None:
    """Keep readings taken for a job outside a trial. Raises BadInput for an unknown job."""
    with store.writing() as connection:
        row = {
            "job_id": job_key(connection, store.place, record.job), "time": record.when,
            "source": checked_text(record.source, "source"), "readings": plain(record.readings, "readings"),
        }  # fmt: skip
        connection.execute(job_reading.insert().values(row))


def readings_of(store: Database, name: str) -> tuple[JobReading, ...]:
    """Readings taken for a job outside a trial, oldest first."""
    with store.reading() as connection:
        key = job_key(connection, store.place, name)
        query = sa.select(job_reading).where(job_reading.c.job_id == key).order_by(job_reading.c.id)
        rows = connection.execute(query).all()
        return tuple(JobReading(name, r.source, tuple(r.readings), r.time) for r in rows)


def version_of(connection: sa.Connection, place: str, name: str, number: int | None) -> JobVersion:
    """As job_at, on an open connection."""
    key = job_key(connection, place, name)
    query = _joined().where(job.c.id == key)
    if number is not None:
        query = query.where(job_version.c.number == number)
    row = connection.execute(query.order_by(job_version.c.number.desc()).limit(1)).first()
    if row is None:
        count = connection.scalar(sa.select(sa.func.count()).where(job_version.c.job_id == key))
        raise BadInput(Fault(f'job "{name}"', f"has versions 1 to {count}; received {number}"))
    return JobVersion(*row)


def version_key(connection: sa.Connection, place: str, name: str, number: int | None) -> tuple[int, int]:
    """(key, number) of a version, the newest without a number. Raises BadInput."""
    found = version_of(connection, place, name, number)
    query = sa.select(job_version.c.id).join(job, job.c.id == job_version.c.job_id)
    key = connection.scalar(query.where(job.c.name == found.job, job_version.c.number == found.number))
    return int(key or 0), found.number


def job_key(connection: sa.Connection, place: str, name: str) -> int:
    """Key of a job by its name. Raises BadInput with the nearest names when it is unknown."""
    key = connection.scalar(sa.select(job.c.id).where(job.c.name == name.strip()))
    if key is None:
        raise BadInput(Fault(place, unknown("job", name, connection.scalars(sa.select(job.c.name)).all())))
    return int(key)


def unknown(kind: str, name: str, known: Any) -> str:
    """The sentence for a name that is not there."""
    near = difflib.get_close_matches(name, known, 3, 0.4) or sorted(known)[:5]
    hint = "known: " + ", ".join(f'"{n}"' for n in near) if near else "it holds none yet"
    return f'has no {kind} "{name[:80]}"; {hint}'


def _joined() -> sa.Select[Any]:
    return sa.select(*_COLUMNS).join_from(job, job_version).join(job_text, job_text.c.digest == job_version.c.digest)
