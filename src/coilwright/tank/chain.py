"""Every arrangement is a chain from the source to the coil: in series, across, an ideal ratio, a length of line.

`impedance` folds the chain from the coil back to the source, `forward` carries voltage and current from the source to
the coil; both work on scalars (fast, for each step of a shot) and on arrays (frequency sweeps, thousands of banks).
`to_circuit` writes the same chain as a general network, which is how the folding is checked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from coilwright.tank import network as net
from coilwright.tank.formulas import line_two_port
from coilwright.tank.inputs import Bank, Cable, TankInput

CoilImpedance = Callable[[float], complex] | complex


@dataclass(frozen=True)
class Winding:
    """Resistance (ohm) and inductance (H) in series."""

    resistance: float
    inductance: float

    def impedance(self, omega: Any) -> Any:
        return self.resistance + 1j * omega * self.inductance


@dataclass(frozen=True)
class Core:
    """Magnetising inductance (H) and core-loss resistance (ohm) side by side; infinite = left out."""

    inductance: float
    resistance: float

    def impedance(self, omega: Any) -> Any:
        return 1.0 / (1.0 / self.resistance - 1j / (omega * self.inductance))


Kind = Literal["series", "shunt", "ideal", "line"]


@dataclass(frozen=True)
class Step:
    """One step of the chain; `part` is a Winding, Bank or Core (series, shunt), a ratio (ideal) or a Cable (line)."""

    kind: Kind
    name: str
    part: Any


Chain = tuple[Step, ...]


def build_chain(tank: TankInput) -> Chain:
    """The steps of `tank` from the source's terminals to the coil's; parts of zero impedance are left out."""
    steps: list[Step] = []
    source = tank.source
    _winding(steps, "bridge", source.resistance if source else 0.0, 0.0)
    if tank.block is not None:
        steps.append(Step("series", "block", tank.block))
    _winding(steps, "inductor", tank.inductor_resistance, tank.inductor_inductance)
    _cable(steps, tank.cable, "source")
    if tank.bank_side == "source":
        steps += _bank_steps(tank)
    steps += _transformer_steps(tank)
    if tank.bank_side == "coil":
        steps += _bank_steps(tank)
    _cable(steps, tank.cable, "coil")
    _winding(steps, "leads", tank.lead_resistance, tank.lead_inductance)
    return tuple(steps)


def _winding(steps: list[Step], name: str, resistance: float, inductance: float) -> None:
    if resistance != 0.0 or inductance != 0.0:
        steps.append(Step("series", name, Winding(resistance, inductance)))


def _cable(steps: list[Step], cable: Cable | None, place: str) -> None:
    if cable is None or cable.place != place or cable.length == 0.0:
        return
    if cable.capacitance == 0.0:
        _winding(steps, "cable", cable.resistance * cable.length, cable.inductance * cable.length)
    else:
        steps.append(Step("line", "cable", cable))


def _bank_steps(tank: TankInput) -> list[Step]:
    if tank.arrangement == "series":
        return [Step("series", "tank", tank.bank)]
    if tank.tap is not None:
        return [Step("shunt", "tap", tank.tap), Step("series", "tank", tank.bank)]
    return [Step("shunt", "tank", tank.bank)]


def _transformer_steps(tank: TankInput) -> list[Step]:
    t = tank.transformer
    if t is None:
        return []
    steps: list[Step] = []
    _winding(steps, "transformer source winding", t.source_resistance, t.source_leakage)
    if math.isfinite(t.magnetising_inductance) or math.isfinite(t.core_resistance):
        steps.append(Step("shunt", "transformer core", Core(t.magnetising_inductance, t.core_resistance)))
    steps.append(Step("ideal", "transformer", t.ratio))
    _winding(steps, "transformer coil winding", t.coil_resistance, t.coil_leakage)
    return steps


def impedance(chain: Chain, coil: Any, omega: Any) -> Any:
    """Impedance (ohm) the source sees with `coil` (ohm, complex) at the far end; omega rad/s; scalars or arrays."""
    z = coil
    for step in reversed(chain):
        kind = step.kind
        if kind == "series":
            z = z + step.part.impedance(omega)
        elif kind == "shunt":
            y = step.part.impedance(omega)
            z = z * y / (z + y)
        elif kind == "ideal":
            z = z * (step.part * step.part)
        else:
            a, b, c = _two_port(step.part, omega)
            z = (a * z + b) / (c * z + a)
    return z


def _two_port(cable: Cable, omega: Any) -> tuple[Any, Any, Any]:
    return line_two_port(omega, cable.length, cable.resistance, cable.inductance, cable.capacitance)


@dataclass(frozen=True, slots=True)
class Flow:
    """What one part carries, rms phasors: V across it (at its input when it is a line), A through it, VA that stay in it."""

    name: str
    voltage: Any
    current: Any
    power: Any

    @property
    def loss(self) -> Any:
        """W lost in the part."""
        return self.power.real


def forward(chain: Chain, coil: Any, omega: Any, current: Any) -> tuple[Any, list[Flow]]:
    """Source voltage (V) and the flow in every part, the coil last, when the source delivers `current` (A, rms phasor)."""
    seen = [coil]
    for step in reversed(chain):
        seen.append(impedance((step,), seen[-1], omega))
    seen.reverse()
    flows: list[Flow] = []
    i = current
    v = i * seen[0]
    for k, step in enumerate(chain):
        right = seen[k + 1]
        if step.kind == "series":
            z = step.part.impedance(omega)
            flows.append(Flow(step.name, i * z, i, _square(i) * z))
            v = i * right
        elif step.kind == "shunt":
            across = v / step.part.impedance(omega)
            flows.append(Flow(step.name, v, across, v * across.conjugate()))
            i = v / right
        elif step.kind == "ideal":
            v, i = v / step.part, i * step.part
        else:
            a, _, c = _two_port(step.part, omega)
            far = i / (c * right + a)
            flows.append(Flow(step.name, v, i, v * i.conjugate() - _square(far) * right))
            i = far
            v = far * right
    flows.append(Flow("coil", v, i, _square(i) * coil))
    return current * seen[0], flows


def _square(z: Any) -> Any:
    return z.real * z.real + z.imag * z.imag


def coil_at(coil: CoilImpedance, frequency: float) -> complex:
    """The coil's impedance (ohm) at a frequency (Hz)."""
    return complex(coil(frequency)) if callable(coil) else complex(coil)


def winding_coil(resistance: float, inductance: float) -> Callable[[float], complex]:
    """A coil of constant R (ohm) and L (H) as a function of frequency (Hz)."""
    return lambda frequency: complex(resistance, 2.0 * math.pi * frequency * inductance)


def to_circuit(
    chain: Chain,
    coil: CoilImpedance | tuple[float, float],
    source: net.Element | Sequence[net.Element],
    line_sections: int = 0,
    loss_frequency: float | None = None,
) -> net.Circuit:
    """The chain as a general network between node "s" (the source's terminal) and earth.

    coil: an impedance, or (R, L) constant. `source` is the element (or elements) that drives node "s". With
    line_sections > 0 a line becomes that many T sections, and with a loss_frequency (Hz) a loss tangent becomes the
    series resistance it is there: the form the time-domain stepping needs.
    """
    elements: list[net.Element] = list(source) if isinstance(source, Sequence) else [source]
    node = "s"
    for k, step in enumerate(chain):
        following = f"n{k + 1}"
        if step.kind == "series":
            elements += _branch(step, node, following, loss_frequency)
            node = following
        elif step.kind == "shunt":
            elements += _branch(step, node, net.GROUND, loss_frequency)
        elif step.kind == "ideal":
            elements.append(net.IdealTransformer(step.name, node, net.GROUND, following, net.GROUND, step.part))
            node = following
        else:
            elements += _line_elements(step, node, following, line_sections)
            node = following
    if isinstance(coil, tuple):
        elements += _series_parts("coil", node, net.GROUND, coil[0], coil[1])
    else:
        elements.append(net.General("coil", node, net.GROUND, lambda f: coil_at(coil, f)))
    return net.Circuit(tuple(elements))


def _series_parts(name: str, plus: str, minus: str, resistance: float, inductance: float) -> list[net.Element]:
    if resistance == 0.0:
        return [net.Inductor(f"{name} L", plus, minus, inductance)]
    if inductance == 0.0:
        return [net.Resistor(f"{name} R", plus, minus, resistance)]
    middle = f"{name} m"
    return [net.Resistor(f"{name} R", plus, middle, resistance), net.Inductor(f"{name} L", middle, minus, inductance)]


def _branch(step: Step, plus: str, minus: str, loss_frequency: float | None) -> list[net.Element]:
    part = step.part
    if isinstance(part, Winding):
        return _series_parts(step.name, plus, minus, part.resistance, part.inductance)
    if isinstance(part, Core):
        both: list[net.Element] = []
        if math.isfinite(part.resistance):
            both.append(net.Resistor(f"{step.name} R", plus, minus, part.resistance))
        if math.isfinite(part.inductance):
            both.append(net.Inductor(f"{step.name} L", plus, minus, part.inductance))
        return both
    return _bank_elements(step.name, part, plus, minus, loss_frequency)


def _bank_elements(name: str, bank: Bank, plus: str, minus: str, loss_frequency: float | None) -> list[net.Element]:
    elements: list[net.Element] = []
    for k, (r, ind, c, tan) in enumerate(bank.branch_terms):
        label = name if len(bank.groups) == 1 else f"{name} group {k + 1}"
        if loss_frequency is not None:
            r, tan = r + tan / (2.0 * math.pi * loss_frequency * c), 0.0
        if r == 0.0 and ind == 0.0:
            elements.append(net.Capacitor(f"{label} C", plus, minus, c, tan))
            continue
        elements += _series_parts(label, plus, f"{label} c", r, ind)
        elements.append(net.Capacitor(f"{label} C", f"{label} c", minus, c, tan))
    return elements


def _line_elements(step: Step, plus: str, far: str, sections: int) -> list[net.Element]:
    cable: Cable = step.part
    if sections == 0:
        return [net.Line(step.name, plus, far, cable.length, cable.resistance, cable.inductance, cable.capacitance)]
    elements: list[net.Element] = []
    piece = cable.length / sections
    node = plus
    for k in range(sections):
        middle, end = f"{step.name} t{k}", far if k == sections - 1 else f"{step.name} e{k}"
        half = (cable.resistance * piece / 2.0, cable.inductance * piece / 2.0)
        elements += _series_parts(f"{step.name} a{k}", node, middle, *half)
        elements.append(net.Capacitor(f"{step.name} C{k}", middle, net.GROUND, cable.capacitance * piece))
        elements += _series_parts(f"{step.name} b{k}", middle, end, *half)
        node = end
    return elements
