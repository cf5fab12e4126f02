"""[workshop]: what the shop decides about making the coil. Every key may be left out; what is assumed then is said so."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from coilwright.job.later import read_later
from coilwright.job.model import Job
from coilwright.job.tables import Table
from coilwright.job.values import Name, Size

Hand = Literal["right", "left"]
Tolerance = Annotated[float, Strict(), Field(gt=0.0, lt=1.0, allow_inf_nan=False)]


class CanSize(Table):
    """Outside of one capacitor by its name: `width` along the bars, `depth` across them, `height` from bar to bar."""

    name: Name
    width: Size
    depth: Size
    height: Size


class Workshop(Table):
    """`hand` of the winding; least centre-line `bend_radius` of the lead bends; relative tolerances of what the finished
    coil may read; `gap_tolerance` of the distance coil to part where no window was computed; `cut_allowance` added to
    the developed length; sizes of the capacitors."""

    hand: Hand = "right"
    bend_radius: Size | None = None
    inductance_tolerance: Tolerance = 0.05
    resistance_tolerance: Tolerance = 0.15
    gap_tolerance: Size = 0.2e-3
    cut_allowance: Size = 30e-3
    can: tuple[CanSize, ...] = ()

    def assumed(self, key: str) -> bool:
        """Whether the file leaves this key out."""
        return key not in self.model_fields_set


def read_workshop(job: Job) -> Workshop:
    """The [workshop] table of a job, defaults where it says nothing. Raises BadInput."""
    return read_later(job, "workshop", Workshop) or Workshop()
