"""What a coil out of line does to its part, to the coil and to a loop in its place: by the pose engine, as ratios to in line."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coilwright.field.pose import PosePart
from coilwright.field.pose_clearance import pose_clearance
from coilwright.field.pose_incident import Pose
from coilwright.section.geometry import Section
from coilwright.section.quad9 import Array

FLUX, POWER, RESISTANCE, REACTANCE = range(4)
_MOST_TILT = math.radians(20.0)
_MOST_OFFSET = 0.8  # of the radius where the part takes its heat
_ROOM = 0.1  # of the gap in line, left between coil and part
_OFFSETS, _TILTS = 7, 5


@dataclass(frozen=True, eq=False)
class AskewCurve:
    """Ratios (4, k) at places `at` (k,) m or rad from 0 upwards: flux through a thin loop at the part, power in the part,
    resistance and reactance that the part adds to its coil."""

    at: Array
    ratios: Array

    def __call__(self, what: int, at: Array) -> Array:
        return np.asarray(np.interp(at, self.at, self.ratios[what]), dtype=np.float64)


def askew_curves(
    part: PosePart,
    work: Sequence[str],
    section: Section,
    ring: tuple[float, float],
    flux: Callable[[float, float], float],
) -> tuple[AskewCurve, AskewCurve]:
    """Curves over the offset and over the tilt of the coil, as far as it clears what sees its field. `ring`: radius and
    height (m) where the part takes its heat; the coil turns about that height. `flux` of a thin loop there at (offset, tilt)."""
    live = part.state.reduced.live.interior.mesh.regions
    own = replace(section, bodies=tuple(b for b in section.bodies if b.name in live))
    radius, pivot = ring
    room = _ROOM * pose_clearance(own, Pose(pivot=pivot))

    def fits(pose: Pose) -> bool:
        return pose_clearance(own, pose) > room

    def offset(x: float) -> Pose:
        return Pose(offset_x=x, pivot=pivot)

    def tilt(x: float) -> Pose:
        return Pose(tilt_y=x, pivot=pivot)

    aside = np.linspace(0.0, _reach(_MOST_OFFSET * radius, lambda x: fits(offset(x))), _OFFSETS)
    turned = np.linspace(0.0, _reach(_MOST_TILT, lambda x: fits(tilt(x))), _TILTS)
    within = [b.name for b in part.state.reduced.live.bodies if set(b.mesh.regions) & set(work)]  # joined ones are one body
    power, added = part.answers([*map(offset, aside), *map(tilt, turned)], within)
    every = np.array([power / power[0], added.real / added[0].real, added.imag / added[0].imag])
    through = np.array([*(flux(x, 0.0) for x in aside), *(flux(0.0, x) for x in turned)])
    ratios = np.vstack([through / through[0], every])
    return AskewCurve(aside, ratios[:, :_OFFSETS]), AskewCurve(turned, ratios[:, _OFFSETS:])


def _reach(most: float, fits: Callable[[float], bool]) -> float:
    """As far as the coil clears its part, in twentieths of `most`."""
    for share in np.linspace(1.0, 0.05, 20):
        if fits(float(share) * most):
            return float(share) * most
    return 0.05 * most
