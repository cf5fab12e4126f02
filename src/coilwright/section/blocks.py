"""Meshes of simple sections from graded lattices: rectangle, ring of a round wire or tube, half disc on the axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coilwright.section.mesh import Mesh, from_lattice
from coilwright.section.quad9 import Array


def graded(
    start: float, end: float, first: float, growth: float = 1.5, longest: float | None = None, *, ends: str = "both"
) -> Array:
    """Break points from `start` to `end`: lengths grow by `growth` from `first`, up to `longest`.

    `ends` says where the fine elements sit: "both", "start" or "end".
    """
    length = end - start
    longest = longest if longest is not None else length / 4.0
    span = length / 2.0 if ends == "both" else length
    steps = _steps(span, min(first, span), growth, longest)
    x = np.concatenate([[0.0], np.cumsum(steps)])
    x[-1] = span
    if ends == "both":
        return np.concatenate([start + x, (end - x[::-1])[1:]])
    return start + x if ends == "start" else (end - x)[::-1]


def _steps(span: float, first: float, growth: float, longest: float) -> list[float]:
    steps: list[float] = []
    total, step = 0.0, first
    while total + min(step, longest) < span * (1.0 - 1e-12):
        steps.append(min(step, longest))
        total += steps[-1]
        step *= growth
    rest = span - total
    if steps and rest < 0.5 * steps[-1]:  # spread a sliver over the others instead of keeping it
        return [s * span / total for s in steps]
    return [*steps, rest]


def with_midpoints(breaks: Sequence[float] | Array) -> Array:
    """Element break points with the mid-side nodes between them."""
    breaks = np.asarray(breaks, dtype=float)
    out = np.empty(2 * len(breaks) - 1)
    out[::2] = breaks
    out[1::2] = 0.5 * (breaks[1:] + breaks[:-1])
    return out


def rectangle(r_breaks: Sequence[float] | Array, z_breaks: Sequence[float] | Array, region: str) -> Mesh:
    """Rectangular section from break points along r and z (m)."""
    r, z = np.meshgrid(with_midpoints(r_breaks), with_midpoints(z_breaks), indexing="ij")
    return from_lattice(r, z, region)


def disc(
    centre: tuple[float, float],
    rho_breaks: Sequence[float] | Array,
    around: int | Array,
    region: str,
    *,
    bore: tuple[float, str] | None = None,
) -> Mesh:
    """Round section off the axis (a turn of wire or tube), centre (r, z).

    `rho_breaks` go from the centre outwards and start at 0; `around` is the number of equal elements round it or
    their break angles (rad) over one full turn; elements inside the radius `bore[0]` get region `bore[1]`.
    """
    rho_breaks = np.asarray(rho_breaks, dtype=float)
    angle = _angles(0.0, 2.0 * np.pi, around)
    rho, theta = np.meshgrid(with_midpoints(rho_breaks), angle, indexing="ij")
    theta[:, -1] = theta[:, 0]  # closes the circle on the very same nodes
    r, z = centre[0] + rho * np.cos(theta), centre[1] + rho * np.sin(theta)
    if bore is None:
        return from_lattice(r, z, region)
    middle = 0.5 * (rho_breaks[1:] + rho_breaks[:-1])
    cells = np.repeat(np.where(middle < bore[0], 1, 0)[:, None], len(angle) // 2, axis=1)
    return from_lattice(r, z, region, cells=cells, regions=(region, bore[1]))


def half_disc(centre_z: float, rho_breaks: Sequence[float] | Array, around: int | Array, region: str) -> Mesh:
    """Section of a ball on the axis; `rho_breaks` (m) start at 0, `around` as in `disc`, from pole to pole."""
    angle = _angles(-0.5 * np.pi, 0.5 * np.pi, around)
    rho, theta = np.meshgrid(with_midpoints(rho_breaks), angle, indexing="ij")
    r = rho * np.cos(theta)
    r[:, [0, -1]] = 0.0
    r[0] = 0.0
    return from_lattice(r, centre_z + rho * np.sin(theta), region)


def _angles(start: float, end: float, around: int | Array) -> Array:
    """Angles of the nodes, mid-side nodes included."""
    if isinstance(around, int):
        return np.linspace(start, end, 2 * around + 1)
    return with_midpoints(around)
