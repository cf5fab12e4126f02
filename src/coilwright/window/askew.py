"""A coil out of line before its part, for any number of draws: power, what the terminals see, the cold and the hot side.

All of it comes from `coilwright.field.pose` (the coil's own surface currents, harmonics round the axis), evaluated at
some hundred poses and carried in between by a polynomial in the pose whose error is measured on poses of their own.

The hot and the cold side reach the margins as heat: at an azimuth phi a limit sees 1 + sum of kappa_n Re(q_n e^{in phi})
times the mean heat, q_n the unevenness of the loss that warms the place it reads, kappa_n what conduction round the axis
leaves of it by then. The section there is followed as if all of the part were heated so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from scipy.special import exp1

from coilwright.errors import BadInput, Fault
from coilwright.field.pose import PosePart
from coilwright.field.pose_heat import circumferential_temperature
from coilwright.field.pose_incident import Pose, pose_rows
from coilwright.heat.bands import STEFAN_BOLTZMANN
from coilwright.section.mesh import Mesh
from coilwright.section.quad9 import Array, BoolArray, IntArray
from coilwright.section.scene import Scene
from coilwright.window.circuit import Complex
from coilwright.window.margins import Limit

HARMONICS = 3
_AZIMUTHS = np.exp(2j * np.pi * np.outer(np.arange(1, HARMONICS + 1), np.arange(24)) / 24)
_DEGREES = (3, 4, 6)
ENOUGH, ROUGHLY_ENOUGH = 2e-4, 5e-4  # of the power: below it the lower degree serves
_LEAST_HEAT = 0.05  # of the mean: a side that gets less is as good as cold
_CHUNK = 20_000


@dataclass(frozen=True, eq=False)
class Side:
    """A place of a part that a limit reads. `weights` (e, q): how much of the loss in the section has come there in time;
    `left` (HARMONICS,): what conduction round the axis leaves of the unevenness; `cold`: whether the cold side decides.
    """

    weights: Array
    left: Array
    cold: bool

    def heat(self, q: Complex) -> Array:
        """(...,) heat at the deciding azimuth over the mean heat, from q (..., HARMONICS)."""
        around = 1.0 + ((q * self.left) @ _AZIMUTHS).real
        return np.asarray(np.maximum(around.min(axis=-1) if self.cold else around.max(axis=-1), _LEAST_HEAT))


def sides_of(part: PosePart, drawn: Scene, limits: Sequence[Limit], on_time: float) -> tuple[Side | None, ...]:
    """For every limit the place it reads, or None where no side matters (means, and bodies without eddy currents)."""
    mesh = part.state.reduced.live.interior.mesh
    out: list[Side | None] = []
    for x in limits:
        at = "" if x.criterion is None else x.criterion.at
        if x.body not in mesh.regions or at == "mean":
            out.append(None)
            continue
        cold = at == "coldest" or (at != "hottest" and not x.too_much)
        time = min(on_time, float(x.deadline(on_time)))
        temperature = 0.5 * (drawn.start_temperature(x.body) + max(x.limit, 400.0))
        out.append(_side(part, drawn, x.body, cold, max(time, 1e-3), temperature))
    return tuple(out)


def _side(part: PosePart, drawn: Scene, body: str, cold: bool, time: float, temperature: float) -> Side:
    state = part.state
    mesh = state.reduced.live.interior.mesh
    elements = mesh.elements(body)
    gauss, loss = mesh.gauss, state.loss_density[elements]
    r, z = gauss.r[elements], gauss.z[elements]
    ring, area = r * gauss.weight[elements], float(np.sum(gauss.weight[elements]))
    material = drawn.materials[body]
    conductivity = float(material.thermal_conductivity(np.array([temperature]))[0])
    store = float(material.volumetric_heat(np.array([temperature]))[0])
    place = np.unravel_index(np.argmin(loss) if cold else np.argmax(loss), loss.shape)
    spread = conductivity / store
    away = (r - r[place]) ** 2 + (z - z[place]) ** 2 + 1e-4 * area
    # heat set free all the time at a distance d arrives as E1(d^2 / 4 a t) / 4 pi a until it has filled the section, and
    # evenly from then on (Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), 10.4, from memory)
    local = min(time, area / (4.0 * math.pi * spread))
    arrived = exp1(away / (4.0 * spread * local)) / (4.0 * math.pi * spread) + (time - local) / area
    weights = np.zeros(state.loss_density.shape)
    weights[elements] = ring * np.maximum(arrived / time, 1e-290)
    radius = float(np.sum(loss * ring * r) / np.sum(loss * ring)) if loss.any() else float(r.mean())
    own = Mesh(mesh.points, mesh.quads[elements], mesh.region[elements], mesh.regions)
    given = drawn.job.body(body)
    emissivity = (
        float(material.emissivity(np.array([temperature]))[0]) if given.emissivity is None else given.emissivity
    )
    film = drawn.job.surroundings.convection if given.space == "air" else 0.0
    off = (4.0 * emissivity * STEFAN_BOLTZMANN * temperature**3 + film) * own.surface_area() / (2.0 * math.pi * radius)
    return Side(weights, _left(radius, area, conductivity, off, store, time), cold)


def _left(radius: float, area: float, conductivity: float, off: float, store: float, time: float) -> Array:
    angle = 2.0 * np.pi * np.arange(16) / 16
    out = []
    for n in range(1, HARMONICS + 1):
        rise = circumferential_temperature(
            1.0 + np.cos(n * angle), radius=radius, area=area, conductivity=conductivity, loss_coefficient=off,
            heat_capacity=store, time=time,
        )  # fmt: skip
        out.append(rise[0] / rise.mean() - 1.0)
    return np.array(out)


def side_heat(part: PosePart, sides: Sequence[Side | None], pose: Pose) -> Array:
    """(limits,) heat that every limit sees at one pose over the mean heat."""
    out = np.ones(len(sides))
    used = [k for k, s in enumerate(sides) if s is not None]
    if used:
        q = part.side_harmonics(pose, np.array([s.weights for s in sides if s is not None]), HARMONICS)
        for row, k in zip(q, used, strict=True):
            side = sides[k]
            if side is not None:
                out[k] = side.heat(row)
    return out


@dataclass(frozen=True, eq=False)
class Askew:
    """n draws of a coil out of line against the same coil in line at the same height: `coupling` (root of the power),
    `resistance` and `inductance` of what the part adds to its coil, `heat` (n, limits) at the deciding side."""

    coupling: Array
    resistance: Array
    inductance: Array
    heat: Array


@dataclass(frozen=True, eq=False)
class AskewTable:
    """Polynomials over a box of poses. `half` (4,): reach in height, offset (m) and both tilts (rad), 0 where fixed.

    `error`: largest miss of power and of side heat on poses that were not fitted, relative.
    """

    half: Array
    powers: IntArray
    coefficients: Array
    sides: tuple[Side | None, ...]
    error: float
    poses: int

    @staticmethod
    def of(
        part: PosePart, work: Sequence[str], sides: tuple[Side | None, ...], half: Array, pivot: float,
        clear: Callable[[Array], BoolArray], enough: float = ENOUGH,
    ) -> AskewTable:  # fmt: skip
        """Fit over poses within `half`; of higher degree where the lower one misses more than `enough` of the power. `clear`
        tells of poses (n, 6) whether the coil stands clear of the part: others are not asked. Raises BadInput when few are.
        """
        active = np.flatnonzero(half > 0.0)
        rng = np.random.default_rng(7)
        x, y = np.zeros((0, len(active))), np.zeros((0, 0))
        for degree in _DEGREES:
            powers = _powers(len(active), degree)
            wanted = 2 * len(powers) + 24
            more = _clear_places(half, active, pivot, wanted - len(x), clear, rng)
            rows = _pose_rows(half, active, more, pivot)
            z = _outputs(part, work, sides, rows)
            x, y = np.concatenate([x, more]), np.concatenate([y.reshape(-1, z.shape[1]), z])
            fitted, kept = slice(0, len(x) - 24), slice(len(x) - 24, None)
            terms = _terms(x, powers)
            c = _squares(terms[fitted], y[fitted])
            told = AskewTable(half, powers, c, sides, 0.0, len(x))
            miss = told._miss(terms[kept] @ c, y[kept])
            if miss < enough:
                break
        return AskewTable(half, powers, _squares(terms, y), sides, miss, len(x))

    def _miss(self, got: Array, wanted: Array) -> float:
        one, other = self._unpack(got), self._unpack(wanted)
        power = np.abs((one.coupling / other.coupling) ** 2 - 1.0).max()
        return float(max(power, np.abs(one.heat / other.heat - 1.0).max()))

    def __call__(self, axial: Array, sideways: Array, tilt: Array, across: Array) -> Askew:
        """At poses (n,) of height against the drawing and offset (m), tilt with the offset and across it (rad)."""
        active = np.flatnonzero(self.half > 0.0)
        given = (axial, sideways, tilt, across)
        x = np.column_stack([given[k] / self.half[k] for k in active])
        parts = [self._unpack(_terms(x[k : k + _CHUNK], self.powers) @ self.coefficients)
                 for k in range(0, len(x), _CHUNK)]  # fmt: skip
        return Askew(*(np.concatenate([getattr(p, n) for p in parts]) for n in Askew.__dataclass_fields__))

    def _unpack(self, y: Array) -> Askew:
        heat = np.ones((len(y), len(self.sides)))
        column = 3
        for k, side in enumerate(self.sides):
            if side is not None:
                q = y[:, column : column + 2 * HARMONICS]
                heat[:, k] = side.heat(q[:, :HARMONICS] + 1j * q[:, HARMONICS:])
                column += 2 * HARMONICS
        return Askew(np.exp(0.5 * y[:, 0]), y[:, 1], y[:, 2], heat)

    def ends(self) -> tuple[float, float]:
        """Least and most of what a limit can see: coupling times the root of the side's heat, over the box."""
        active = np.flatnonzero(self.half > 0.0)
        x = np.zeros((1500, 4))
        x[:, active] = np.random.default_rng(8).uniform(-1.0, 1.0, (1500, len(active))) * self.half[active]
        seen = self(*x.T)
        level = np.concatenate([seen.coupling[:, None], seen.coupling[:, None] * np.sqrt(seen.heat)], axis=1)
        return float(level.min()), float(level.max())


def _clear_places(
    half: Array,
    active: IntArray,
    pivot: float,
    count: int,
    clear: Callable[[Array], BoolArray],
    rng: np.random.Generator,
) -> Array:
    """(count, d) places -1..1, denser towards the ends as polynomials want them, at which the coil clears the part."""
    kept = np.zeros((0, len(active)))
    for _ in range(8):
        x = np.cos(np.pi * rng.random((count, len(active))))
        kept = np.concatenate([kept, x[clear(_pose_rows(half, active, x, pivot))]])
        if len(kept) >= count:
            return kept[:count]
    what = "are so wide that the coil would mostly stand in the part; narrow them or widen the gap"
    raise BadInput(Fault("varies: coil.sideways, coil.tilt", what))


def _squares(terms: Array, y: Array) -> Array:
    return np.asarray(np.linalg.lstsq(terms, y, rcond=None)[0], dtype=np.float64)


def _pose_rows(half: Array, active: IntArray, x: Array, pivot: float) -> Array:
    at = np.zeros((len(x), 4))
    at[:, active] = x * half[active]
    rows = np.zeros((len(x), 6))
    rows[:, 2], rows[:, 0], rows[:, 4], rows[:, 3], rows[:, 5] = *at.T, pivot
    return rows


def _outputs(part: PosePart, work: Sequence[str], sides: Sequence[Side | None], rows: Array) -> Array:
    power, added = part.answers(rows, work)
    line = np.zeros_like(rows)
    line[:, 2], line[:, 5] = rows[:, 2], rows[:, 5]
    power_0, added_0 = part.answers(line if rows[:, 2].any() else line[:1], work)
    out = [np.log(power / power_0), added.real / added_0.real, added.imag / added_0.imag]
    used = [s.weights for s in sides if s is not None]
    if not used:
        return np.column_stack(out)
    q = np.array([part.side_harmonics(Pose(*row), np.array(used), HARMONICS) for row in pose_rows(rows)])
    unevenness = np.concatenate([q.real, q.imag], axis=2).reshape(len(rows), -1)
    return np.column_stack([*out, unevenness])


def _powers(d: int, degree: int) -> IntArray:
    """(terms, degree) columns of (1, x) whose product is a term."""
    return np.array(list(combinations_with_replacement(range(d + 1), degree)), dtype=np.int64)


def _terms(x: Array, powers: IntArray) -> Array:
    """(n, terms); every term is one of lower degree times one more column."""
    columns = np.concatenate([np.ones((len(x), 1)), x], axis=1)
    out = columns[:, powers[:, 0]]
    for k in range(1, powers.shape[1]):
        out *= columns[:, powers[:, k]]
    return out
