"""Overlap, contact and clearance between everything in a section.

A field solver fed with overlapping bodies gives plausible numbers without any error, so this is looked at first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.section.geometry import Section, SectionFilm
from coilwright.section.nearest import distances, nearest_pair
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array, BoolArray

TOUCHING = 1e-6  # m: nearer than this is contact
SMALL = 0.2e-3  # m: nearer than this is worth a word (common practice, no source: nothing is assembled truer)
_COIL = "coil"


@dataclass(frozen=True)
class Clearance:
    """Shortest way between two things of a section: `distance` (m) from `here` on `first` to `there` on `second`."""

    first: str
    second: str
    distance: float
    here: tuple[float, float]
    there: tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Thing:
    name: str
    group: str
    loops: tuple[Outline, ...]

    @property
    def title(self) -> str:
        return self.name if self.group == _COIL else f'body "{self.name}"'

    def holds(self, points: Array) -> BoolArray:
        inside = self.loops[0].contains(points)
        for hollow in self.loops[1:]:
            inside &= ~hollow.contains(points)
        return inside

    def surface(self) -> Array:
        segments = np.concatenate([loop.segments for loop in self.loops])
        on_axis = (segments[:, 6] == 0.0) & (segments[:, 0] == 0.0) & (segments[:, 2] == 0.0)
        return np.ascontiguousarray(segments[~on_axis])


def check_geometry(section: Section) -> tuple[Finding, ...]:
    """Raises BadInput, one fault per pair, when things overlap or touch that are not joined; returns the findings.

    Findings: `clearance-small` for pairs nearer than 0.2 mm.
    """
    things = _things(section)
    faults = list(_axis_faults(section))
    findings = []
    for a, b in combinations(things, 2):
        near = _clearance(a, b)
        joined = a.group == b.group and a.group != _COIL
        deep = _overlap(a, b) if near.distance <= TOUCHING or _boxes_meet(a, b) else None
        if deep is not None:
            faults.append(Fault(_both(a, b), f"they overlap at {_at(deep)}; {_advice(a, b, 'move one of them')}"))
        elif near.distance <= TOUCHING and not joined:
            remedy = _advice(a, b, "leave a gap", joint=True)
            faults.append(Fault(_both(a, b), f"they touch at {_at(near.here)}; {remedy}"))
        elif near.distance < SMALL and not joined:
            findings.append(_small(a, b, near))
    faults += _loose_joints(section, things)
    for film in section.films:
        faults += _film_faults(film, things)
    if faults:
        raise BadInput(faults)
    return tuple(findings)


def clearances(section: Section) -> tuple[Clearance, ...]:
    """Every pair of bodies, every body with its nearest turn, and the closest pair of turns; nearest first."""
    best: dict[tuple[str, str], Clearance] = {}
    for a, b in combinations(_things(section), 2):
        if a.group == b.group and a.group != _COIL:
            continue
        near = _clearance(a, b)
        key = (_COIL if a.group == _COIL else a.name, _COIL if b.group == _COIL else b.name)
        if key not in best or near.distance < best[key].distance:
            best[key] = near
    return tuple(sorted(best.values(), key=lambda c: c.distance))


def _things(section: Section) -> list[_Thing]:
    bodies = [_Thing(b.name, f"body {b.group}", b.outlines) for b in section.bodies]
    return bodies + [_Thing(t.name, _COIL, (t.outer,)) for t in section.turns]


def _clearance(a: _Thing, b: _Thing) -> Clearance:
    d, ra, za, rb, zb = nearest_pair(a.surface(), b.surface())
    return Clearance(a.name, b.name, float(d), (float(ra), float(za)), (float(rb), float(zb)))


def _boxes_meet(a: _Thing, b: _Thing) -> bool:
    p, q = a.loops[0].box, b.loops[0].box
    return p[0] < q[1] and q[0] < p[1] and p[2] < q[3] and q[2] < p[3]


def _overlap(a: _Thing, b: _Thing) -> tuple[float, float] | None:
    """A place well inside both, or None: places inside each outline and just inside its sides are tried."""
    for one, other in ((a, b), (b, a)):
        places = _just_inside(one)
        inside = places[other.holds(places) & one.holds(places)]
        if len(inside):
            depth = distances(np.ascontiguousarray(inside), other.surface())
            if depth.max() > TOUCHING:
                r, z = inside[np.argmax(depth)]
                return float(r), float(z)
    return None


def _just_inside(thing: _Thing) -> Array:
    """Places two touching-lengths inside the sides of a thing."""
    out = []
    t: Array = np.linspace(1.0 / 48.0, 47.0 / 48.0, 24)
    for loop in thing.loops:
        for i in range(len(loop.bulges)):
            here, ahead = loop.points_along(i, t), loop.points_along(i, t + 1e-6)
            along = ahead - here
            along /= np.hypot(*along.T)[:, None]
            left = np.column_stack([-along[:, 1], along[:, 0]])
            out += [here + 2.0 * TOUCHING * left, here - 2.0 * TOUCHING * left]
    return np.concatenate(out)


def _axis_faults(section: Section) -> Iterator[Fault]:
    for turn in section.turns:
        low = turn.outer.box[0]
        if low <= TOUCHING:
            what = f"the conductor reaches to r = {low * 1e3:.4g} mm and so touches or crosses the axis"
            yield Fault(turn.name, f"{what}; write a larger mean diameter or a thinner conductor")


def _film_faults(film: SectionFilm, things: list[_Thing]) -> Iterator[Fault]:
    """A film may lie on a body; it may not run through one, nor touch a turn."""
    line = np.zeros((1, 9))
    line[0, :4] = *film.start, *film.end
    places = np.linspace(film.start, film.end, 41)
    for thing in things:
        surface = thing.surface()
        d, r, z, _, _ = nearest_pair(line, surface)
        buried = thing.holds(places) & (distances(places, surface) > max(film.thickness, 2.0 * TOUCHING))
        where = f'body "{film.name}" and {thing.title}'
        if np.any(buried):
            r, z = places[np.argmax(buried)]
            yield Fault(where, f"the film lies inside at {_at((r, z))}; put it on the surface")
        elif thing.group == _COIL and d <= TOUCHING:
            yield Fault(where, f"they touch at {_at((r, z))}; move one of them")


def _loose_joints(section: Section, things: list[_Thing]) -> Iterator[Fault]:
    """Joined bodies must hang together by touching."""
    groups: dict[str, list[_Thing]] = {}
    for thing in things[: len(section.bodies)]:
        groups.setdefault(thing.group, []).append(thing)
    for members in groups.values():
        reached, rest = members[:1], members[1:]
        while rest:
            nearest = min(((_clearance(a, b), b) for a in reached for b in rest), key=lambda pair: pair[0].distance)
            gap, found = nearest
            if gap.distance > TOUCHING:
                apart = f"{gap.distance * 1e3:.4g} mm apart at {_at(gap.here)}"
                where = f'bodies "{gap.first}" and "{gap.second}"'
                yield Fault(where, f"they are declared joined but are {apart}; let them touch or take the joint out")
            reached.append(found)
            rest = [b for b in rest if b is not found]


def _small(a: _Thing, b: _Thing, near: Clearance) -> Finding:
    text = f"the clearance is only {near.distance * 1e3:.3g} mm at {_at(near.here)}"
    return Finding(
        "clearance-small", "warning", _both(a, b), f"{text}.", "Heat, tolerances and voltage need room; check it."
    )


def _both(a: _Thing, b: _Thing) -> str:
    return f"{a.title} and {b.title}"


def _at(place: tuple[float, float]) -> str:
    return f"r = {place[0] * 1e3:.4g} mm, z = {place[1] * 1e3:.4g} mm"


def _advice(a: _Thing, b: _Thing, plain: str, *, joint: bool = False) -> str:
    if _COIL in (a.group, b.group) or not joint:
        return plain
    return f'{plain}, or declare them one piece: [[joint]] bodies = ["{a.name}", "{b.name}"]'
