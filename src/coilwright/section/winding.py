"""The conductor of the coil as one piece of tube or wire: its centre line, developed length and every bend.

A winding is followed from the end of one lead to the end of the other. Each end of the winding leaves it by a bend into a lead
that runs along +x at half the lead spacing from the x axis; an end that is hemmed in by outer turns leaves along the axis first,
away from the part, and passes the turns there. Two set bends then bring each lead to the common plane of the pair. All lengths in
m, angles in rad.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from scipy.optimize import brentq

from coilwright.job.schema_workshop import Workshop
from coilwright.section.forming import larger_size, least_radius
from coilwright.section.geometry import Section
from coilwright.section.quad9 import Array

Kind = Literal["turns", "bend", "straight", "crossing"]
_SET = 0.25 * math.pi  # rad: steepest set bend
_SAME = 1e-7  # m
_STEP = math.radians(3.0)  # of a drawn arc
_ROOM = 1.25  # conductor heights from a turn to a lead that passes it


def helix_length(mean_diameter: float, pitch: float, turns: float) -> float:
    """Length (m) of a helix along its centre line: turns sqrt((pi d)^2 + p^2)."""
    return turns * math.hypot(math.pi * mean_diameter, pitch)


def spiral_length(inner_radius: float, pitch: float, turns: float) -> float:
    """Length (m) of an Archimedean spiral r = inner_radius + pitch theta/(2 pi) over `turns`.

    With b = pitch/(2 pi): [r sqrt(r^2 + b^2) + b^2 asinh(r/b)] / (2 b) between the end radii (the arc length integral of
    r = b theta; any table of integrals). pitch > 0.
    """
    b = pitch / (2.0 * math.pi)

    def upto(r: float) -> float:
        return (r * math.hypot(r, b) + b**2 * math.asinh(r / b)) / (2.0 * b)

    return upto(inner_radius + pitch * turns) - upto(inner_radius)


@dataclass(frozen=True, eq=False)
class Piece:
    """One stretch of the conductor: `length` m, centre-line `radius` m and `angle` rad of a bend, its `points` (n, 3) m."""

    what: str
    kind: Kind
    length: float
    points: Array = field(repr=False)
    radius: float | None = None
    angle: float | None = None

    @property
    def centre(self) -> Array:
        """(3,) m: centre of a bend."""
        middle = self.points[len(self.points) // 2]
        inward = 0.5 * (self.points[0] + self.points[-1]) - middle
        return np.asarray(middle + (self.radius or 0.0) * inward / np.linalg.norm(inward))


@dataclass(frozen=True, eq=False)
class Winding:
    """`pieces` from end to end; `wound_length` (m) of the turns alone, as a whole number of turns without leads would have;
    `lead_reach` (m): x of the lead ends; `pair_height`: z of the pair or None where the leads stay apart; `notes` say
    what had to be decided."""

    kind: Literal["helix", "spiral", "turns"]
    turns: float
    hand: Literal["right", "left"]
    pieces: tuple[Piece, ...]
    wound_length: float
    lead_reach: float
    pair_height: float | None
    notes: tuple[str, ...] = ()

    @property
    def length(self) -> float:
        """Developed length of the whole conductor, m."""
        return sum(p.length for p in self.pieces)

    @property
    def bends(self) -> tuple[Piece, ...]:
        return tuple(p for p in self.pieces if p.kind == "bend")

    @property
    def leads_length(self) -> float:
        """Length of everything but the turns and the crossings between them, m."""
        return sum(p.length for p in self.pieces if p.kind in ("bend", "straight"))

    @property
    def cuts(self) -> Array:
        """(n, 2) x and z (m) where the plane y = 0 cuts the turns, in the order they are wound."""
        found = []
        for piece in self.pieces:
            if piece.kind == "turns":
                inner = piece.points[1:-1]
                found.append(inner[np.abs(inner[:, 1]) < _SAME * 1e-2][:, [0, 2]])
        return np.concatenate(found)

    @property
    def centre_line(self) -> Array:
        """(n, 3) m, from end to end."""
        parts = [p.points if k == 0 else p.points[1:] for k, p in enumerate(self.pieces)]
        return np.concatenate(parts)


@dataclass(frozen=True)
class _Course:
    """The turns as a curve: radius and height over the angle walked, 0..whole; `free` of outer turns at start and end."""

    radius: Callable[[float], float]
    height: Callable[[float], float]
    whole: float
    free: tuple[bool, bool]


def winding_of(coil: Any, workshop: Workshop, section: Section) -> Winding:
    """The winding of a job's coil as the shop makes it; leads pass an inner end on the side away from the work."""
    bend = workshop.bend_radius or least_radius(coil.conductor, larger_size(coil.conductor))
    return wind(coil, hand=workshop.hand, bend_radius=bend, away=free_side(section))


def free_side(section: Section) -> float:
    """-1 when the work stands above the middle of the coil or level with it, +1 when below."""
    work = [0.5 * (b.outer.box[2] + b.outer.box[3]) for b in section.bodies if b.role == "work"]
    coil = [t.z for t in section.turns]
    return 1.0 if work and coil and float(np.mean(work)) < float(np.mean(coil)) - _SAME else -1.0


def wind(coil: Any, *, hand: Literal["right", "left"] = "right", bend_radius: float, away: float = -1.0) -> Winding:
    """The winding of a [coil] table. `bend_radius` of the lead bends (centre line), `away` -1 or +1: the side of the coil
    on which there is no part, where a lead may pass under the turns."""
    sizes = coil.conductor.radial_size, coil.conductor.axial_size
    if coil.winding == "helix":
        pitch, half = coil.pitch or 0.0, 0.5 * coil.turns * (coil.pitch or 0.0)
        course = _Course(
            lambda a: 0.5 * coil.mean_diameter,
            lambda a: coil.centre - half + pitch * a / (2.0 * math.pi),
            2.0 * math.pi * coil.turns,
            (True, True),
        )
        turns, wound = coil.turns, helix_length(coil.mean_diameter, pitch, coil.turns)
        walk = _Walk(course, coil.leads, bend_radius, sizes, away)
        body = [walk.stretch("winding", walk.start, walk.finish, _helix_part(coil.mean_diameter, pitch))]
    elif coil.winding == "spiral":
        pitch = coil.radial_pitch
        first = 0.5 * (coil.inner_diameter - pitch)
        course = _Course(
            lambda a: first + pitch * a / (2.0 * math.pi),
            lambda a: coil.centre,
            2.0 * math.pi * coil.turns,
            (False, True),
        )
        turns, wound = coil.turns, spiral_length(first, pitch, coil.turns)
        walk = _Walk(course, coil.leads, bend_radius, sizes, away)
        body = [walk.stretch("winding", walk.start, walk.finish, _spiral_part(first, pitch))]
    else:
        return _listed(coil, hand, bend_radius, sizes, away)
    return _assembled(coil.winding, turns, hand, walk, body, wound)


def _helix_part(diameter: float, pitch: float) -> Callable[[float, float], float]:
    return lambda a, b: helix_length(diameter, pitch, (b - a) / (2.0 * math.pi))


def _spiral_part(first: float, pitch: float) -> Callable[[float, float], float]:
    return lambda a, b: spiral_length(first + pitch * a / (2.0 * math.pi), pitch, (b - a) / (2.0 * math.pi))


def _listed(coil: Any, hand: Any, bend_radius: float, sizes: tuple[float, float], away: float) -> Winding:
    """Each turn a ring cut open, the next one reached by a straight crossing."""
    rings = [(0.5 * t.mean_diameter, t.z) for t in coil.turn]
    n, whole = len(rings), 2.0 * math.pi

    def ring_at(a: float) -> int:
        return min(max(int(a / whole), 0), n - 1)

    free = tuple(_free(rings, k, sizes[1]) for k in (0, n - 1))
    course = _Course(lambda a: rings[ring_at(a)][0], lambda a: rings[ring_at(a)][1], whole * n, (free[0], free[1]))
    walk = _Walk(course, coil.leads, bend_radius, sizes, away, [z for _, z in rings])
    body: list[Piece] = []
    for k, (r, _) in enumerate(rings):
        gap = min(1.5 * sizes[0] / r, 0.5)
        a = walk.start if k == 0 else whole * k + gap
        b = walk.finish if k == n - 1 else whole * (k + 1) - gap
        piece = walk.stretch(f"turn {k + 1}", a, b, lambda a, b, r=r: r * (b - a))  # type: ignore[misc]
        if body:
            body.append(_straight(f"crossing to turn {k + 1}", body[-1].points[-1], piece.points[0], "crossing"))
        body.append(piece)
    return _assembled("turns", float(n), hand, walk, body, sum(whole * r for r, _ in rings))


def _free(rings: list[tuple[float, float]], k: int, high: float) -> bool:
    r, z = rings[k]
    return all(q <= r + _SAME or abs(w - z) >= _ROOM * high for q, w in rings)


def _assembled(kind: Any, turns: float, hand: Any, walk: _Walk, body: list[Piece], wound: float) -> Winding:
    pieces = [_turned(p) for p in walk.lead(first=True)[::-1]] + body + walk.lead(first=False)
    if hand == "left":
        pieces = [_mirrored(p) for p in pieces]
    return Winding(kind, turns, hand, tuple(pieces), wound, walk.reach, walk.pair_height, tuple(walk.notes))


class _Walk:
    """Finds where the turns end and the leads begin, and lays the leads."""

    def __init__(
        self,
        course: _Course,
        leads: Any,
        bend: float,
        sizes: tuple[float, float],
        away: float,
        heights: list[float] | None = None,
    ) -> None:
        self.course, self.leads, self.bend, self.high, self.away = course, leads, bend, sizes[1], away
        self.notes: list[str] = []
        ends = (0.0, course.whole)
        self.outermost = max(course.radius(a) for a in np.linspace(0.0, course.whole, 721))
        every = heights or [course.height(0.0), course.height(course.whole)]
        self.farthest = min(every) if away < 0.0 else max(every)
        self.start, self.finish = ends if leads is None else (self._leaves(True), self._leaves(False))
        self.reach = self.outermost + (0.0 if leads is None else leads.length)
        part = course.whole / (2.0 * math.pi) % 1.0
        self.paired = leads is not None and min(part, 1.0 - part) < 1e-6
        self.pair_height = 0.5 * (self._passes(True) + self._passes(False)) if self.paired else None
        if leads is None:
            self.notes.append("No leads are stated; add leads to [coil], or the ends are cut where the turns end.")
        elif not self.paired:
            apart = 360.0 * part
            self.notes.append(
                f"The ends of the part turn stand {apart:.0f}° apart; the leads are brought together at assembly."
            )

    def stretch(self, what: str, a: float, b: float, length: Callable[[float, float], float]) -> Piece:
        even = np.linspace(a, b, max(2, math.ceil((b - a) / _STEP) + 1))
        axis = math.pi * np.arange(math.ceil(a / math.pi + 1e-6), math.floor(b / math.pi - 1e-6) + 1)
        angles = np.unique(
            np.round(np.concatenate([even, axis]), 12)
        )  # on the dot where the turns are cut by the plane y = 0
        # a listed turn ends where the next begins: its last point belongs to it
        inside = np.clip(angles, a, b - 1e-9 * (b - a))
        r = np.array([self.course.radius(float(t)) for t in inside])
        z = np.array([self.course.height(float(t)) for t in inside])
        points = np.column_stack([r * np.cos(angles), r * np.sin(angles), z])
        return Piece(what, "turns", length(a, b), points, radius=float(r.mean()), angle=b - a)

    def _heading(self, a: float, first: bool) -> float:
        """Direction (rad, in plan) in which the conductor leaves the winding at an end, for a winding that leaves along +x:
        both ends are looked at as if they were the last one, the first one in the mirror."""
        r, slope = self.course.radius(a), (self.course.radius(a + 1e-6) - self.course.radius(a - 1e-6)) / 2e-6
        lean = math.atan2(slope, r)
        return 0.5 * math.pi + (lean if first else -lean)

    def _end(self, back: float, first: bool) -> tuple[float, float, float, float]:
        """(angle walked, x, y, heading) at `back` rad before the end, turned and mirrored so that the lead runs along +x
        below the x axis."""
        a = back if first else self.course.whole - back
        inside = min(max(a, 1e-6), self.course.whole - 1e-6)
        r = self.course.radius(inside)
        return a, r * math.cos(back), -r * math.sin(back), self._heading(inside, first) - back

    def _leaves(self, first: bool) -> float:
        """Angle at which the turns end so that the bend brings the lead to half the spacing."""
        half, free = 0.5 * self.leads.spacing, self.course.free[0 if first else 1]

        def miss(back: float) -> float:
            _, _, y, heading = self._end(back, first)
            return float(y + self.bend * ((1.0 - math.cos(heading)) if free else math.sin(heading)) + half)

        low, high = (-0.5 * math.pi, 0.49 * math.pi) if free else (0.0, 0.49 * math.pi)
        found = miss(low) > 0.0 > miss(high)
        return self._end(float(brentq(miss, low, high)) if found else 0.25 * math.pi, first)[0]

    def _passes(self, first: bool) -> float:
        """Height at which the lead leaves the winding."""
        a = self.start if first else self.finish
        z = self.course.height(min(max(a, 1e-9), self.course.whole * (1.0 - 1e-9)))
        if self.course.free[0 if first else 1]:
            return z
        return z + self.away * self._depth(z)

    def _depth(self, z: float) -> float:
        return max(2.0 * self.bend, abs(self.farthest - z) + _ROOM * self.high)

    def lead(self, first: bool) -> list[Piece]:
        """Pieces from the winding outwards."""
        if self.leads is None:
            return []
        back = self.start if first else self.course.whole - self.finish
        _, x, y, heading = self._end(back, first)
        inside = self.start if first else self.finish - 1e-9
        z = self.course.height(inside)
        turtle = _Turtle(np.array([x, y, z]), np.array([math.cos(heading), math.sin(heading), 0.0]))
        if self.course.free[0 if first else 1]:
            turtle.bend("bend from the winding into the lead", self.bend, heading, np.array([0.0, 0.0, -1.0]))
        else:
            self._under(turtle, z)
        self._along(turtle)
        return [self._placed(p, first) for p in turtle.pieces]

    def _under(self, turtle: _Turtle, z: float) -> None:
        down = np.array([0.0, 0.0, self.away])
        turtle.bend("bend out of the winding", self.bend, 0.5 * math.pi, np.cross(turtle.along, down))
        turtle.straight("down past the turns", self._depth(z) - 2.0 * self.bend)
        turtle.bend("bend into the lead", self.bend, 0.5 * math.pi, np.cross(down, np.array([1.0, 0.0, 0.0])))

    def _along(self, turtle: _Turtle) -> None:
        rise = 0.0 if self.pair_height is None else self.pair_height - float(turtle.at[2])
        angle, slant, run = set_bend(abs(rise), self.bend)
        clear = max(0.0, self.outermost + 2.0 * self.high - float(turtle.at[0])) if abs(rise) > _SAME else 0.0
        rest = self.reach - float(turtle.at[0]) - run
        if rest < 0.0:
            said = "The leads are shorter than their bends need; make them longer or bend them closer."
            if said not in self.notes:
                self.notes.append(said)
            rest = 0.0
        before = min(clear, rest)
        turtle.straight("lead", before)
        if abs(rise) > _SAME:
            axis = np.cross(turtle.along, np.array([0.0, 0.0, math.copysign(1.0, rise)]))
            turtle.bend("set bend to the pair", self.bend, angle, axis)
            turtle.straight("slope", slant)
            turtle.bend("set bend to the pair", self.bend, angle, -axis)
        turtle.straight("lead", rest - before)

    def _placed(self, piece: Piece, first: bool) -> Piece:
        """Out of the mirror and back to where the end stands."""
        points = piece.points * np.array([1.0, -1.0, 1.0]) if first else piece.points
        turn = 0.0 if first else self.course.whole
        c, s = math.cos(turn), math.sin(turn)
        spun = points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        return Piece(piece.what, piece.kind, piece.length, spun, piece.radius, piece.angle)


def set_bend(offset: float, radius: float) -> tuple[float, float, float]:
    """(angle rad, straight between m, run m) of two equal and opposite bends of `radius` that shift a run sideways by
    `offset` (m): at most 45 degrees, and shallower without a straight where the offset is small."""
    if offset <= _SAME:
        return 0.0, 0.0, 0.0
    arcs = 2.0 * radius * (1.0 - math.cos(_SET))
    if offset >= arcs:
        slant = (offset - arcs) / math.sin(_SET)
        return _SET, slant, 2.0 * radius * math.sin(_SET) + slant * math.cos(_SET)
    angle = math.acos(1.0 - offset / (2.0 * radius))
    return angle, 0.0, 2.0 * radius * math.sin(angle)


class _Turtle:
    """Walks straights and bends in space and keeps the pieces."""

    def __init__(self, at: Array, along: Array) -> None:
        self.at, self.along = at, along
        self.pieces: list[Piece] = []

    def straight(self, what: str, length: float) -> None:
        if length > _SAME:
            end = self.at + length * self.along
            self.pieces.append(_straight(what, self.at, end, "straight"))
            self.at = end

    def bend(self, what: str, radius: float, angle: float, axis: Array) -> None:
        """Turn by `angle` about `axis` (right-hand rule)."""
        axis = axis / np.linalg.norm(axis)
        inward = np.cross(axis, self.along)
        t = np.linspace(0.0, angle, 2 * max(1, math.ceil(0.5 * angle / _STEP)) + 1)[:, None]  # odd: one in the middle
        points = self.at + radius * (np.sin(t) * self.along + (1.0 - np.cos(t)) * inward)
        self.pieces.append(Piece(what, "bend", radius * angle, points, radius, angle))
        self.at = points[-1]
        self.along = math.cos(angle) * self.along + math.sin(angle) * inward


def _straight(what: str, start: Array, end: Array, kind: Kind) -> Piece:
    return Piece(what, kind, float(np.linalg.norm(end - start)), np.array([start, end]))


def _turned(piece: Piece) -> Piece:
    return Piece(piece.what, piece.kind, piece.length, piece.points[::-1], piece.radius, piece.angle)


def _mirrored(piece: Piece) -> Piece:
    points = piece.points * np.array([1.0, -1.0, 1.0])
    return Piece(piece.what, piece.kind, piece.length, points, piece.radius, piece.angle)
