"""The section [seek] of a job file: what may change within which bounds, what is wanted, what must hold besides.

```toml
[seek]
objectives = ["setback", "coil current", "time"]       # figures of `figures.py`, several at once
evaluations = 300                                      # points looked at, default 200

[[seek.over]]                       # any number: what may change
what = "coil.turns"                 # a key of the job file, or coil.gap, coil.turn_gap, tank.frequency
among = [3, 4, 5]                   # one of these ...

[[seek.over]]
what = "coil.gap"
from = "0.5 mm"                     # ... or anything between, in steps
to = "3 mm"
step = "0.1 mm"

[[seek.over]]
what = "coil.conductor"
stock = "tubes.csv"                 # ... or a row of a list of stock sizes, whose columns are keys of that table

[[seek.require]]                    # what must hold besides [[accept]]
what = "coil current"
at_most = "180 A"
```
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import Field, StringConstraints, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.faults import section_faults, suggestion
from coilwright.job.tables import Table
from coilwright.job.values import as_written
from coilwright.seek.figures import FIGURES, Figure

MOST_EVALUATIONS = 100_000
_Key = Annotated[str, StringConstraints(min_length=1, max_length=200)]
_Bound = Annotated[str, StringConstraints(max_length=80)] | Annotated[float, Field(strict=True, allow_inf_nan=False)]


class Over(Table):
    """One thing that may change: `among` listed values, `from` .. `to` (in `step`s), or the rows of a `stock` list."""

    what: _Key
    among: Annotated[tuple[Any, ...], Field(max_length=500)] | None = None
    start: Annotated[_Bound | None, Field(alias="from")] = None
    end: Annotated[_Bound | None, Field(alias="to")] = None
    step: _Bound | None = None
    stock: Annotated[str, StringConstraints(min_length=1, max_length=500)] | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        between = self.start is not None or self.end is not None
        ways = [self.among is not None, between, self.stock is not None]
        if sum(ways) != 1:
            given = "none of them" if not any(ways) else "several"
            yield "", f'needs one of among = [...], from and to, or stock = "sizes.csv"; received {given}'
        elif between and (self.start is None or self.end is None):
            missing = "from" if self.start is None else "to"
            yield missing, "is missing; a range needs both of its ends"
        if self.among is not None and not self.among:
            yield "among", "is empty, so there is nothing to choose from; write at least one value"
        if self.step is not None and not between:
            yield "step", "goes with from and to only; take it out"


class Require(Table):
    """What a figure must keep besides the acceptance."""

    what: _Key
    at_least: _Bound | None = None
    at_most: _Bound | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.at_least is None and self.at_most is None:
            yield "", 'must hold at_least or at_most; write e.g. at_most = "180 A"'


class Seek(Table):
    """[seek]: objectives, what may change, what must hold besides the acceptance, and how many points to look at."""

    objectives: Annotated[tuple[str, ...], Field(max_length=6)] = ()
    over: Annotated[tuple[Over, ...], Field(max_length=30)] = ()
    require: Annotated[tuple[Require, ...], Field(max_length=50)] = ()
    evaluations: Annotated[int, Field(strict=True, ge=8, le=MOST_EVALUATIONS)] = 200

    def clashes(self) -> Iterator[tuple[str, str]]:
        if not self.objectives:
            names = ", ".join(FIGURES)
            example = '["setback", "coil current"]'
            yield "objectives", f"must name at least one figure to make better, e.g. {example}; known are {names}"
        if not self.over:
            yield (
                "over",
                'is missing; say what may change, e.g. [[seek.over]] what = "coil.turns", among = [3, 4, 5]',
            )


def read_seek(job: Job) -> Seek:
    """The [seek] section of a job; every fault is named at once. Raises BadInput, also when there is none."""
    where = f"{job.name}: seek"
    raw = job.later.get("seek")
    if raw is None:
        what = 'is missing; say what is wanted and what may change: objectives = ["setback", "coil current"] and [[seek.over]]'
        raise BadInput(Fault(where, what))
    try:
        seek = Seek.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(where, Seek, raw, error, joint=".")) from None
    faults = [*_twice(where, seek), *_unknown(where, seek)]
    if faults:
        raise BadInput(faults)
    return seek


def _twice(where: str, seek: Seek) -> Iterator[Fault]:
    names = [o.what for o in seek.over]
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            yield Fault(f"{where}.over {as_written(name)}", "stands twice; keep one of them")
    for name in dict.fromkeys(seek.objectives):
        if seek.objectives.count(name) > 1:
            yield Fault(f"{where}.objectives", f"{as_written(name)} stands twice; keep one of them")


def _unknown(where: str, seek: Seek) -> Iterator[Fault]:
    for name in seek.objectives:
        if name not in FIGURES:
            yield Fault(f"{where}.objectives", f"{as_written(name)} is not a figure; {suggestion(name, FIGURES)}")
    for n, r in enumerate(seek.require, 1):
        if r.what not in FIGURES:
            yield Fault(
                f"{where}.require.{n}.what", f"{as_written(r.what)} is not a figure; {suggestion(r.what, FIGURES)}"
            )


def objectives_of(seek: Seek) -> tuple[Figure, ...]:
    """The figures to make better, in order."""
    return tuple(FIGURES[name] for name in seek.objectives)
