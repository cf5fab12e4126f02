"""What is done and what is wanted: drive, acceptance, named points, and how bodies are joined."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from coilwright.job.tables import Table
from coilwright.job.values import (
    Conductance,
    Current,
    Duration,
    Frequency,
    HeatTransfer,
    Instant,
    Line,
    Name,
    Number,
    Place,
    Power,
    Radius,
    Temperature,
    Voltage,
    Words,
)

ROOM_TEMPERATURE = 293.15
STILL_AIR = 10.0  # W/m^2/K, a usual figure for free convection on small hot parts (common practice, no source)


class JobNote(Table):
    """[job]: what a person calls it."""

    title: Line = ""
    notes: Words = ""


class Surroundings(Table):
    """[surroundings]: air temperature and heat transfer of the faces that touch air."""

    temperature: Temperature = ROOM_TEMPERATURE
    convection: HeatTransfer = STILL_AIR


class Through(Table):
    """A ring heated by current through its own pins; no coil is needed."""

    body: Name
    current: Current


class Step(Table):
    """One part of a programme: from `start` to `end` the drive stands at `level` times its set value."""

    start: Annotated[Instant, Field(alias="from")]
    end: Annotated[Duration, Field(alias="to")]
    level: Annotated[Number, Field(ge=0.0, le=10.0)]

    def clashes(self) -> Iterator[tuple[str, str]]:
        if not self.start < self.end:
            yield "to", "must come after from, but {to} is not later than {from}"


class Drive(Table):
    """[drive]: frequency, what is held constant, for how long. All rms."""

    frequency: Frequency | None = None
    coil_current: Current | None = None
    coil_voltage: Voltage | None = None
    coil_power: Power | None = None
    on_time: Duration | None = None
    through: Through | None = None
    step: Annotated[tuple[Step, ...], Field(max_length=1000)] = ()

    def clashes(self) -> Iterator[tuple[str, str]]:
        given = [k for k in ("coil_current", "coil_voltage", "coil_power", "through") if getattr(self, k) is not None]
        if len(given) > 1:
            yield (
                given[1],
                "only one of coil_current, coil_voltage, coil_power and through may be given, "
                f"but the file gives {' and '.join(given)}; keep one",
            )
        for k, (before, after) in enumerate(zip(self.step, self.step[1:], strict=False), 2):
            if after.start < before.end * (1.0 - 1e-12):
                yield (
                    "step",
                    f"step {k} begins at {after.start:g} s, before step {k - 1} ends at {before.end:g} "
                    "s; write the steps in order and without overlap",
                )
        if self.step and self.on_time is not None and self.step[-1].end > self.on_time * (1.0 + 1e-12):
            yield (
                "on_time",
                f"{{on_time}} is shorter than the programme, whose last step ends at "
                f"{self.step[-1].end:g} s; lengthen on_time or leave it out",
            )

    @property
    def shot_time(self) -> float | None:
        """How long the shot lasts, s: on_time, or the end of the programme; None when the file gives neither."""
        if self.on_time is not None:
            return self.on_time
        return self.step[-1].end if self.step else None

    def level_at(self, time: float) -> float:
        """Level at a time in s: 1 during the shot when there is no programme, 0 between steps and after the shot."""
        if not self.step:
            shot = self.shot_time
            return 1.0 if shot is None or 0.0 <= time < shot else 0.0
        for step in self.step:
            if step.start <= time < step.end:
                return step.level
        return 0.0

    @property
    def switch_times(self) -> tuple[float, ...]:
        """Times in s at which the level may jump, rising, from 0 to the end of the shot."""
        shot = self.shot_time
        times = {0.0, *(t for s in self.step for t in (s.start, s.end))}
        return tuple(sorted(times if shot is None else times | {shot}))


class Accept(Table):
    """One condition a good part meets: exactly one of reaches, stays_below, charge_fired, above (with for_at_least)."""

    body: Name
    reaches: Temperature | None = None
    within: Duration | None = None
    stays_below: Temperature | None = None
    charge_fired: Annotated[Number, Field(gt=0.0, le=1.0)] | None = None
    above: Temperature | None = None
    for_at_least: Duration | None = None
    at: Name | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        given = [k for k in ("reaches", "stays_below", "charge_fired", "above") if getattr(self, k) is not None]
        if not given:
            yield (
                "",
                'says nothing to meet; write one of reaches = "850 degC", stays_below = "450 '
                'degC", charge_fired = 0.95, above = "700 degC"',
            )
        elif len(given) > 1:
            yield (
                given[1],
                f"one [[accept]] table holds one condition, but this one holds {' and '.join(given)}; "
                "write a second [[accept]] table",
            )
        if self.within is not None and self.stays_below is not None:
            yield "within", "does not go with stays_below, which holds for the whole shot; leave within out"
        if (self.above is None) != (self.for_at_least is None):
            missing, example = ("for_at_least", "2 s") if self.above is not None else ("above", "700 degC")
            yield missing, f'above and for_at_least go together; write e.g. {missing} = "{example}"'
        if self.at is not None and self.charge_fired is not None:
            yield "at", "does not go with charge_fired, which is read over the whole charge; leave at out"

    @property
    def kind(self) -> Literal["reaches", "stays_below", "charge_fired", "holds"]:
        if self.reaches is not None:
            return "reaches"
        if self.stays_below is not None:
            return "stays_below"
        return "charge_fired" if self.charge_fired is not None else "holds"

    @property
    def where(self) -> str:
        """`at` as given, else the safe side: the coldest place must reach and hold, the hottest must stay below."""
        return self.at or ("hottest" if self.kind == "stays_below" else "coldest")


class Point(Table):
    """A named place to read."""

    name: Name
    r: Radius
    z: Place


class _Pair(Table):
    bodies: tuple[Name, Name]

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.bodies[0] == self.bodies[1]:
            yield "bodies", f'must name two different bodies, but names "{self.bodies[0]}" twice'


class Joint(_Pair):
    """Touching bodies declared one piece; `contact` is the conductance of their interface when it is not perfect."""

    contact: HeatTransfer | None = None


class Contact(_Pair):
    """A lumped heat path between two bodies that need not touch."""

    conductance: Conductance
