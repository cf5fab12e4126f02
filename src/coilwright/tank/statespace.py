"""The switched network as an exact linear system: x' = A x + B u between two switchings.

Capacitor voltages and inductor currents are the states; everything else follows from Kirchhoff's laws. Where inductors
meet in a node without another path, or capacitors close a loop, the states depend on each other: the dependence is found
from the null space of the equations and taken out, so every chain of parts can be stepped. Values are scaled to the size
of the tank first, which keeps milliohms and kilohms in one well-conditioned matrix.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm, null_space

from coilwright.errors import BadInput, Fault
from coilwright.tank import network as net

Array = NDArray[np.floating[Any]]
RANK_TOLERANCE = 1e-11


@dataclass(frozen=True)
class StateSpace:
    """x' = a x + b u; watched quantities = c x + d u, named "v NODE" (V) and "i ELEMENT" (A).

    x (n,) has energy scaling, x.x/2 = stored energy (J) whatever the form of the network; `lift` (s, n) gives the full
    state (one entry per capacitor and inductor, sqrt(C) v and sqrt(L) i) and `drop` its inverse on consistent states.
    """

    a: Array
    b: Array
    c: Array
    d: Array
    lift: Array
    drop: Array
    watched: tuple[str, ...]
    sources: tuple[str, ...]

    def index(self, name: str) -> int:
        return self.watched.index(name)

    def step(self, duration: float) -> tuple[Array, Array]:
        """(phi, gamma) with x(t + duration) = phi x(t) + gamma u for a constant u: exact, by the matrix exponential."""
        n, m = self.b.shape
        block = np.zeros((n + m, n + m))
        block[:n, :n], block[:n, n:] = self.a, self.b
        whole = expm(block * duration)
        return whole[:n, :n], whole[:n, n:]

    def modes(self) -> Any:
        """Natural frequencies: eigenvalues of a (1/s, complex)."""
        return np.linalg.eigvals(self.a)

    def move(self, x: Array, other: StateSpace) -> Array:
        """The same charges and fluxes in another switching state of the network.

        Raises BadInput when they cannot be kept: a current through an inductor would have to jump.
        """
        full = self.lift @ x
        moved: Array = other.drop @ full
        if np.abs(other.lift @ moved - full).max(initial=0.0) > 1e-6 * max(np.abs(full).max(initial=0.0), 1e-30):
            raise BadInput(
                Fault(
                    "tank",
                    "the bridge would have to make a current jump through an inductance in series with it; "
                    "start-up of a current-fed bridge needs the tank capacitors straight at its terminals",
                )
            )
        return moved


@dataclass(frozen=True)
class _Scaled:
    """Index of every unknown: node voltages, then one current per element but inductors, then inductor voltages."""

    nodes: dict[str, int]
    rows: dict[str, int]
    size: int


def realise(circuit: net.Circuit, frequency: float) -> StateSpace:
    """The circuit as a state space; `frequency` (Hz) only sets the scale, near the working frequency.

    Allowed: resistors, inductors, coupled inductors, capacitors without loss tangent, ideal transformers, sources. Raises
    BadInput when a source stands straight across a capacitor or in series with an inductor only.
    """
    elements = [e for e in circuit.elements if not isinstance(e, net.Coupled)]
    for e in elements:
        if isinstance(e, (net.General, net.Line)) or (isinstance(e, net.Capacitor) and e.loss_tangent != 0.0):
            raise BadInput(
                Fault(f"circuit: {e.name}", "holds in the frequency domain only; give its lumped R, L, C for stepping")
            )
    tau = 1.0 / (2.0 * np.pi * frequency)
    ohms = _scale(elements)
    keys = {name: k for k, name in enumerate(circuit.nodes)}
    where = _Scaled(keys, {e.name: len(keys) + k for k, e in enumerate(elements)}, len(keys) + len(elements))
    stores: list[Any] = [e for e in elements if isinstance(e, (net.Capacitor, net.Inductor))]
    drivers: list[Any] = [e for e in elements if isinstance(e, (net.VoltageSource, net.CurrentSource))]
    m, n_mat, p_mat = _equations(elements, stores, drivers, where, ohms)
    root = _store_matrix(circuit, stores, ohms, tau)
    # s = root (v or i); s' = root^{-1} (i or v)
    n_mat = n_mat @ np.linalg.inv(root)
    pick = np.zeros((len(stores), where.size))
    for k, e in enumerate(stores):
        pick[k, where.rows[e.name]] = 1.0
    rate = np.linalg.inv(root).T @ pick
    lift = _independent(m, n_mat, p_mat)
    a, b, y_x, y_u = _solve(m, n_mat, p_mat, rate, lift)
    return _assemble(circuit, elements, stores, drivers, where, ohms, tau, root, lift, (a, b, y_x, y_u))


def _scale(elements: list[Any]) -> float:
    """A typical impedance (ohm): sqrt(L/C) of the mean inductance and capacitance, 1 where one kind is missing."""
    henries = [e.inductance for e in elements if isinstance(e, net.Inductor) and e.inductance > 0.0]
    farads = [e.capacitance for e in elements if isinstance(e, net.Capacitor)]
    if not henries or not farads:
        return 1.0
    return float(np.sqrt(np.exp(np.mean(np.log(henries)) - np.mean(np.log(farads)))))


def _equations(
    elements: list[Any], stores: list[Any], drivers: list[Any], where: _Scaled, ohms: float
) -> tuple[Array, Array, Array]:
    """M y + N v + P u = 0 with v the capacitor voltages and (scaled) inductor currents."""
    size = where.size
    m, n, p = np.zeros((size, size)), np.zeros((size, len(stores))), np.zeros((size, len(drivers)))

    def kcl(node: str, column: int, value: float, into: Array) -> None:
        if node != net.GROUND:
            into[where.nodes[node], column] += value

    def across(row: int, plus: str, minus: str, value: float) -> None:
        for node, sign in ((plus, value), (minus, -value)):
            if node != net.GROUND:
                m[row, where.nodes[node]] += sign

    for e in elements:
        row = where.rows[e.name]
        if isinstance(e, net.Inductor):
            k = stores.index(e)
            kcl(e.plus, k, 1.0, n)
            kcl(e.minus, k, -1.0, n)
            across(row, e.plus, e.minus, 1.0)
            m[row, row] = -1.0
            continue
        if isinstance(e, net.CurrentSource):
            k = drivers.index(e)
            kcl(e.plus, k, -1.0, p)
            kcl(e.minus, k, 1.0, p)
            m[row, row], p[row, k] = 1.0, 1.0
            continue
        kcl(e.plus, row, 1.0, m)
        kcl(e.minus, row, -1.0, m)
        if isinstance(e, net.Resistor):
            size_r = max(1.0, e.resistance / ohms)
            across(row, e.plus, e.minus, 1.0 / size_r)
            m[row, row] = -e.resistance / ohms / size_r
        elif isinstance(e, net.Capacitor):
            across(row, e.plus, e.minus, 1.0)
            n[row, stores.index(e)] = -1.0
        elif isinstance(e, net.VoltageSource):
            across(row, e.plus, e.minus, 1.0)
            p[row, drivers.index(e)] = -1.0
        else:
            across(row, e.plus, e.minus, 1.0)
            across(row, e.plus2, e.minus2, -e.ratio)
            kcl(e.plus2, row, -e.ratio, m)
            kcl(e.minus2, row, e.ratio, m)
    return m, n, p


def _store_matrix(circuit: net.Circuit, stores: list[Any], ohms: float, tau: float) -> Array:
    """Upper Cholesky factor of the scaled store matrix (C and the inductance matrix with its mutuals)."""
    matrix = np.zeros((len(stores), len(stores)))
    place = {e.name: k for k, e in enumerate(stores)}
    for k, e in enumerate(stores):
        matrix[k, k] = e.capacitance * ohms / tau if isinstance(e, net.Capacitor) else e.inductance / (ohms * tau)
    for e in circuit.elements:
        if isinstance(e, net.Coupled):
            i, j = place[e.first], place[e.second]
            matrix[i, j] = matrix[j, i] = e.mutual / (ohms * tau)
    try:
        root = np.linalg.cholesky(matrix).T
    except np.linalg.LinAlgError:
        raise BadInput(
            Fault("circuit", "inductances and capacitances must be above zero and couplings below one")
        ) from None
    return root


def _independent(m: Array, n: Array, p: Array) -> Array:
    """Basis (orthonormal columns) of the states that Kirchhoff's laws allow."""
    left = null_space(m.T, rcond=RANK_TOLERANCE)
    if left.shape[1] == 0:
        return np.eye(n.shape[1])
    if np.abs(left.T @ p).max(initial=0.0) > 1e-8:
        raise BadInput(
            Fault(
                "circuit",
                "a source stands straight across a capacitor or in series with an inductance only; a switched "
                "source then gives an infinite current or voltage; put in the bridge or lead resistance",
            )
        )
    constraint = left.T @ n
    return null_space(constraint, rcond=1e-9) if np.abs(constraint).max(initial=0.0) > 1e-12 else np.eye(n.shape[1])


def _solve(m: Array, n: Array, p: Array, rate: Array, lift: Array) -> tuple[Array, Array, Array, Array]:
    """z' = a z + b u and y = y_x z + y_u u from  lift z' - rate y = 0,  m y = -n lift z - p u."""
    size, states = m.shape[0], lift.shape[1]
    whole = np.zeros((lift.shape[0] + size, states + size))
    whole[: lift.shape[0], :states], whole[: lift.shape[0], states:] = lift, -rate
    whole[lift.shape[0] :, states:] = m
    right = np.zeros((whole.shape[0], states + p.shape[1]))
    right[lift.shape[0] :, :states], right[lift.shape[0] :, states:] = -n @ lift, -p
    answer = np.linalg.lstsq(whole, right, rcond=1e-13)[0]
    return answer[:states, :states], answer[:states, states:], answer[states:, :states], answer[states:, states:]


def _assemble(
    circuit: net.Circuit,
    elements: list[Any],
    stores: list[Any],
    drivers: list[Any],
    where: _Scaled,
    ohms: float,
    tau: float,
    root: Array,
    lift: Array,
    solved: tuple[Array, Array, Array, Array],
) -> StateSpace:
    """Undo the scaling: volts, amperes, seconds, and states in sqrt(joule)."""
    a, b, y_x, y_u = solved
    joule = np.sqrt(tau / ohms)  # scaled energy is V^2; energy = V^2 tau / ohms
    into = np.array([1.0 if isinstance(e, net.VoltageSource) else ohms for e in drivers])
    names = [f"v {node}" for node in circuit.nodes] + [f"i {e.name}" for e in elements]
    volts = np.ones(len(names))
    volts[len(circuit.nodes) :] = 1.0 / ohms
    c, d = y_x * volts[:, None] / joule, y_u * volts[:, None] * into[None, :]
    currents = np.linalg.inv(root) @ lift
    for e in elements:
        if isinstance(e, net.Inductor):
            c[where.rows[e.name]] = currents[stores.index(e)] / ohms / joule
            d[where.rows[e.name]] = 0.0
    return StateSpace(
        a / tau,
        b * joule * into[None, :] / tau,
        c,
        d,
        lift,
        np.linalg.pinv(lift),
        tuple(names),
        tuple(e.name for e in drivers),
    )


def stepper(space: StateSpace) -> Callable[[float], tuple[Array, Array]]:
    """`space.step` that remembers the durations it has met."""
    return lru_cache(maxsize=256)(space.step)
