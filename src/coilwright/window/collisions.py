"""Draws whose coil would stand in a body: found among many without looking at each."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

import numpy as np

from coilwright.field.pose_clearance import check_poses, pose_clearance
from coilwright.field.pose_incident import Pose
from coilwright.section.geometry import Section
from coilwright.section.quad9 import Array, BoolArray

_ROOM = 0.1  # of the gap in line, left between coil and part where the field is asked for
_DIRECTIONS = 32


def _motion(section: Section, rows: Array) -> Array:
    """(n,) m: how far no point of the coil moves beyond, for pose rows (n, 6)."""
    pivot = float(rows[0, 5]) if len(rows) else 0.0
    lever = max(float(np.hypot(r, z - pivot)) for t in section.turns for r in t.outer.box[:2] for z in t.outer.box[2:])
    return np.abs(rows[:, 2]) + np.hypot(rows[:, 0], rows[:, 1]) + lever * np.hypot(rows[:, 3], rows[:, 4])


def clear_of_part(section: Section, live: Collection[str], pivot: float) -> Callable[[Array], BoolArray]:
    """A judge of pose rows (n, 6): whether the coil keeps a tenth of its gap to the bodies that see its field."""
    known = {b.name for b in section.bodies}
    names = [n for n in known if n in live]
    own = replace(section, bodies=tuple(b for b in section.bodies if b.name in names))
    gap = pose_clearance(own, Pose(pivot=pivot))

    def clear(rows: Array) -> BoolArray:
        out = np.asarray(_motion(section, rows) < (1.0 - _ROOM) * gap)
        for k in np.flatnonzero(~out):
            out[k] = pose_clearance(own, Pose(*rows[k])) > _ROOM * gap
        return out

    return clear


def check_draws(section: Section, rows: Array, stations: int) -> None:
    """Raise BadInput, naming shots and stations, when a pose of (shots * stations, 6) puts the coil into a body.

    Looked at are the draws farthest out in many directions: as long as bodies are less curved than the coil moves, the
    poses that clear them form a convex set, and the farthest tell for all.
    """
    far = np.flatnonzero(_motion(section, rows) >= pose_clearance(section, Pose(pivot=float(rows[0, 5]))))
    if not len(far):
        return
    at = rows[far, :5]
    scale = np.maximum(np.abs(at).max(axis=0), 1e-12)
    directions = np.random.default_rng(0).normal(size=(_DIRECTIONS, 5))
    outermost = np.unique(far[np.argmax(directions @ (at / scale).T, axis=1)])
    names = [f"varies: shot {k // stations + 1}, station {k % stations + 1}" for k in outermost]
    check_poses(section, rows[outermost], names=names)
