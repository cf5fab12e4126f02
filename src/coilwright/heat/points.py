"""Reading nodal fields at arbitrary points of the section."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.section.quad9 import Array, IntArray, quad_shape

_TOLERANCE = 1e-6
_SAME_PLACE = 1e-9  # of the mesh's extent


@dataclass(frozen=True, eq=False)
class PointReader:
    """Value at point k = sum over i of weights[k, i] * nodal[nodes[k, i]]."""

    nodes: IntArray
    weights: Array
    element: IntArray

    def __call__(self, nodal: Array) -> Array:
        return np.asarray(np.sum(self.weights * nodal[self.nodes], axis=1))


def reader(points: Array, quads: IntArray, wanted: Array, names: tuple[str, ...] = ()) -> PointReader:
    """Reader of nodal fields at `wanted` (k, 2) r, z in m. Raises BadInput for points outside every body."""
    wanted = np.atleast_2d(np.asarray(wanted, dtype=float))
    at = points[quads]
    low, high = at.min(axis=1), at.max(axis=1)
    slack = 0.05 * (high - low).max(axis=1, keepdims=True)
    nodes, weights, element, faults = [], [], [], []
    same = _SAME_PLACE * float(np.ptp(points, axis=0).max())
    for k, p in enumerate(wanted):
        on_node = np.flatnonzero(np.hypot(*(points - p).T) < same)
        if len(on_node):  # also the middle of a ball, where elements are collapsed and have no inverse
            holder, corner = np.argwhere(quads == on_node[0])[0]
            nodes.append(quads[holder])
            weights.append(np.eye(9)[corner])
            element.append(int(holder))
            continue
        near = np.flatnonzero(np.all((p >= low - slack) & (p <= high + slack), axis=1))
        best, where = None, -1
        for e in near:
            local = _local(at[e], p)
            if local is not None and (best is None or np.abs(local).max() < np.abs(best).max()):
                best, where = local, int(e)
                if np.abs(best).max() <= 1.0:
                    break
        if best is None or np.abs(best).max() > 1.0 + _TOLERANCE:
            name = names[k] if k < len(names) else f"point {k + 1}"
            text = f"must lie inside a body; received r = {p[0] * 1e3:.4g} mm, z = {p[1] * 1e3:.4g} mm"
            faults.append(Fault(name, text))
            continue
        nodes.append(quads[where])
        weights.append(quad_shape(best[:1], best[1:])[0][:, 0])
        element.append(where)
    if faults:
        raise BadInput(faults)
    return PointReader(np.array(nodes), np.array(weights), np.array(element))


def _local(at: Array, p: Array) -> Array | None:
    """Reference coordinates of p in one element by Newton's method; None when it does not settle."""
    x = np.zeros(2)
    for _ in range(25):
        shape, d_xi, d_eta = (a[:, 0] for a in quad_shape(x[:1], x[1:]))
        miss = p - shape @ at
        slope = np.column_stack([d_xi @ at, d_eta @ at])
        if abs(np.linalg.det(slope)) < 1e-300:
            return None
        step = np.linalg.solve(slope, miss)
        x = np.clip(x + step, -3.0, 3.0)
        if np.abs(step).max() < 1e-12:
            return x
    return x if np.abs(step).max() < 1e-8 else None
