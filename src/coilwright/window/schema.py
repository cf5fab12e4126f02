"""The tables [fixture] and [[varies]] of a job file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, ValidationError

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.faults import section_faults
from coilwright.job.tables import Table
from coilwright.job.values import Quantity, Size

Feed = Literal["series", "parallel", "separate"]
Control = Literal["current", "voltage", "power", "coil voltage"]
Arrangement = Literal["line", "circle", "grid"]
Shape = Literal["normal", "uniform", "one-sided", "sample"]
Lead = Annotated[float, Quantity("inductance", at_least=0.0, at_most=1.0, example="20 nH")]
Width = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Value = Annotated[str, StringConstraints(min_length=1, max_length=80)]


class Fixture(Table):
    """N equal stations. `spacing` (m) from one station to the next: along the line, along the chord of the circle, or
    along both sides of the grid, which has `columns` stations to a row.

    `feed`: how the coils hang on the source. `control`: what the source holds: the coil "current", the "voltage" it
    drives its tuned tank with (so that the current follows volts over resistance), the "power", or the "coil voltage" at the
    terminals of the fixture. `lead_inductance` (H) is what each station's leads have beyond those of [coil].
    `windings`: "same" sense at every station or "alternate".
    """

    stations: Annotated[int, Field(strict=True, ge=1, le=64)]
    arrangement: Arrangement = "line"
    spacing: Size | None = None
    columns: Annotated[int, Field(strict=True, ge=1, le=64)] | None = None
    feed: Feed = "series"
    control: Control = "voltage"
    windings: Literal["same", "alternate"] = "same"
    lead_inductance: tuple[Lead, ...] = ()

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.stations > 1 and self.spacing is None:
            yield "spacing", 'is missing; several stations need their distance, write e.g. spacing = "80 mm"'
        if self.lead_inductance and len(self.lead_inductance) != self.stations:
            yield (
                "lead_inductance",
                f"must hold one entry per station ({self.stations}), not {len(self.lead_inductance)}; "
                'write "0 nH" for stations without extra leads',
            )
        if self.columns is not None and self.arrangement != "grid":
            yield "columns", 'belongs to arrangement = "grid"; take it out'


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


def read_fixture(job: Job) -> Fixture:
    """The fixture of a job; one station without any when the job has none. Raises BadInput."""
    raw = job.later.get("fixture")
    if raw is None:
        drive = job.drive
        if drive.coil_voltage is not None:
            return Fixture(stations=1, control="coil voltage")
        return Fixture(stations=1, control="current" if drive.coil_power is None else "power")
    where = f"{job.name}: fixture"
    if not isinstance(raw, dict):
        raise BadInput(Fault(where, "must be a table under its own heading [fixture]"))
    try:
        return Fixture.model_validate(raw)
    except ValidationError as error:
        raise BadInput(section_faults(where, Fixture, raw, error, joint=".")) from None


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
