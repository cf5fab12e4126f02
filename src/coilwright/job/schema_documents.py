"""[documents]: what stands on the paper and nowhere in the physics. Every key may be left out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from coilwright.job.later import read_later
from coilwright.job.model import Job
from coilwright.job.tables import Table
from coilwright.job.values import Duration, Line, Rate

DAY = re.compile(r"[12]\d{3}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
Language = Literal["en", "de", "fr", "es", "pl"]


class Drift(Table):
    """How fast a reading wanders in this shop: `by` (a share, or a length for setback) in `hours` of running."""

    what: Line
    by: str | float
    hours: Annotated[float, Field(gt=0.0, le=1e6)]


class Documents(Table):
    """`date` as 2025-03-31, `number`, `revision`, who it is for and by; `telephone` to call; parts `rate` wanted and `handling`
    time from shot to shot; keys of the file that were `measured` or only `guessed` (the rest was told)."""

    date: Line = ""
    number: Line = ""
    revision: Line = ""
    customer: Line = ""
    shop: Line = ""
    drawn_by: Line = ""
    checked_by: Line = ""
    telephone: Line = ""
    language: Language = "en"
    rate: Rate | None = None
    handling: Duration | None = None
    allowed_bad: Annotated[float, Field(gt=0.0, lt=0.5)] = 0.05
    measured: tuple[Line, ...] = ()
    guessed: tuple[Line, ...] = ()
    excluded: tuple[Line, ...] = ()
    drift: tuple[Drift, ...] = ()

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.date and not DAY.fullmatch(self.date):
            yield "date", 'must be a day written as "2025-03-31", not {date}'


def read_documents(job: Job) -> Documents:
    """The [documents] table of a job, defaults where it says nothing. Raises BadInput."""
    return read_later(job, "documents", Documents) or Documents()
