"""The coil of a station as thin loops and its part as one: pick-up loops and shorted turns, relative to the straight coil."""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from coilwright.field.formulas_inductance import loop_mutual, loop_self_inductance, tilted_loop_mutual
from coilwright.field.state import FieldState
from coilwright.section.scene import Scene

Array = NDArray[np.float64]


class Loops:
    """The coil as thin loops and the part as one: for pick-up loops and shorted turns, always relative to the straight coil."""

    def __init__(
        self, drawn: Scene, ring: tuple[float, float], empty: complex, added: complex, frequency: float, away: float
    ) -> None:
        self.turns = [(t.r, t.z, t.weight) for t in drawn.section.turns]
        self.radius, self.height = ring
        self.empty, self.added, self.omega, self.away = empty, added, 2.0 * math.pi * frequency, away
        apart = [math.hypot(a[0] - b[0], a[1] - b[1]) for a, b in zip(self.turns, self.turns[1:], strict=False)]
        self.wire = 0.3 * min(apart, default=0.1 * self.turns[0][0])

    def flux(self, back: float = 0.0, sideways: float = 0.0, tilt: float = 0.0) -> float:
        """Flux (Wb/A) through the loop that stands for the part."""
        out = 0.0
        for r, z, weight in self.turns:
            up = z + self.away * back - self.height
            centre = (sideways + up * math.sin(tilt), 0.0, up * math.cos(tilt))
            normal = (math.sin(tilt), 0.0, math.cos(tilt))
            out += weight * tilted_loop_mutual(self.radius, r, centre, normal, 96)
        return out

    def pick_up(self, backs: Array) -> Array:
        return np.array([self.flux(float(b)) for b in backs]) / self.flux()

    def shorted(self) -> tuple[float, float, float]:
        """One inner turn closed on itself: (R, X, part power per A^2) over the healthy ones. One turn: all but lost."""
        n = len(self.turns)
        if n < 2:
            return 1.0, 0.3, 0.05
        m = np.array([[self._pair(a, b) for b in range(n)] for a in range(n)])
        own = self.empty.real / n
        z = 1j * self.omega * m + np.eye(n) * own
        to_part = np.array([w * loop_mutual(self.radius, r, zz - self.height) for r, zz, w in self.turns])
        second = (self.omega * float(np.sum(to_part))) ** 2 / self.added  # impedance of the part's loop
        z = z + (self.omega**2 / second) * np.outer(to_part, to_part)
        healthy = z.sum()
        k = n // 2
        rest = np.array([j for j in range(n) if j != k])
        induced = -z[k, rest].sum() / z[k, k]  # current in the shorted turn per ampere in the others
        i = np.ones(n, dtype=complex)
        i[k] = induced
        seen = (z @ i)[rest].sum()
        power = abs(np.sum(to_part * i)) ** 2 / float(np.sum(to_part)) ** 2
        return float(seen.real / healthy.real), float(seen.imag / healthy.imag), float(power)

    def _pair(self, a: int, b: int) -> float:
        (ra, za, wa), (rb, zb, wb) = self.turns[a], self.turns[b]
        if a == b:
            return float(wa**2 * loop_self_inductance(ra, min(self.wire, 0.45 * ra)))
        return float(wa * wb * loop_mutual(ra, rb, za - zb))


def ring_of(state: FieldState, works: Collection[str]) -> tuple[float, float]:
    """Radius and height (m) of the loop that stands for the work: where its loss is, from the solved field."""
    mesh = state.reduced.live.interior.mesh
    chosen = np.isin(mesh.region, [k for k, name in enumerate(mesh.regions) if name in works])
    gauss = mesh.gauss
    loss = (state.loss_density * gauss.r * gauss.weight)[chosen]
    total = float(np.sum(loss))
    return float(np.sum(loss * gauss.r[chosen]) / total), float(np.sum(loss * gauss.z[chosen]) / total)
