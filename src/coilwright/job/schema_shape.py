"""The shapes a body may have, as written in the job file; r is radius, z the coil axis upwards."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from coilwright.job.tables import Table
from coilwright.job.values import Place, Radius, Size

MAX_POINTS = 500


class _Hollow(Table):
    outer_diameter: Size
    inner_diameter: Size

    def clashes(self) -> Iterator[tuple[str, str]]:
        if not self.inner_diameter < self.outer_diameter:
            yield (
                "inner_diameter",
                "must be smaller than outer_diameter, but {inner_diameter} is not below "
                "{outer_diameter}; exchange or correct them",
            )


class Ring(_Hollow):
    """Flat ring of rectangular section."""

    kind: Literal["ring"]
    height: Size


class Bar(Table):
    """Solid round bar; z along its length."""

    kind: Literal["bar"]
    diameter: Size
    length: Size


class Tube(_Hollow):
    """Round tube; z along its length."""

    kind: Literal["tube"]
    length: Size


class Disc(Table):
    """Solid flat disc."""

    kind: Literal["disc"]
    diameter: Size
    height: Size


class Ball(Table):
    """Solid ball."""

    kind: Literal["ball"]
    diameter: Size


class WireRing(Table):
    """Ring of round wire; mean_diameter is to the centre line of the wire."""

    kind: Literal["wire-ring"]
    mean_diameter: Size
    wire_diameter: Size

    def clashes(self) -> Iterator[tuple[str, str]]:
        if not self.wire_diameter < self.mean_diameter:
            yield (
                "wire_diameter",
                "must be smaller than mean_diameter, or the ring has no hole, but {wire_diameter} is not below {mean_diameter}",
            )


class ChannelRing(_Hollow):
    """Ring of U-shaped section made of sheet of one thickness, open on one side."""

    kind: Literal["channel-ring"]
    height: Size
    wall: Size
    opens: Literal["up", "down", "inwards", "outwards"] = "up"

    def clashes(self) -> Iterator[tuple[str, str]]:
        yield from super().clashes()
        width = 0.5 * (self.outer_diameter - self.inner_diameter)
        across, along = (width, self.height) if self.opens in ("up", "down") else (self.height, width)
        names = ("width", "height") if self.opens in ("up", "down") else ("height", "width")
        if width > 0.0 and not 2.0 * self.wall < across:
            yield (
                "wall",
                f"two walls of {{wall}} must leave a groove in the {names[0]} of {1e3 * across:.4g} mm; write a thinner wall",
            )
        elif width > 0.0 and not self.wall < along:
            yield (
                "wall",
                f"the floor of {{wall}} must be thinner than the {names[1]} of {1e3 * along:.4g} mm; write a thinner wall",
            )


class Profile(Table):
    """Closed outline of straight lines through points (r, z), measured from the body's centre."""

    kind: Literal["profile"]
    points: Annotated[tuple[tuple[Radius, Place], ...], Field(min_length=3, max_length=MAX_POINTS)]

    def clashes(self) -> Iterator[tuple[str, str]]:
        points = self.outline
        if len(points) < 3:
            yield (
                "points",
                "must hold at least three different corners; write the outline of the half-section in (r, z)",
            )
            return
        n = len(points)
        for i in range(n):
            if points[i] == points[(i + 1) % n]:
                yield "points", f"corner {i + 1} and the next one are the same place; write each corner once"
                return
        crossing = _first_crossing(points)
        if crossing is not None:
            i, j = crossing
            yield (
                "points",
                f"the line from corner {i + 1} crosses the line from corner {j + 1}; write "
                "the corners in order around the outline",
            )
        elif abs(_area(points)) < 1e-14:
            yield "points", "the outline encloses no area; write corners that do not all lie on one line"

    @property
    def outline(self) -> tuple[tuple[float, float], ...]:
        """The corners without a repeated last one."""
        closed = len(self.points) > 3 and self.points[0] == self.points[-1]
        return self.points[:-1] if closed else self.points


class Drawing(Table):
    """Outline of lines and arcs on one layer of a DXF file beside the job file."""

    kind: Literal["drawing"]
    file: Annotated[str, StringConstraints(min_length=1, max_length=500)]
    layer: Annotated[str, StringConstraints(min_length=1, max_length=255)] = "0"


class Film(Table):
    """Thin metal film: on a cylinder {diameter, length}, or flat {outer_diameter, inner_diameter}."""

    kind: Literal["film"]
    thickness: Size
    diameter: Size | None = None
    length: Size | None = None
    outer_diameter: Size | None = None
    inner_diameter: Size | None = None

    def clashes(self) -> Iterator[tuple[str, str]]:
        round_keys, flat_keys = (self.diameter, self.length), (self.outer_diameter, self.inner_diameter)
        if any(k is not None for k in round_keys) and any(k is not None for k in flat_keys):
            yield "diameter", "a film has either diameter and length (on a cylinder) or outer_diameter (flat), not both"
        elif self.outer_diameter is None and None in round_keys:
            yield (
                "diameter",
                "a film needs diameter and length (on a cylinder) or outer_diameter (flat); "
                'write e.g. diameter = "20 mm", length = "5 mm"',
            )
        if (
            self.outer_diameter is not None
            and self.inner_diameter is not None
            and not self.inner_diameter < self.outer_diameter
        ):
            yield (
                "inner_diameter",
                "must be smaller than outer_diameter, but {inner_diameter} is not below {outer_diameter}",
            )
        width = self.diameter if self.diameter is not None else self.outer_diameter
        if width is not None and not self.thickness <= 0.05 * width:
            yield "thickness", f"{{thickness}} is no thin film on {1e3 * width:.4g} mm; draw a tube or a disc instead"

    @property
    def is_flat(self) -> bool:
        return self.outer_diameter is not None


Shape = Annotated[
    Ring | Bar | Tube | Disc | Ball | WireRing | ChannelRing | Profile | Drawing | Film, Field(discriminator="kind")
]


def _area(points: tuple[tuple[float, float], ...]) -> float:
    n = len(points)
    return 0.5 * math.fsum(
        points[i][0] * points[(i + 1) % n][1] - points[(i + 1) % n][0] * points[i][1] for i in range(n)
    )


@lru_cache(maxsize=64)
def _first_crossing(points: tuple[tuple[float, float], ...]) -> tuple[int, int] | None:
    """Indices of the first two sides that cut or touch each other without being neighbours."""
    n = len(points)
    for i in range(n):
        for j in range(i + 2, n):
            if (j + 1) % n == i:
                continue
            if _cut(points[i], points[i + 1], points[j], points[(j + 1) % n]):
                return i, j
    return None


def _cut(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]) -> bool:
    def side(p: tuple[float, float], q: tuple[float, float], x: tuple[float, float]) -> float:
        return (q[0] - p[0]) * (x[1] - p[1]) - (q[1] - p[1]) * (x[0] - p[0])

    def within(p: tuple[float, float], q: tuple[float, float], x: tuple[float, float]) -> bool:
        return min(p[0], q[0]) <= x[0] <= max(p[0], q[0]) and min(p[1], q[1]) <= x[1] <= max(p[1], q[1])

    s1, s2, s3, s4 = side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
    if s1 * s2 < 0.0 and s3 * s4 < 0.0:
        return True
    return (
        (s1 == 0.0 and within(a, b, c))
        or (s2 == 0.0 and within(a, b, d))
        or (s3 == 0.0 and within(c, d, a))
        or (s4 == 0.0 and within(c, d, b))
    )
