"""Which element of a mesh holds a point, and where in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray, quad_shape

_SLACK = 1e-6
_CHUNK = 400_000
# Gradients are taken this share towards the middle of the element: at a collapsed corner they do not exist.
_NUDGE = 1e-6


@dataclass(frozen=True, eq=False)
class Places:
    """For the points found: `point` their index, `element`, and `shape`, `d_r`, `d_z` (m, 9) there (1/m)."""

    point: IntArray
    element: IntArray
    shape: Array
    d_r: Array
    d_z: Array
    local: Array


def locate(mesh: Mesh, at: Array) -> Places:
    """Find the element holding each of the points `at` (n, 2); points outside the mesh are left out."""
    corners = mesh.points[mesh.quads]
    pad = 1e-9 * (float(np.ptp(mesh.points, axis=0).max()) if len(mesh.points) else 1.0)
    low, high = corners.min(axis=1) - pad, corners.max(axis=1) + pad
    point, element = _candidates(at, low, high)
    xi = _invert(corners[element], at[point])
    inside = np.all(np.abs(xi) <= 1.0 + _SLACK, axis=1)
    point, element, xi = point[inside], element[inside], np.clip(xi[inside], -1.0, 1.0)
    point, first = np.unique(point, return_index=True)
    element, xi = element[first], xi[first]
    shape, d_r, d_z = _gradients(corners[element], xi)
    return Places(point, element, shape, d_r, d_z, xi)


def _candidates(at: Array, low: Array, high: Array) -> tuple[IntArray, IntArray]:
    """Pairs (point, element) whose bounding boxes meet."""
    empty = np.zeros(0, dtype=np.int64)
    if len(low) == 0:
        return empty, empty
    near = np.flatnonzero(np.all((at >= low.min(axis=0)) & (at <= high.max(axis=0)), axis=1))
    points, elements = [empty], [empty]
    step = max(1, _CHUNK // len(low))
    for start in range(0, len(near), step):
        part = near[start : start + step]
        r, z = at[part, 0, None], at[part, 1, None]
        i, e = np.nonzero((r >= low[:, 0]) & (r <= high[:, 0]) & (z >= low[:, 1]) & (z <= high[:, 1]))
        points.append(part[i])
        elements.append(e)
    return np.concatenate(points), np.concatenate(elements)


def _invert(corners: Array, at: Array) -> Array:
    """Local coordinates (m, 2) of points in elements (m, 9, 2) by Newton from the centre."""
    xi = np.zeros((len(at), 2))
    for _ in range(12):
        shape, a, b = (s.T for s in quad_shape(xi[:, 0], xi[:, 1]))
        miss = at - np.einsum("mk,mkd->md", shape, corners)
        ja, jb = np.einsum("mk,mkd->md", a, corners), np.einsum("mk,mkd->md", b, corners)
        det = _safe(ja[:, 0] * jb[:, 1] - jb[:, 0] * ja[:, 1])
        step = np.column_stack(
            [
                (miss[:, 0] * jb[:, 1] - miss[:, 1] * jb[:, 0]) / det,
                (miss[:, 1] * ja[:, 0] - miss[:, 0] * ja[:, 1]) / det,
            ]
        )
        xi = np.clip(xi + step, -1.5, 1.5)
        if len(step) == 0 or np.abs(step).max() < 1e-12:
            break
    return xi


def _gradients(corners: Array, xi: Array) -> tuple[Array, Array, Array]:
    xi = xi * (1.0 - _NUDGE)
    shape, a, b = (s.T for s in quad_shape(xi[:, 0], xi[:, 1]))
    ja, jb = np.einsum("mk,mkd->md", a, corners), np.einsum("mk,mkd->md", b, corners)
    det = _safe(ja[:, 0] * jb[:, 1] - jb[:, 0] * ja[:, 1])[:, None]
    d_r = (a * jb[:, 1:] - b * ja[:, 1:]) / det
    d_z = (b * ja[:, :1] - a * jb[:, :1]) / det
    return shape, d_r, d_z


def _safe(det: Array) -> Array:
    """A collapsed corner has a zero Jacobian; keep the division finite there."""
    tiny = 1e-30
    return np.where(np.abs(det) < tiny, tiny, det)
