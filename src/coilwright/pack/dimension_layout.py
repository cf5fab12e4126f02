"""Where the lines, arrows and words of a dimension go, in paper millimetres; SVG and DXF place them alike."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from coilwright.pack.drawing import ARROW, LETTERS, Linear, Point, Round, text_width

_GAP: Final = 0.8  # mm between an edge and its extension line, and between the dimension line and its words
_OVER: Final = 1.5  # mm an extension line runs past the dimension line
_SLIM: Final = 0.16  # rad: half the angle of an arrow head
_TAIL: Final = 4.0  # mm of line behind an arrow that points inwards


@dataclass(frozen=True)
class Layout:
    """`lines` and `arrows` (tip, direction it points to in radians); the words' middle, angle (degrees), all paper mm."""

    lines: tuple[tuple[Point, Point], ...]
    arrows: tuple[tuple[Point, float], ...]
    middle: Point
    angle: float


def layout(item: Linear | Round, scale: float) -> Layout:
    return _linear(item, scale) if isinstance(item, Linear) else _round(item, scale)


def _linear(item: Linear, scale: float) -> Layout:
    a = math.radians(item.angle)
    u, n = (math.cos(a), math.sin(a)), (-math.sin(a), math.cos(a))
    start, end, through = _times(item.start, scale), _times(item.end, scale), _times(item.through, scale)
    if (end[0] - start[0]) * u[0] + (end[1] - start[1]) * u[1] < 0.0:
        start, end = end, start
    foot = [_moved(p, n, (through[0] - p[0]) * n[0] + (through[1] - p[1]) * n[1]) for p in (start, end)]
    lines = [line for p, f in zip((start, end), foot, strict=True) if (line := _extension(p, f)) is not None]
    length, wide = math.dist(*foot), text_width(item.text, LETTERS)
    inside = length >= 2.0 * ARROW + 1.5
    beyond = wide + 2.0 + (0.0 if inside else _TAIL)
    roomy = length >= wide + (2.0 * ARROW + 1.0 if inside else 1.0)
    if roomy:
        first, last = foot if inside else (_moved(foot[0], u, -_TAIL), _moved(foot[1], u, _TAIL))
        centre = _moved(foot[0], u, 0.5 * length)
    else:
        first = foot[0] if inside else _moved(foot[0], u, -_TAIL)
        last = _moved(foot[1], u, beyond)
        centre = _moved(last, u, -0.5 * wide - 0.5)
    lines.append((first, last))
    arrows = ((foot[0], a + math.pi), (foot[1], a)) if inside else ((foot[0], a), (foot[1], a + math.pi))
    return _with_words(lines, arrows, centre, item.angle)


def _extension(place: Point, foot: Point) -> tuple[Point, Point] | None:
    far = math.dist(place, foot)
    if far < 1.5 * _GAP:
        return None
    d = ((foot[0] - place[0]) / far, (foot[1] - place[1]) / far)
    return _moved(place, d, _GAP), _moved(foot, d, _OVER)


def _round(item: Round, scale: float) -> Layout:
    a = math.radians(item.angle)
    u = (math.cos(a), math.sin(a))
    centre, r = _times(item.centre, scale), item.radius * scale
    wide = text_width(item.text, LETTERS)
    rim = _moved(centre, u, r)
    elbow = _moved(rim, u, item.out) if item.diameter else _moved(centre, u, -item.out)
    right = 1.0 if elbow[0] >= centre[0] - 1e-9 else -1.0
    shelf = (elbow[0] + right * (wide + 1.0), elbow[1])
    lines, arrows = [(elbow, shelf), (rim, elbow)], [(rim, a + math.pi if item.diameter else a)]
    if item.diameter and r > 1.2 * ARROW:  # the second arrow needs room inside
        far = _moved(centre, u, -r)
        lines[1] = (far, elbow)
        arrows = [(rim, a), (far, a + math.pi)]
    middle = (0.5 * (elbow[0] + shelf[0]), elbow[1])
    return _with_words(lines, tuple(arrows), middle, 0.0)


def _with_words(
    lines: list[tuple[Point, Point]], arrows: tuple[tuple[Point, float], ...], centre: Point, angle: float
) -> Layout:
    """Words above the line, readable from below or from the right."""
    angle = round((angle + 90.0 - 1e-9) % 180.0 - 90.0 + 1e-9, 9)
    a = math.radians(angle)
    middle = _moved(centre, (-math.sin(a), math.cos(a)), _GAP + 0.5 * LETTERS)
    return Layout(tuple(lines), arrows, middle, angle)


def _times(p: Point, scale: float) -> Point:
    return p[0] * scale, p[1] * scale


def _moved(p: Point, u: Point, by: float) -> Point:
    return p[0] + by * u[0], p[1] + by * u[1]


def arrow_head(tip: Point, towards: float) -> tuple[Point, Point, Point]:
    """The three corners of an arrow that points towards an angle (radians)."""
    a, b = (_moved(tip, (math.cos(towards + d), math.sin(towards + d)), -ARROW) for d in (_SLIM, -_SLIM))
    return tip, a, b
