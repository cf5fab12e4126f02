"""All live bodies as one interior: operators, unknown numbering and matrix pattern, independent of where they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coilwright.field.inputs import LiveBody
from coilwright.field.interior import Interior, interior_of, no_interior
from coilwright.field.skin import Skin, skin_of
from coilwright.field.space import Space
from coilwright.section.mesh import union
from coilwright.section.mirror import mirror_of
from coilwright.section.pattern import Pattern, pattern_of
from coilwright.section.quad9 import Array, BoolArray, IntArray


@dataclass(frozen=True, eq=False)
class Live:
    """`skins` of the single bodies in their drawn places; `start[b]`:`start[b+1]` their edges, `element_start` their
    elements, `potential_start` their boundary nodes. `loops` lists the bodies whose loop voltage is an unknown.

    Unknowns: A at the free nodes, then the loop voltages.
    """

    bodies: tuple[LiveBody, ...]
    interior: Interior
    skins: tuple[Skin, ...]
    start: IntArray
    potential_start: IntArray
    element_start: IntArray
    loops: tuple[int, ...]

    @property
    def size(self) -> int:
        return len(self.interior.free) + len(self.loops)

    def elements_of(self, body: int) -> slice:
        return slice(int(self.element_start[body]), int(self.element_start[body + 1]))

    @cached_property
    def boundary(self) -> IntArray:
        """Unknown numbers of the boundary nodes, in the order of the skins."""
        return self.interior.position[self.interior.skin.nodes]

    @cached_property
    def element_entries(self) -> BoolArray:
        """(e * 81,): which element-matrix entries couple two free nodes."""
        row, column = self._element_pairs
        return np.asarray((row >= 0) & (column >= 0))

    @cached_property
    def _element_pairs(self) -> tuple[IntArray, IntArray]:
        number = self.interior.position[self.interior.mesh.quads]
        return np.repeat(number, 9, axis=1).ravel(), np.tile(number, (1, 9)).ravel()

    @cached_property
    def _loop_nodes(self) -> list[tuple[IntArray, BoolArray]]:
        """Per loop: unknown numbers (e_l * 9,) of its elements' nodes and which are free."""
        out = []
        for body in self.loops:
            number = self.interior.position[self.interior.mesh.quads[self.elements_of(body)]].ravel()
            out.append((number[number >= 0], np.asarray(number >= 0)))
        return out

    @cached_property
    def real_pairs(self) -> tuple[IntArray, IntArray]:
        """(row, column) of every list entry: elements, dense boundary block, then loop columns, rows, diagonals."""
        row, column = self._element_pairs
        keep, b = self.element_entries, self.boundary
        nf = len(self.interior.free)
        rows, columns = [row[keep], np.repeat(b, len(b))], [column[keep], np.tile(b, len(b))]
        for k, (number, _) in enumerate(self._loop_nodes):
            loop = np.full(len(number), nf + k)
            rows += [number, loop, np.array([nf + k])]
            columns += [loop, number, np.array([nf + k])]
        return np.concatenate(rows), np.concatenate(columns)

    @cached_property
    def pattern(self) -> Pattern:
        return pattern_of(self.size, *self.real_pairs)

    @cached_property
    def whole(self) -> Space:
        """All unknowns."""
        return Space.whole(self)

    @cached_property
    def half(self) -> Space | None:
        """One unknown of every pair that mirrors itself half-way up; None when the mesh has no such plane."""
        mirror = mirror_of(self.interior.mesh)
        return None if mirror is None else Space.half(self, mirror)

    def loop_load(self, k: int, sigma: Array) -> Array:
        """(free nodes in the loop's elements, with repeats): integral of sigma N / (2 pi) element by element."""
        pick = self.elements_of(self.loops[k])
        inside = self.interior
        load = (sigma[pick] * inside.area[pick]) @ inside.mesh.gauss.shape.T / (2.0 * np.pi)
        return np.asarray(load.ravel()[self._loop_nodes[k][1]])

    def loop_conductance(self, k: int, sigma: Array) -> float:
        """Integral of sigma / (2 pi r) dr dz over the loop's body (S)."""
        pick = self.elements_of(self.loops[k])
        inside = self.interior
        return float(np.sum((sigma * inside.area / (2.0 * np.pi * inside.mesh.gauss.r))[pick]))


def live_of(bodies: Sequence[LiveBody]) -> Live:
    """Operators of all live bodies together; an empty list serves the coil alone."""
    meshes = [b.mesh for b in bodies]
    zero = np.zeros(1, dtype=np.int64)
    if not meshes:
        return Live((), no_interior(), (), zero, zero, zero, ())
    interior = interior_of(union(meshes) if len(meshes) > 1 else meshes[0])
    skins = tuple(skin_of(m) for m in meshes) if len(meshes) > 1 else (interior.skin,)
    return Live(
        tuple(bodies),
        interior,
        skins,
        np.cumsum([0, *(len(s.points) for s in skins)]),
        np.cumsum([0, *(s.n_potential for s in skins)]),
        np.cumsum([0, *(len(m.quads) for m in meshes)]),
        tuple(i for i, b in enumerate(bodies) if b.has_loop_voltage),
    )
