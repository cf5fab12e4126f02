"""The half-section of a job: bodies, films, coil turns and named points as outlines in (r, z).

`build_section` turns a job file into it; everything after it (overlap check, meshes, drawing) reads only this.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from coilwright.section.outline import Outline


@dataclass(frozen=True, eq=False)
class SectionBody:
    """One solid body. `outlines[0]` is the outside, any further ones are hollows in it.

    Bodies with the same `group` touch on purpose and become one mesh.
    """

    name: str
    role: str
    material: str
    outlines: tuple[Outline, ...]
    group: str

    @property
    def outer(self) -> Outline:
        return self.outlines[0]

    @property
    def volume(self) -> float:
        """Volume of revolution, m^3."""
        return self.outer.volume - sum(hole.volume for hole in self.outlines[1:])


@dataclass(frozen=True)
class SectionFilm:
    """A thin film: the straight line from `start` to `end` (r, z in m) turned about the axis, `thickness` in m."""

    name: str
    role: str
    material: str
    start: tuple[float, float]
    end: tuple[float, float]
    thickness: float


@dataclass(frozen=True, eq=False)
class TurnOutline:
    """One ring of the coil, numbered from 1. `weight` < 1 is a part turn. `kind` is the conductor's section."""

    number: int
    r: float
    z: float
    outer: Outline
    bore: Outline | None
    weight: float = 1.0
    kind: str = "round tube"

    @property
    def name(self) -> str:
        return f"turn {self.number}"

    def moved(self, up: float) -> TurnOutline:
        bore = self.bore.moved(up=up) if self.bore is not None else None
        return replace(self, z=self.z + up, outer=self.outer.moved(up=up), bore=bore)


@dataclass(frozen=True)
class SectionPoint:
    name: str
    r: float
    z: float


@dataclass(frozen=True, eq=False)
class Section:
    """Everything drawn in the half-section; `notes` say in words what the drawing leaves out or stands for."""

    bodies: tuple[SectionBody, ...]
    turns: tuple[TurnOutline, ...] = ()
    points: tuple[SectionPoint, ...] = ()
    films: tuple[SectionFilm, ...] = ()
    notes: tuple[str, ...] = ()

    def body(self, name: str) -> SectionBody:
        """The body of that name; KeyError with the names there are."""
        for body in self.bodies:
            if body.name == name:
                return body
        raise KeyError(f'no body "{name}" in the section; there are {[b.name for b in self.bodies]}')

    def with_coil_moved(self, up: float) -> Section:
        """The same section with all turns shifted along the axis by `up` (m)."""
        return replace(self, turns=tuple(turn.moved(up) for turn in self.turns))

    def with_body_moved(self, name: str, up: float) -> Section:
        """The same section with one body shifted along the axis by `up` (m)."""
        self.body(name)
        bodies = tuple(
            replace(b, outlines=tuple(o.moved(up=up) for o in b.outlines)) if b.name == name else b for b in self.bodies
        )
        return replace(self, bodies=bodies)


def turn_outline(number: int, r: float, z: float, weight: float, kind: str, **size: float) -> TurnOutline:
    """One turn of a conductor: kinds and sizes (m) as in the job file; width is along r, height along z.

    round tube {outside, bore}; round wire or litz {diameter}; rectangular tube {width, height, wall};
    strip {width, height}.
    """
    bore: Outline | None = None
    if kind in ("round tube", "round wire", "litz"):
        across = size["outside"] if kind == "round tube" else size["diameter"]
        outer = Outline.circle((r, z), 0.5 * across)
        if kind == "round tube" and size.get("bore", 0.0) > 0.0:
            bore = Outline.circle((r, z), 0.5 * size["bore"])
    elif kind in ("rectangular tube", "strip"):
        w, h = 0.5 * size["width"], 0.5 * size["height"]
        outer = Outline.rectangle((r - w, r + w), (z - h, z + h))
        if kind == "rectangular tube":
            t = size["wall"]
            bore = Outline.rectangle((r - w + t, r + w - t), (z - h + t, z + h - t))
    else:
        raise ValueError(f"unknown conductor section {kind!r}")
    return TurnOutline(number, r, z, outer, bore, weight, kind)
