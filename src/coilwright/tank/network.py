"""One small phasor network solver for every tank: modified nodal analysis, vectorised over frequency.

Source of the method: C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis", IEEE
Trans. Circuits and Systems 22 (1975) 504-509. Phasors are rms, time dependence e^{+j omega t}. Node "0" is the reference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.tank.formulas import line_two_port

ComplexArray = NDArray[Any]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Resistor:
    name: str
    plus: str
    minus: str
    resistance: float


@dataclass(frozen=True)
class Inductor:
    """Self-inductance (H); zero is allowed and is a wire whose current is known."""

    name: str
    plus: str
    minus: str
    inductance: float


@dataclass(frozen=True)
class Coupled:
    """Mutual inductance M (H) between two inductors named before it; positive when both dots are at `plus`."""

    name: str
    first: str
    second: str
    mutual: float


@dataclass(frozen=True)
class Capacitor:
    """Capacitance (F) with loss tangent: impedance (tan delta - j)/(omega C), that is ESR = tan delta/(omega C)."""

    name: str
    plus: str
    minus: str
    capacitance: float
    loss_tangent: float = 0.0


@dataclass(frozen=True)
class General:
    """A two-terminal impedance given as a function of frequency (Hz, scalar) in ohm."""

    name: str
    plus: str
    minus: str
    impedance: Callable[[float], complex]


@dataclass(frozen=True)
class VoltageSource:
    name: str
    plus: str
    minus: str
    voltage: complex


@dataclass(frozen=True)
class CurrentSource:
    """Drives `current` (A) out of `plus` into the circuit."""

    name: str
    plus: str
    minus: str
    current: complex


@dataclass(frozen=True)
class IdealTransformer:
    """V(plus, minus) = ratio V(plus2, minus2); current in at plus times ratio comes out at plus2."""

    name: str
    plus: str
    minus: str
    plus2: str
    minus2: str
    ratio: float


@dataclass(frozen=True)
class Line:
    """Uniform lossy line between (plus, 0) and (plus2, 0); R', L', C' per metre."""

    name: str
    plus: str
    plus2: str
    length: float
    resistance: float
    inductance: float
    capacitance: float


Element = Resistor | Inductor | Coupled | Capacitor | General | VoltageSource | CurrentSource | IdealTransformer | Line
GROUND = "0"


@dataclass(frozen=True)
class Circuit:
    """A list of elements; names must differ and every mutual inductance must name two inductors."""

    elements: tuple[Element, ...]
    title: str = "tank"

    def __post_init__(self) -> None:
        names = [e.name for e in self.elements]
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise BadInput(Fault(f"circuit {self.title}", f"element names must differ; {', '.join(twice)} stand twice"))
        inductors = {e.name for e in self.elements if isinstance(e, Inductor)}
        for e in self.elements:
            if isinstance(e, Coupled) and not {e.first, e.second} <= inductors:
                raise BadInput(
                    Fault(f"circuit {self.title}: {e.name}", "couples inductors that are not in the circuit")
                )

    @property
    def nodes(self) -> tuple[str, ...]:
        """All nodes but the reference, in order of appearance."""
        seen: dict[str, None] = {}
        for e in self.elements:
            for key in ("plus", "minus", "plus2", "minus2"):
                node = getattr(e, key, GROUND)
                if node != GROUND:
                    seen[node] = None
        return tuple(seen)


@dataclass(frozen=True)
class AcResult:
    """Phasors (rms): `node_voltages[name]` (n,) V, `voltages[element]` and `currents[element]` (plus to minus), (n,)."""

    frequencies: FloatArray
    node_voltages: dict[str, ComplexArray]
    voltages: dict[str, ComplexArray]
    currents: dict[str, ComplexArray]
    losses: dict[str, FloatArray]

    def power(self, name: str) -> ComplexArray:
        """Complex power (VA) going into an element, V conj(I); negative real part: it delivers."""
        result: ComplexArray = self.voltages[name] * np.conj(self.currents[name])
        return result


class _Stamps:
    """The matrices of all frequencies at once, (n, size, size) and (n, size)."""

    def __init__(self, nodes: Sequence[str], extra: int, count: int) -> None:
        self.index = {GROUND: -1, **{name: k for k, name in enumerate(nodes)}}
        size = len(nodes) + extra
        self.matrix = np.zeros((count, size, size), complex)
        self.right = np.zeros((count, size), complex)

    def add(self, row: int, column: int, value: Any) -> None:
        if row >= 0 and column >= 0:
            self.matrix[:, row, column] += value

    def branch(self, row: int, plus: str, minus: str) -> None:
        """An unknown current leaving `plus`, and the voltage between the nodes in its own equation."""
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            self.add(self.index[node], row, sign)
            self.add(row, self.index[node], sign)


def solve_ac(circuit: Circuit, frequencies: Any) -> AcResult:
    """Node voltages, branch currents and losses at every frequency (Hz, > 0, scalar or (n,)).

    Raises BadInput when the network has no unique solution (a floating part, a loop of voltage sources).
    """
    f = np.atleast_1d(np.asarray(frequencies, float))
    omega = 2.0 * np.pi * f
    nodes = circuit.nodes
    # every branch but a line keeps its current as an unknown: summed admittances of milliohms would drown the rest
    carriers = [e for e in circuit.elements if not isinstance(e, (Coupled, Line, CurrentSource))]
    row = {e.name: len(nodes) + k for k, e in enumerate(carriers)}
    stamps = _Stamps(nodes, len(carriers), len(f))
    known: dict[str, Any] = {}
    for e in circuit.elements:
        _stamp(stamps, e, f, omega, row, known)
    try:
        solution = np.linalg.solve(stamps.matrix, stamps.right[..., None])[..., 0]
    except np.linalg.LinAlgError:
        raise BadInput(
            Fault(
                f"circuit {circuit.title}",
                "has no unique solution; look for a part that floats or a loop of voltage sources",
            )
        ) from None
    zero = np.zeros(len(f), complex)
    node_voltages = {name: solution[:, k] for k, name in enumerate(nodes)}
    at = {GROUND: zero, **node_voltages}
    return _collect(circuit, f, at, solution, row, known)


def _stamp(
    s: _Stamps, e: Element, f: FloatArray, omega: FloatArray, row: dict[str, int], known: dict[str, Any]
) -> None:
    if isinstance(e, Coupled):
        a, b = row[e.first], row[e.second]
        s.add(a, b, -1j * omega * e.mutual)
        s.add(b, a, -1j * omega * e.mutual)
    elif isinstance(e, (Resistor, Inductor, Capacitor, General)):
        s.branch(row[e.name], e.plus, e.minus)
        s.add(row[e.name], row[e.name], -_branch_impedance(e, f, omega))
    elif isinstance(e, VoltageSource):
        s.branch(row[e.name], e.plus, e.minus)
        s.right[:, row[e.name]] += e.voltage
    elif isinstance(e, CurrentSource):
        for node, sign in ((e.plus, 1.0), (e.minus, -1.0)):
            if node != GROUND:
                s.right[:, s.index[node]] += sign * e.current
    elif isinstance(e, IdealTransformer):
        _stamp_transformer(s, e, row[e.name])
    else:
        known[e.name] = _stamp_line(s, e, omega)


def _branch_impedance(e: Resistor | Inductor | Capacitor | General, f: FloatArray, omega: FloatArray) -> Any:
    if isinstance(e, Resistor):
        return e.resistance
    if isinstance(e, Inductor):
        return 1j * omega * e.inductance
    if isinstance(e, Capacitor):
        return (e.loss_tangent - 1j) / (omega * e.capacitance)
    return np.array([e.impedance(float(x)) for x in f], complex)


def _stamp_transformer(s: _Stamps, e: IdealTransformer, row: int) -> None:
    s.branch(row, e.plus, e.minus)
    for node, sign in ((e.plus2, -1.0), (e.minus2, 1.0)):
        s.add(s.index[node], row, sign * e.ratio)
        s.add(row, s.index[node], sign * e.ratio)


def _stamp_line(s: _Stamps, e: Line, omega: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    parts = [line_two_port(float(w), e.length, e.resistance, e.inductance, e.capacitance) for w in omega]
    a, b, _ = (np.array(x) for x in zip(*parts, strict=True))
    p, q = s.index[e.plus], s.index[e.plus2]
    for near, far in ((p, q), (q, p)):
        s.add(near, near, a / b)
        s.add(near, far, -1.0 / b)
    return a / b, -1.0 / b


def _collect(
    circuit: Circuit,
    f: FloatArray,
    at: dict[str, ComplexArray],
    solution: ComplexArray,
    row: dict[str, int],
    known: dict[str, Any],
) -> AcResult:
    voltages: dict[str, ComplexArray] = {}
    currents: dict[str, ComplexArray] = {}
    losses: dict[str, FloatArray] = {}
    for e in circuit.elements:
        if isinstance(e, Coupled):
            continue
        minus = GROUND if isinstance(e, Line) else e.minus
        v = at[e.plus] - at[minus]
        if isinstance(e, Line):
            own, cross = known[e.name]
            current = own * v + cross * at[e.plus2]
            far = own * at[e.plus2] + cross * v
            losses[e.name] = (v * np.conj(current) + at[e.plus2] * np.conj(far)).real
        elif isinstance(e, CurrentSource):
            current = np.full(len(f), -e.current, complex)
        else:
            current = solution[:, row[e.name]]
        if isinstance(e, (Resistor, Capacitor, General)):
            losses[e.name] = (v * np.conj(current)).real
        voltages[e.name], currents[e.name] = v, current
    return AcResult(f, {k: v for k, v in at.items() if k != GROUND}, voltages, currents, losses)
