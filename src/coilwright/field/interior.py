"""What the finite elements inside the bodies need at their Gauss points.

Weak form, unknown A (not r A, whose 1/r weights diverge beside the axis), A = 0 on the axis, e^{+jwt}, rms:
    int nu [dzA dzv + (drA + A/r)(drv + v/r)] r dr dz + jw int sigma A v r dr dz
        = closed int h v r ds + U int sigma v / (2 pi) dr dz,
with nu = 1/(mu0 mu_r) and J = sigma (-jw A + U / (2 pi r)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coilwright.field.skin import ComplexArray, Skin, no_skin, skin_of
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, IntArray


@dataclass(frozen=True, eq=False)
class Interior:
    """`curl` (e, 9, q) holds drN + N/r (1/m); `free` (f,) are the nodes off the axis, `position` (n,) their running
    number, -1 on the axis. `area` (e, q) is dr dz, `ring` (e, q) is r dr dz.
    """

    mesh: Mesh
    skin: Skin
    curl: Array
    free: IntArray
    position: IntArray
    ring: Array

    @property
    def area(self) -> Array:
        return self.mesh.gauss.weight

    def at_gauss(self, nodal: ComplexArray) -> ComplexArray:
        """(e, q) values of a nodal field."""
        return nodal[self.mesh.quads] @ self.mesh.gauss.shape

    def flux_density(self, potential: ComplexArray) -> ComplexArray:
        """(2, e, q) B_r, B_z (T) from nodal A."""
        local = potential[self.mesh.quads][:, None, :]
        b_r = -np.matmul(local, self.mesh.gauss.d_z)[:, 0]
        return np.stack([b_r, np.matmul(local, self.curl)[:, 0]])

    def power(self, density: Array, pick: IntArray | slice = slice(None)) -> float:
        """Volume integral (W) of a loss density (e, q) in W/m^3 over the elements `pick`."""
        return float(2.0 * np.pi * np.sum(density[pick] * self.ring[pick]))


def interior_of(mesh: Mesh) -> Interior:
    """Operators of a mesh."""
    g = mesh.gauss
    ring = g.r * g.weight
    curl = g.d_r + g.shape[None] / g.r[:, None, :]
    free = np.flatnonzero(~mesh.on_axis)
    position = np.full(len(mesh.points), -1, dtype=np.int64)
    position[free] = np.arange(len(free))
    return Interior(
        mesh,
        skin_of(mesh),
        curl,
        free,
        position,
        ring,
    )


def no_interior() -> Interior:
    """The interior of no body at all."""
    none = np.zeros(0, dtype=np.int64)
    mesh = Mesh(np.zeros((0, 2)), np.zeros((0, 9), dtype=np.int64), none, ())
    return Interior(mesh, no_skin(), np.zeros((0, 9, 16)), none, none, np.zeros((0, 16)))
