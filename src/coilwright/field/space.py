"""The unknowns of a nonlinear field: all of them, or one of every pair that mirrors itself in a middle plane.

With part, coil and temperatures alike on both sides of a plane across the axis, A is the same on both sides. Unknowns of a pair
are then one, the equations of a pair add up to one, and of two mirrored elements one is looked at and counts twice:
P' J P x' = P' r with x = P x'. Half the unknowns make factors cost a third.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from coilwright.field.skin import ComplexArray
from coilwright.section.mirror import Mirror
from coilwright.section.pattern import Pattern, pattern_of
from coilwright.section.quad9 import Array, IntArray

if TYPE_CHECKING:
    from coilwright.field.live import Live


@dataclass(frozen=True, eq=False)
class Space:
    """`number` (size,): which unknown here every unknown of `live` is; `pick` (e',) the elements looked at and `ring` (e', q)
    their r dr dz, as often as each counts."""

    live: Live
    count: int
    number: IntArray
    pick: IntArray
    ring: Array
    mirror: Mirror | None = None

    @staticmethod
    def whole(live: Live) -> Space:
        elements = np.arange(len(live.interior.mesh.quads))
        return Space(live, live.size, np.arange(live.size), elements, live.interior.ring)

    @staticmethod
    def half(live: Live, mirror: Mirror) -> Space:
        inside = live.interior
        free, loops = inside.free, np.arange(len(inside.free), live.size)
        first = np.minimum(np.arange(len(free)), inside.position[mirror.nodes[free]])
        kept, number = np.unique(np.concatenate([first, loops]), return_inverse=True)
        elements = np.arange(len(inside.mesh.quads))
        pick = elements[elements <= mirror.elements]
        times = np.where(mirror.elements[pick] == pick, 1.0, 2.0)
        return Space(live, len(kept), number.ravel(), pick, inside.ring[pick] * times[:, None], mirror)

    # ---- values there and back
    def gathered(self, values: ComplexArray) -> ComplexArray:
        """(count,) sums of what stands at every unknown of `live`: equations of a pair add up."""
        if self.mirror is None:
            return values
        out: ComplexArray = np.bincount(self.number, values.real, self.count) + 1j * np.bincount(
            self.number, values.imag, self.count
        )
        return out

    def restricted(self, values: ComplexArray) -> ComplexArray:
        """(count,) values, of a pair their mean."""
        out: ComplexArray = self.gathered(values) / np.bincount(self.number, minlength=self.count)
        return out

    def nodal(self, unknowns: ComplexArray) -> ComplexArray:
        """A (n,) at the nodes, of the elements looked at right, elsewhere by the mirror as well."""
        inside = self.live.interior
        out = np.zeros(len(inside.mesh.points), dtype=complex)
        out[inside.free] = unknowns[self.number[: len(inside.free)]]
        return out

    def of_nodes(self, values: ComplexArray) -> ComplexArray:
        """(count,) sums of nodal values (n,): equations of the free nodes."""
        inside = self.live.interior
        out: ComplexArray = np.zeros(self.count, dtype=complex)
        number = self.number[: len(inside.free)]
        if self.mirror is None:
            out[number] = values[inside.free]
            return out
        real, imag = values.real[inside.free], values.imag[inside.free]
        return out + np.bincount(number, real, self.count) + 1j * np.bincount(number, imag, self.count)

    def everywhere(self, values: Array) -> Array:
        """(e, q) from values on the elements looked at."""
        out = np.empty(self.live.interior.ring.shape)
        if self.mirror is not None:
            points = self.mirror.points.reshape(out.shape)[self.pick]
            out.ravel()[points.ravel()] = values.ravel()
        out[self.pick] = values
        return out

    # ---- operators of the elements looked at
    @cached_property
    def quads(self) -> IntArray:
        return np.ascontiguousarray(self.live.interior.mesh.quads[self.pick])

    @cached_property
    def curl(self) -> Array:
        return np.ascontiguousarray(self.live.interior.curl[self.pick])

    @cached_property
    def d_z(self) -> Array:
        return np.ascontiguousarray(self.live.interior.mesh.gauss.d_z[self.pick])

    @cached_property
    def _pairs(self) -> tuple[IntArray, IntArray]:
        row, column = self.live.real_pairs
        return self.number[row], self.number[column]

    @cached_property
    def pattern(self) -> Pattern:
        return self.live.pattern if self.mirror is None else pattern_of(self.count, *self._pairs)

    @cached_property
    def element_slots(self) -> IntArray:
        """(e', 81): where the entries of the elements looked at go in `pattern`, -1 on the axis."""
        entries = self.live.element_entries
        out = np.full(len(entries), -1, dtype=np.int64)
        out[entries] = self.pattern.slot[: int(entries.sum())]
        return np.ascontiguousarray(out.reshape(-1, 81)[self.pick])
