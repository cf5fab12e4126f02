"""Sections of a job that a layer above defines, read when they are asked for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job.faults import section_faults
from coilwright.job.model import Job
from coilwright.job.tables import Table

_Section = TypeVar("_Section", bound=Table)


def read_later(job: Job, key: str, kind: type[_Section]) -> _Section | None:
    """The table [key] of a job; None when it has none. Raises BadInput with one sentence per fault."""
    raw: Any = job.later.get(key)
    if raw is None:
        return None
    where = f"{job.name}: {key}"
    if not isinstance(raw, Mapping):
        raise BadInput(Fault(where, f"must be a table under its own heading [{key}]"))
    try:
        return kind.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(where, kind, raw, error, joint=".")) from None
