"""The table [fixture]: how many stations, where they stand, how their coils hang on the source and what it holds."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from coilwright.job.later import read_later
from coilwright.job.tables import Table
from coilwright.job.values import Quantity, Size

if TYPE_CHECKING:
    from coilwright.job.model import Job

Feed = Literal["series", "parallel", "separate"]
Control = Literal["current", "voltage", "power", "coil voltage"]
Arrangement = Literal["line", "circle", "grid"]
Lead = Annotated[float, Quantity("inductance", at_least=0.0, at_most=1.0, example="20 nH")]


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


def read_fixture(job: Job) -> Fixture:
    """The fixture of a job; one station without any when the job has none. Raises BadInput."""
    found = read_later(job, "fixture", Fixture)
    if found is not None:
        return found
    drive = job.drive
    if drive.coil_voltage is not None:
        return Fixture(stations=1, control="coil voltage")
    return Fixture(stations=1, control="current" if drive.coil_power is None else "power")
