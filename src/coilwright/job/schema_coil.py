"""The work coil: how it is wound, of what, and its leads."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from coilwright.job.schema_body import Overrides
from coilwright.job.tables import Table
from coilwright.job.values import Count, Name, Place, Size, Temperature, Turns

CLOSEST_PACKING = math.pi / math.sqrt(12.0)  # share of a plane covered by round wires at their densest


class _Conductor(Table):
    material: Name = "copper"
    overrides: Overrides = Overrides()

    @property
    def radial_size(self) -> float:
        """Extent along r, m."""
        raise NotImplementedError(f"{type(self).__name__} has no radial size")

    @property
    def axial_size(self) -> float:
        """Extent along z, m."""
        return self.radial_size


class RoundTube(_Conductor):
    section: Literal["round tube"]
    outside: Size
    bore: Size

    @property
    def radial_size(self) -> float:
        return self.outside

    def clashes(self) -> Iterator[tuple[str, str]]:
        if not self.bore < self.outside:
            yield "bore", "must be smaller than outside, but {bore} is not below {outside}; exchange or correct them"


class RectangularTube(_Conductor):
    """`width` lies along r, `height` along z."""

    section: Literal["rectangular tube"]
    width: Size
    height: Size
    wall: Size

    @property
    def radial_size(self) -> float:
        return self.width

    @property
    def axial_size(self) -> float:
        return self.height

    def clashes(self) -> Iterator[tuple[str, str]]:
        if not 2.0 * self.wall < min(self.width, self.height):
            yield (
                "wall",
                "two walls of {wall} must leave a bore inside {width} by {height}; write "
                "a thinner wall, or a strip if it is solid",
            )


class RoundWire(_Conductor):
    section: Literal["round wire"]
    diameter: Size

    @property
    def radial_size(self) -> float:
        return self.diameter


class Strip(_Conductor):
    """Solid rectangular bar: `width` lies along r, `height` along z."""

    section: Literal["strip"]
    width: Size
    height: Size

    @property
    def radial_size(self) -> float:
        return self.width

    @property
    def axial_size(self) -> float:
        return self.height


class Litz(_Conductor):
    """Bundle of insulated strands; `diameter` is that of the bundle."""

    section: Literal["litz"]
    diameter: Size
    strands: Count
    strand_diameter: Size

    @property
    def radial_size(self) -> float:
        return self.diameter

    def clashes(self) -> Iterator[tuple[str, str]]:
        fill = self.strands * (self.strand_diameter / self.diameter) ** 2
        if fill > CLOSEST_PACKING:
            yield (
                "strands",
                f"{{strands}} strands of {{strand_diameter}} fill {100.0 * fill:.0f} % of a "
                f"bundle of {{diameter}}, but round wires fill "
                "at most 91 %; write fewer or thinner strands, or a thicker bundle",
            )


Conductor = Annotated[RoundTube | RectangularTube | RoundWire | Strip | Litz, Field(discriminator="section")]


class Leads(Table):
    """The pair of conductors from the coil to the tank; `spacing` is between their centre lines."""

    length: Size
    spacing: Size


class _Coil(Table):
    conductor: Conductor
    leads: Leads | None = None
    water_temperature: Temperature | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        if self.leads is not None and self.leads.spacing < self.conductor.radial_size * (1.0 - 1e-9):
            wide = f"{1e3 * self.conductor.radial_size:.4g} mm"
            yield (
                "leads.spacing",
                f"the lead centres must be at least the conductor width of {wide} apart, "
                "or the leads touch; write a wider spacing",
            )

    def _crossing(self, key: str, mean_diameter: float) -> Iterator[tuple[str, str]]:
        if not self.conductor.radial_size < mean_diameter:
            yield (
                key,
                f"the turn crosses the axis: {{{key}}} must be greater than the conductor width "
                f"of {1e3 * self.conductor.radial_size:.4g} mm; "
                "write a wider coil or a thinner conductor",
            )


class Helix(_Coil):
    """Turns stacked along z; diameters to the centre line of the conductor, `centre` is the middle of the winding."""

    winding: Literal["helix"]
    turns: Turns
    mean_diameter: Size
    pitch: Size | None = None
    centre: Place = 0.0

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from super().clashes()
        yield from self._crossing("mean_diameter", self.mean_diameter)
        high = self.conductor.axial_size
        if self.turns > 1.0 and self.pitch is None:
            yield "pitch", f'is needed for more than one turn; write e.g. pitch = "{1.25e3 * high:.3g} mm"'
        elif self.turns > 1.0 and self.pitch is not None and self.pitch < high * (1.0 - 1e-9):
            yield (
                "pitch",
                f"the turns overlap: the pitch must be at least the conductor height of {1e3 * high:.4g} "
                f'mm, not {{pitch}}; write e.g. "{1.25e3 * high:.3g} mm"',
            )


class Spiral(_Coil):
    """Flat coil (pancake); diameters to the centre lines of the first and the last turn."""

    winding: Literal["spiral"]
    turns: Turns
    inner_diameter: Size
    outer_diameter: Size
    centre: Place = 0.0

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from super().clashes()
        yield from self._crossing("inner_diameter", self.inner_diameter)
        if self.turns <= 1.0:
            yield "turns", "a spiral needs more than one turn, not {turns}; write a helix of one turn instead"
            return
        if not self.inner_diameter < self.outer_diameter:
            yield (
                "inner_diameter",
                "must be smaller than outer_diameter, but {inner_diameter} is not below "
                "{outer_diameter}; exchange or correct them",
            )
            return
        if self.radial_pitch < self.conductor.radial_size * (1.0 - 1e-9):
            wide = 1e3 * self.conductor.radial_size
            needed = 1e3 * self.inner_diameter + 2.0 * wide * (self.turns - 1.0)
            yield (
                "outer_diameter",
                f"the turns overlap: {{turns}} turns stand {1e3 * self.radial_pitch:.4g} mm "
                f"apart but the conductor is {wide:.4g} mm wide; "
                f'write at least "{needed:.4g} mm", or fewer turns',
            )

    @property
    def radial_pitch(self) -> float:
        """Distance of neighbouring centre lines, m."""
        return 0.5 * (self.outer_diameter - self.inner_diameter) / (self.turns - 1.0)


class Turn(Table):
    """One turn of a coil that is listed turn by turn."""

    mean_diameter: Size
    z: Place


class ListedTurns(_Coil):
    """Each turn at its own place, all in series."""

    winding: Literal["turns"]
    turn: Annotated[tuple[Turn, ...], Field(min_length=1, max_length=500)]

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from super().clashes()
        for k, turn in enumerate(self.turn, 1):
            if not self.conductor.radial_size < turn.mean_diameter:
                yield (
                    "turn",
                    f"turn {k} crosses the axis: its mean_diameter must be greater than the conductor "
                    f"width of {1e3 * self.conductor.radial_size:.4g} mm",
                )
        for i, a in enumerate(self.turn):
            for j in range(i + 1, len(self.turn)):
                if self._overlap(a, self.turn[j]):
                    yield (
                        "turn",
                        f"turns {i + 1} and {j + 1} overlap; move one of them by at least the size of the conductor",
                    )

    def _overlap(self, a: Turn, b: Turn) -> bool:
        dr, dz = 0.5 * abs(a.mean_diameter - b.mean_diameter), abs(a.z - b.z)
        wide, high = self.conductor.radial_size, self.conductor.axial_size
        if isinstance(self.conductor, RectangularTube | Strip):
            return dr < wide * (1.0 - 1e-9) and dz < high * (1.0 - 1e-9)
        return math.hypot(dr, dz) < wide * (1.0 - 1e-9)


Coil = Annotated[Helix | Spiral | ListedTurns, Field(discriminator="winding")]
