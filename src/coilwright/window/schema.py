"""The table [[varies]] of a job file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import StringConstraints, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table

Shape = Literal["normal", "uniform", "one-sided", "sample"]
Width = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Value = Annotated[str, StringConstraints(min_length=1, max_length=80)]


class Varies(Table):
    """One quantity that is not always the same.

    `what` is a key of the job file, or "mains", "coil.sideways", "coil.tilt". `by` is one standard deviation (normal),
    the half width (uniform) or the whole width (one-sided, from the nominal value towards the sign of `by`), with a unit or
    in per cent of the nominal value. A "sample" has `values` instead. `each`: drawn anew for every station, or once
    per shot for all. `about` is the nominal value where the job file does not state it.
    """

    what: Annotated[str, StringConstraints(min_length=1, max_length=200)]
    by: Width | None = None
    shape: Shape = "normal"
    values: tuple[Value, ...] = ()
    each: Literal["station", "common"] = "station"
    about: Value | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.shape == "sample":
            if len(self.values) < 2:
                yield "values", 'must hold at least 2 measured values; write e.g. values = ["0.9 mm", "1.1 mm"]'
            if self.by is not None:
                yield "by", "does not go with a sample, whose values say it all; take it out"
        else:
            if self.by is None:
                yield "by", 'is missing; write e.g. by = "0.15 mm" or by = "2 %"'
            if self.values:
                yield "values", 'goes with shape = "sample" only; take it out'


def read_varies(job: Job) -> tuple[Varies, ...]:
    """The [[varies]] tables of a job, checked one by one; every fault is named at once."""
    raw: Any = job.later.get("varies", ())
    if not isinstance(raw, list | tuple):
        raise BadInput(Fault(f"{job.name}: varies", "must be headed [[varies]] with double brackets"))
    faults: list[Fault] = []
    out = []
    for n, table in enumerate(raw, 1):
        name = table.get("what") if isinstance(table, dict) else None
        where = f'{job.name}: varies "{name[:60]}"' if isinstance(name, str) else f"{job.name}: varies {n}"
        try:
            out.append(Varies.model_validate(table))
        except ValidationError as error:
            faults += section_faults(where, Varies, table, error)
    seen: set[str] = set()
    for v in out:
        if v.what in seen:
            faults.append(Fault(f'{job.name}: varies "{v.what[:60]}"', "stands twice; keep one of them"))
        seen.add(v.what)
    if faults:
        raise BadInput(faults)
    return tuple(out)
