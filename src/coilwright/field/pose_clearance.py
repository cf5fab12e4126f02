"""Whether coil and bodies still clear each other once the coil is moved out of line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.pose_incident import Pose, Poses, pose_rows, rotations
from coilwright.section.geometry import Section
from coilwright.section.nearest import distances
from coilwright.section.outline import Outline
from coilwright.section.quad9 import Array, BoolArray

_AROUND = 72  # azimuths at which a ring is looked at
_ALONG = 12  # places along the shortest side of an outline's box, at least
_MOST = 400  # points of one outline


def _outline_points(outline: Outline) -> Array:
    """Closed chain of points (n, 2) r, z along an outline, evenly filled."""
    r0, r1, z0, z1 = outline.box
    size = min(r1 - r0, z1 - z0)
    chain = outline.polyline(1e-3 * size)
    chain = np.vstack([chain, chain[:1]])
    lengths = np.hypot(*np.diff(chain, axis=0).T)
    step = max(size / _ALONG, lengths.sum() / _MOST)
    pieces = [
        a + (b - a) * (np.arange(n) / n)[:, None]
        for a, b, n in zip(chain[:-1], chain[1:], np.maximum(1, np.ceil(lengths / step).astype(int)), strict=True)
    ]
    return np.vstack([*pieces, chain[:1]])


def _ring_points(chain: Array) -> Array:
    """(n * azimuths, 3) points of the surface that a chain sweeps round the axis."""
    angle = 2.0 * np.pi * np.arange(_AROUND) / _AROUND
    x, y = np.outer(chain[:, 0], np.cos(angle)), np.outer(chain[:, 0], np.sin(angle))
    return np.stack([x, y, np.broadcast_to(chain[:, 1:], x.shape)], axis=-1).reshape(-1, 3)


def _meridian(points: Array) -> Array:
    return np.column_stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]])


def _inside(outlines: Sequence[Outline], points: Array) -> BoolArray:
    inside = outlines[0].contains(points)
    for hole in outlines[1:]:
        inside &= ~hole.contains(points)
    return np.asarray(inside)


def _box_distances(flat: Array, outline: Outline) -> Array:
    """Distance (m) of points (n, 2) from the box round an outline: never more than from the outline itself."""
    r0, r1, z0, z1 = outline.box
    return np.hypot(
        np.maximum(np.maximum(r0 - flat[:, 0], flat[:, 0] - r1), 0.0),
        np.maximum(np.maximum(z0 - flat[:, 1], flat[:, 1] - z1), 0.0),
    )


def _signed(points: Array, outlines: Sequence[Outline], enough: float) -> float:
    """Smallest distance of points (n, 3) from a body of revolution, below zero when one lies inside it; points that are
    surely farther than `enough` (m) are passed over, and inf returned when all are."""
    flat = _meridian(points)
    flat = flat[_box_distances(flat, outlines[0]) < enough]
    if not len(flat):
        return math.inf
    away = distances(np.ascontiguousarray(flat), np.vstack([o.segments for o in outlines]))
    return float(np.min(np.where(_inside(outlines, flat), -away, away)))


@dataclass(frozen=True, eq=False)
class _Shape:
    """Outlines of a turn or body, and points of its surface (n, 3)."""

    name: str
    outlines: tuple[Outline, ...]
    points: Array

    @staticmethod
    def of(name: str, outlines: Sequence[Outline]) -> _Shape:
        return _Shape(name, tuple(outlines), np.vstack([_ring_points(_outline_points(o)) for o in outlines]))


def _nearest(turns: Sequence[_Shape], bodies: Sequence[_Shape], row: Array) -> tuple[float, str, str]:
    """(clearance, turn, body) of the pair that comes closest; (inf, "", "") without any."""
    rotation, shift = rotations(row[None])[0], row[:3]
    pivot = np.array([0.0, 0.0, row[5]])
    pairs = []
    for turn in turns:
        moved = (turn.points - pivot) @ rotation.T + shift + pivot
        pairs += [(float(_box_distances(_meridian(moved), b.outlines[0]).min()), moved, turn, b) for b in bodies]
    best = (math.inf, "", "")
    for bound, moved, turn, body in sorted(pairs, key=lambda p: p[0]):
        if bound >= best[0]:
            break
        away = _signed(moved, body.outlines, best[0])
        back = (body.points - shift - pivot) @ rotation + pivot
        away = min(away, _signed(back, turn.outlines[:1], min(best[0], away)))
        if away < best[0]:
            best = (away, turn.name, body.name)
    return best


def _shapes(section: Section) -> tuple[list[_Shape], list[_Shape]]:
    return (
        [_Shape.of(t.name, [t.outer]) for t in section.turns],
        [_Shape.of(b.name, b.outlines) for b in section.bodies],
    )


def pose_clearance(section: Section, pose: Pose) -> float:
    """Smallest distance (m) between any turn and any body in a pose, by sampling both surfaces; below zero: overlap.

    Found to about a hundredth of a turn's size; inf without turns or bodies.
    """
    return _nearest(*_shapes(section), pose_rows(pose)[0])[0]


def check_poses(
    section: Section, poses: Poses, *, least: float = 0.0, where: str = "poses", names: Sequence[str] | None = None
) -> Array:
    """Clearances (n,) in m. Raises BadInput naming every draw (`names`, or by number) whose clearance is not above `least`
    (m)."""
    rows = pose_rows(poses)
    out, faults = np.full(len(rows), math.inf), []
    turns, bodies = _shapes(section)
    for n, row in enumerate(rows):
        away, turn, body = _nearest(turns, bodies, row)
        out[n] = away
        if away <= least:
            need = "must clear each other" if least == 0.0 else f"must stay {1e3 * least:.3g} mm apart"
            got = f"overlap by {-1e3 * away:.3g} mm" if away <= 0.0 else f"come within {1e3 * away:.3g} mm"
            pose = (
                f"offset ({1e3 * row[0]:.3g}, {1e3 * row[1]:.3g}) mm, axial {1e3 * row[2]:.3g} mm, "
                f"tilt ({math.degrees(row[3]):.3g}, {math.degrees(row[4]):.3g}) deg"
            )
            text = f'coil and bodies {need}; {turn} and "{body}" {got} at {pose}; narrow the pose or widen the gap'
            faults.append(Fault(f"{where}: draw {n + 1}" if names is None else names[n], text))
    if faults:
        raise BadInput(faults)
    return out
