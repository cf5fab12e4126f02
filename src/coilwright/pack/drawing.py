"""A workshop drawing as a short list of lines, arcs, dimensions and words, before it becomes an SVG or a DXF.

Everything stands at its true size in millimetres, the sheet's lower left corner at (0, 0), y upwards; `Drawing.scale` says how
large that is on paper. Heights of letters, arrows and offsets are paper millimetres, whatever the scale.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from coilwright.pack.looks import COPPER, CURRENT, FAINT, HOT, INK

Point = tuple[float, float]


@dataclass(frozen=True)
class Layer:
    """A kind of line: weight in mm on paper, colour, dash (mm on paper, empty: full), its DXF colour number and meaning."""

    name: str
    weight: float
    colour: str
    number: int
    dash: tuple[float, ...] = ()
    meaning: str = ""


# Line kinds and weights after ISO 128-2 and ISO 3098 (memory): wide 0.5 mm, narrow 0.25 mm, letters 2.5 mm and up.
LAYERS: Final = {
    layer.name: layer
    for layer in (
        Layer("OUTLINE", 0.5, INK, 7, meaning="visible edges"),
        Layer("THIN", 0.25, INK, 8, meaning="minor edges"),
        Layer("HIDDEN", 0.3, INK, 8, (2.4, 1.2), "edges behind others"),
        Layer("CENTRE", 0.18, INK, 8, (6.0, 1.0, 0.6, 1.0), "centre lines and axes"),
        Layer("PART", 0.3, HOT, 1, (5.0, 1.0, 0.6, 1.0, 0.6, 1.0), "parts shown for their place only"),
        Layer("CONDUCTOR", 0.35, COPPER, 30, meaning="edges of the conductor in plan"),
        Layer("HATCH", 0.13, FAINT, 9, meaning="cut faces"),
        Layer("DIMENSION", 0.18, CURRENT, 5, meaning="dimensions"),
        Layer("TEXT", 0.25, INK, 7, meaning="words"),
        Layer("FRAME", 0.5, INK, 7, meaning="border and title block"),
    )
}
LETTERS: Final = 2.5  # mm on paper, usual height of capitals
ARROW: Final = 2.6  # mm on paper
FONT: Final = "DejaVu Sans"
_CAPITAL: Final = 0.729  # height of its capitals over the size of the font


@dataclass(frozen=True)
class Line:
    start: Point
    end: Point
    layer: str = "OUTLINE"


@dataclass(frozen=True)
class Polyline:
    points: tuple[Point, ...]
    layer: str = "OUTLINE"
    closed: bool = False


@dataclass(frozen=True)
class Circle:
    centre: Point
    radius: float
    layer: str = "OUTLINE"


@dataclass(frozen=True)
class Arc:
    """Counter-clockwise from `start` to `end`, degrees."""

    centre: Point
    radius: float
    start: float
    end: float
    layer: str = "OUTLINE"


@dataclass(frozen=True)
class Text:
    """One line of words; `across` left | centre | right and `up` bottom | middle | top say what stands at `at`."""

    at: Point
    text: str
    height: float = LETTERS
    across: str = "left"
    up: str = "bottom"
    angle: float = 0.0
    bold: bool = False
    layer: str = "TEXT"


@dataclass(frozen=True)
class Hatch:
    """A cut face: the area between the loops (even-odd), hatched `spacing` mm apart on paper."""

    loops: tuple[tuple[Point, ...], ...]
    angle: float = 45.0
    spacing: float = 1.6
    layer: str = "HATCH"


@dataclass(frozen=True)
class Linear:
    """The distance of two points measured along `angle` (degrees); the dimension line runs through `through`.

    `name` is what tests and readers look it up by; the printed text is prefix, the measured length, suffix.
    """

    name: str
    start: Point
    end: Point
    through: Point
    angle: float = 0.0
    prefix: str = ""
    suffix: str = ""
    digits: int = 2

    @property
    def measure(self) -> float:
        """mm."""
        a = math.radians(self.angle)
        return abs((self.end[0] - self.start[0]) * math.cos(a) + (self.end[1] - self.start[1]) * math.sin(a))

    @property
    def text(self) -> str:
        return f"{self.prefix}{shown(self.measure, self.digits)}{self.suffix}"


@dataclass(frozen=True)
class Round:
    """Diameter (or radius) of a circle, its arrow at `angle` degrees, the words `out` mm (paper) beyond the rim (a radius:
    beyond the centre, on the other side)."""

    name: str
    centre: Point
    radius: float
    angle: float = 45.0
    out: float = 8.0
    diameter: bool = True
    prefix: str = ""
    suffix: str = ""
    digits: int = 2

    @property
    def measure(self) -> float:
        """mm."""
        return 2.0 * self.radius if self.diameter else self.radius

    @property
    def text(self) -> str:
        return f"{self.prefix}{'⌀' if self.diameter else 'R'}{shown(self.measure, self.digits)}{self.suffix}"


Item = Line | Polyline | Circle | Arc | Text | Hatch | Linear | Round


def shown(value: float, digits: int = 2) -> str:
    """A length as it stands on a drawing: no idle zeros."""
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@lru_cache(maxsize=4096)
def text_width(text: str, height: float, bold: bool = False) -> float:
    """Width (mm on paper) of words whose capitals are `height` mm high."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    font = FontProperties(family=FONT, weight="bold" if bold else "normal", size=100.0)
    width, _, _ = TextToPath().get_text_width_height_descent(text, font, False)
    return float(width) / 100.0 * font_size(height)


def font_size(height: float) -> float:
    """Size of the font whose capitals are `height` high."""
    return height / _CAPITAL


@dataclass(frozen=True)
class Drawing:
    """One sheet. `scale` is mm on paper per mm of the thing; `size` the sheet (mm); `items` in the order they are drawn."""

    name: str
    title: str
    scale: float
    size: tuple[float, float]
    items: tuple[Item, ...] = field(repr=False)

    @property
    def scale_text(self) -> str:
        """Such as "2:1" or "1:5"."""
        return scale_text(self.scale)

    def svg(self) -> str:
        """The sheet as SVG, one unit a millimetre on paper."""
        from coilwright.pack.drawing_svg import to_svg

        return to_svg(self)

    def write_dxf(self, path: Path | str) -> Path:
        """The sheet as DXF at true size in millimetres, dimensions as dimension entities; equal drawings give equal bytes."""
        from coilwright.pack.drawing_dxf import write_dxf

        return write_dxf(self, Path(path))

    def dimension(self, name: str) -> Linear | Round:
        """The dimension of that name; KeyError lists the names there are."""
        there = {item.name: item for item in self.items if isinstance(item, Linear | Round)}
        if name not in there:
            raise KeyError(f'no dimension "{name}" on {self.name}; there are {", ".join(there)}')
        return there[name]


# Scales of ISO 5455 (memory) with its intermediate 1:2.5, 1:4 and 2.5:1, largest first.
SCALES: Final = (50.0, 20.0, 10.0, 5.0, 2.5, 2.0, 1.0, 0.5, 0.4, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01)


def scale_text(scale: float) -> str:
    return f"{scale:g}:1" if scale >= 1.0 else f"1:{1.0 / scale:g}"


def fitting_scale(width: float, height: float, room: tuple[float, float]) -> float:
    """The largest usual scale at which width by height (mm) fits into `room` (mm on paper)."""
    for scale in SCALES:
        if width * scale <= room[0] and height * scale <= room[1]:
            return scale
    return SCALES[-1]


class View:
    """Draws with its own origin at a place of the sheet; lengths mm at true size, `paper(x)` turns paper mm into them."""

    def __init__(self, items: list[Item], scale: float, at: Point) -> None:
        self._items, self.scale = items, scale
        self._x, self._y = at[0] / scale, at[1] / scale

    def paper(self, mm: float) -> float:
        return mm / self.scale

    def at(self, p: Point) -> Point:
        """A point of this view on the sheet."""
        return p[0] + self._x, p[1] + self._y

    def add(self, item: Item) -> None:
        """An item that stands in sheet coordinates already."""
        self._items.append(item)

    def line(self, start: Point, end: Point, layer: str = "OUTLINE") -> None:
        self.add(Line(self.at(start), self.at(end), layer))

    def polyline(self, points: Iterable[Point], layer: str = "OUTLINE", closed: bool = False) -> None:
        self.add(Polyline(tuple(self.at(p) for p in points), layer, closed))

    def box(self, low: Point, high: Point, layer: str = "OUTLINE") -> None:
        self.polyline([low, (high[0], low[1]), high, (low[0], high[1])], layer, closed=True)

    def circle(self, centre: Point, radius: float, layer: str = "OUTLINE") -> None:
        self.add(Circle(self.at(centre), radius, layer))

    def arc(self, centre: Point, radius: float, start: float, end: float, layer: str = "OUTLINE") -> None:
        self.add(Arc(self.at(centre), radius, start, end, layer))

    def cross(self, centre: Point, reach: float) -> None:
        """Centre lines reaching `reach` mm each way."""
        x, y = centre
        self.line((x - reach, y), (x + reach, y), "CENTRE")
        self.line((x, y - reach), (x, y + reach), "CENTRE")

    def text(self, at: Point, text: str, **how: Any) -> None:
        self.add(Text(self.at(at), text, **how))

    def lines_of_text(self, at: Point, lines: Sequence[str], height: float = LETTERS, **how: Any) -> None:
        """Words under one another, the first with its top at `at`."""
        for n, line in enumerate(lines):
            self.text((at[0], at[1] - self.paper(1.75 * height * n)), line, height=height, up="top", **how)

    def hatch(self, *loops: Iterable[Point], **how: Any) -> None:
        self.add(Hatch(tuple(tuple(self.at(p) for p in loop) for loop in loops), **how))

    def across(self, name: str, start: Point, end: Point, y: float, **how: Any) -> None:
        """A horizontal dimension whose line lies at `y`."""
        self.add(Linear(name, self.at(start), self.at(end), self.at((start[0], y)), 0.0, **how))

    def up(self, name: str, start: Point, end: Point, x: float, **how: Any) -> None:
        """A vertical dimension whose line lies at `x`."""
        self.add(Linear(name, self.at(start), self.at(end), self.at((x, start[1])), 90.0, **how))

    def slanted(self, name: str, start: Point, end: Point, through: Point, angle: float, **how: Any) -> None:
        """A dimension along `angle` degrees."""
        self.add(Linear(name, self.at(start), self.at(end), self.at(through), angle, **how))

    def round(self, name: str, centre: Point, radius: float, **how: Any) -> None:
        self.add(Round(name, self.at(centre), radius, **how))

    def note(self, place: Point, words: Point, text: str, height: float = LETTERS) -> None:
        """Words with a line to a place."""
        self.line(place, words, "DIMENSION")
        right = words[0] >= place[0]
        self.circle(place, self.paper(0.4), "DIMENSION")
        gap = self.paper(1.0)
        self.text((words[0] + (gap if right else -gap), words[1]), text, height=height, up="middle",
                  across="left" if right else "right")  # fmt: skip
