"""How fine a mesh must be: the rule, what each body asks for, and its distance to everything else."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from coilwright.section.grading import Wanted, wanted
from coilwright.section.nearest import distances
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array

Level = Literal["coarse", "normal", "fine"]
SCALES: dict[Level, float] = {"coarse": 1.7, "normal": 1.0, "fine": 0.6}
SAMPLES = 25  # places along one segment where the distance to everything else is taken
SHARES = np.linspace(0.0, 1.0, SAMPLES)
_FAINTEST = 5.0  # elements may be so many times longer where the field is faint


@dataclass(frozen=True)
class MeshRule:
    """Element sizes: `first` layer under a smooth surface and elements at a `corner` in skin depths, `growth` from
    one element to the next, `around` elements round a turn, `longest` element (m) anywhere.

    `level` multiplies every length: "coarse" 1.7, "normal" 1, "fine" 0.6; the three form a convergent family.
    """

    first: float = 0.45
    growth: float = 1.5
    corner: float = 0.2
    longest: float | None = None
    level: Level = "normal"
    around: int = 16

    @property
    def scale(self) -> float:
        return SCALES[self.level]

    def at_level(self, level: Level) -> MeshRule:
        return replace(self, level=level)


@dataclass(frozen=True)
class BodySize:
    """What one body asks of its mesh, lengths in m.

    `skin_depth_smallest` is the smallest skin depth it passes through, `skin_depth_largest` the largest;
    `front_depth` the depth a Curie front reaches (finer elements to there), `front_share` those elements over it;
    `conducting` False is glass and the like, which carry heat only.
    """

    skin_depth_smallest: float = math.inf
    skin_depth_largest: float = math.inf
    front_depth: float | None = None
    front_share: float = 0.25
    conducting: bool = True
    longest: float | None = None

    def first(self, rule: MeshRule) -> float:
        return rule.first * self.skin_depth_smallest if self.conducting else math.inf

    def corner(self, rule: MeshRule) -> float:
        return rule.corner * self.skin_depth_smallest if self.conducting else math.inf

    def longest_under(self, rule: MeshRule) -> float:
        return min(math.inf if x is None else x for x in (self.longest, rule.longest))


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Segments (n, 9) of everything near a body and points of interest (k, 2): what limits its surface elements.

    `coil` (m, 9), those of them that are the coil's, with its mean radius `reach` (m): the field falls off away from it.
    """

    segments: Array
    points: Array
    coil: Array = field(default_factory=lambda: np.empty((0, 9)))
    reach: float = math.inf

    def distance(self, at: Array, point_floor: float) -> Array:
        """(n,): distance of places (n, 2) to the nearest thing; points count as no nearer than `point_floor`."""
        out = distances(np.ascontiguousarray(at), self.segments)
        if len(self.points):
            gap = np.hypot(at[:, None, 0] - self.points[None, :, 0], at[:, None, 1] - self.points[None, :, 1])
            out = np.minimum(out, np.maximum(gap.min(axis=1), point_floor))
        return out

    def longer(self, outline: Outline) -> Array:
        """(segments, SAMPLES): how many times longer than where the coil is nearest elements may be along an outline: from half
        the field on as 1/H - 1, with the field of a loop on its axis, H ~ (reach^2 + distance^2)^(-3/2). 1 without a coil."""
        count = len(outline.segments)
        if not len(self.coil):
            return np.ones((count, SAMPLES))
        places = np.concatenate([outline.points_along(i, SHARES) for i in range(count)])
        square = self.reach**2 + distances(places, self.coil) ** 2
        out = np.clip((square / square.min()) ** 1.5 - 1.0, 1.0, _FAINTEST)
        return np.asarray(out.reshape(count, SAMPLES))


def along(
    outline: Outline, segment: int, around: Surroundings, smallest: float, point_floor: float
) -> tuple[Array, Array]:
    """(places (k, 2), wanted element length (k,)) along one segment by the distance rule, never below `smallest`."""
    places = outline.points_along(segment, SHARES)
    return places, np.maximum(around.distance(places, point_floor), smallest)


def nothing() -> Wanted:
    return wanted([], [])
