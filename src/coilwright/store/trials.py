"""Trials of a job and what they taught."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from coilwright.errors import BadInput, Fault
from coilwright.store.database import Database
from coilwright.store.jobs import job_key, version_key
from coilwright.store.records import Fitted, TrialRecord, checked_text, number, plain
from coilwright.store.tables import attachment, fitted, job, job_version, trial

LARGEST_PHOTO: Final = 32 * 2**20  # bytes; one from a telephone has about a tenth of it


def add_trial(store: Database, record: TrialRecord) -> TrialRecord:
    """Keep the sheet of one run; the record with its number and version. Raises BadInput, e.g. for an unknown job.

    The content of the trace is kept with it, and that of the photograph when its file is there.
    """
    record = replace(record, photo_content=_photo_of(record))
    words = {k: checked_text(getattr(record, k), k) for k in ("coil", "outcome", "remark", "photo", "trace_name")}
    row: dict[str, Any] = {
        **words, "time": number(record.when, "when"), "gap": number(record.gap_m, "gap_m"),
        "setting": plain(record.setting, "setting"), "readings": plain(record.readings, "readings"),
        "events": plain(record.events, "events"), "photo_digest": record.photo_digest,
        "fit": None if record.fit is None else plain(record.fit, "fit"), "trace_digest": None,
    }  # fmt: skip
    if len(words["coil"]) > 200:
        raise BadInput(Fault("coil", "must be a name of at most 200 characters"))
    with store.writing() as connection:
        row["job_version_id"], version = version_key(connection, store.place, record.job, record.version)
        if record.trace is not None:
            row["trace_digest"] = attach(connection, record.trace)
        if record.photo_content is not None:
            row["photo_digest"] = attach(connection, record.photo_content)
        made = connection.execute(trial.insert().values(row))
        key = int(made.inserted_primary_key[0])  # type: ignore[index]
    return replace(record, number=key, version=version, job=record.job.strip(), photo_digest=row["photo_digest"])


def trials_of(store: Database, job_name: str, *, version: int | None = None) -> tuple[TrialRecord, ...]:
    """Trials of a job (of one version of it), oldest first, without the content of their files. Raises BadInput."""
    with store.reading() as connection:
        query = _joined().where(job.c.id == job_key(connection, store.place, job_name))
        if version is not None:
            query = query.where(job_version.c.number == version)
        return tuple(_record(r) for r in connection.execute(query.order_by(trial.c.time, trial.c.id)))


def trial_at(store: Database, key: int) -> TrialRecord:
    """One trial by its number, with the content of trace and photograph. Raises BadInput when there is none."""
    with store.reading() as connection:
        row = connection.execute(_joined().where(trial.c.id == key)).first()
        if row is None:
            raise BadInput(Fault(store.place, f"has no trial number {key}"))
        trace, photo = (
            connection.scalar(sa.select(attachment.c.content).where(attachment.c.digest == digest))
            for digest in (row.trace_digest, row.photo_digest)
        )
    return replace(_record(row), trace=trace, photo_content=photo)


def set_fit(store: Database, key: int, fit: dict[str, Any], values: Iterable[Fitted] = ()) -> None:
    """Write what was fitted to a trial beside it, and the values it taught. Values taught before stay. Raises BadInput."""
    with store.writing() as connection:
        done = connection.execute(trial.update().where(trial.c.id == key).values(fit=plain(fit, "fit")))
        if not done.rowcount:
            raise BadInput(Fault(store.place, f"has no trial number {key}"))
        for value in values:
            connection.execute(fitted.insert().values(_fitted_row(connection, store.place, key, value)))


def fitted_of(store: Database, job_name: str) -> tuple[Fitted, ...]:
    """Every value that trials of a job taught, oldest first, each with its trial and the version it was written to."""
    written = job_version.alias("written")
    query = (
        sa.select(fitted.c.key, fitted.c.value, fitted.c.uncertainty, written.c.number, fitted.c.trial_id)
        .join_from(fitted, trial)
        .join(job_version, job_version.c.id == trial.c.job_version_id)
        .join(written, written.c.id == fitted.c.written_to, isouter=True)
        .order_by(fitted.c.id)
    )
    with store.reading() as connection:
        key = job_key(connection, store.place, job_name)
        return tuple(Fitted(*row) for row in connection.execute(query.where(job_version.c.job_id == key)))


def attach(connection: sa.Connection, content: bytes) -> str:
    """Keep the content of a file once; its digest."""
    digest = hashlib.sha256(content).hexdigest()
    if connection.scalar(sa.select(attachment.c.digest).where(attachment.c.digest == digest)) is None:
        connection.execute(attachment.insert().values(digest=digest, content=content))
    return digest


def _fitted_row(connection: sa.Connection, place: str, key: int, value: Fitted) -> dict[str, Any]:
    row: dict[str, Any] = {k: checked_text(getattr(value, k), k) for k in ("key", "value", "uncertainty")}
    row |= {"trial_id": key, "written_to": None}
    if value.written_to is not None:
        name = connection.scalar(_names().where(trial.c.id == key))
        row["written_to"], _ = version_key(connection, place, str(name), value.written_to)
    return row


def _names() -> sa.Select[Any]:
    return sa.select(job.c.name).join_from(trial, job_version).join(job, job.c.id == job_version.c.job_id)


def _joined() -> sa.Select[Any]:
    return (
        sa.select(trial, job.c.name.label("job"), job_version.c.number.label("version"))
        .join_from(trial, job_version)
        .join(job, job.c.id == job_version.c.job_id)
    )


def _record(row: Any) -> TrialRecord:
    return TrialRecord(
        job=row.job, when=row.time, version=row.version, coil=row.coil, gap_m=row.gap, setting=row.setting,
        readings=tuple(row.readings), events=tuple(row.events), outcome=row.outcome, remark=row.remark, photo=row.photo,
        photo_digest=row.photo_digest, trace_name=row.trace_name, fit=row.fit, number=row.id,
    )  # fmt: skip


def _photo_of(record: TrialRecord) -> bytes | None:
    """The content of the photograph; None when its file is not there: the path is kept all the same."""
    content = record.photo_content
    if content is None and record.photo:
        try:
            path = Path(record.photo).expanduser()
            if not path.is_file():
                return None
            with path.open("rb") as file:
                content = file.read(LARGEST_PHOTO + 1)
        except (OSError, ValueError, RuntimeError):
            return None
    if content is not None and len(content) > LARGEST_PHOTO:
        what = f"must be at most {LARGEST_PHOTO // 2**20} MB; received a larger file; make the picture smaller"
        raise BadInput(Fault(f"photo {record.photo[:200]}", what))
    return content
