"""A circuit as text in the open SPICE syntax, so that any such simulator can check it.

Numbers are printed with 17 digits. What SPICE has no element for is printed at one frequency: a loss tangent becomes a
series resistance tan delta/(omega C), a general impedance its R and L (or C) there; an ideal transformer is a pair of
controlled sources with an ammeter; a line is printed as its exact pi at that frequency for an ac analysis.
"""

from __future__ import annotations

import math
import re

from coilwright.tank.chain import CoilImpedance, build_chain, to_circuit
from coilwright.tank.formulas import line_two_port
from coilwright.tank.inputs import TankInput
from coilwright.tank.network import (
    GROUND,
    Capacitor,
    Circuit,
    Coupled,
    CurrentSource,
    Element,
    General,
    IdealTransformer,
    Inductor,
    Line,
    Resistor,
    VoltageSource,
)


def netlist(circuit: Circuit, frequency: float) -> str:
    """The elements of `circuit`, one card each, valid at `frequency` (Hz); no analysis command, no `.end`.

    Sources carry their rms phasor as the ac amplitude, so printed results are rms too.
    """
    inductances = {e.name: e.inductance for e in circuit.elements if isinstance(e, Inductor)}
    lines = [f"* {circuit.title}", f"* frequency-dependent parts are printed at {frequency:.12g} Hz; sources are rms"]
    for e in circuit.elements:
        if isinstance(e, Coupled):
            k = e.mutual / math.sqrt(inductances[e.first] * inductances[e.second])
            lines.append(f"K{_word(e.name)} L{_word(e.first)} L{_word(e.second)} {k:.17g}")
        else:
            lines += _cards(e, frequency)
    return "\n".join(lines) + "\n"


def tank_netlist(tank: TankInput, coil: CoilImpedance | tuple[float, float], frequency: float, amplitude: float) -> str:
    """The whole tank with its source and coil as one ac deck at `frequency` (Hz), for a person to run or to keep.

    `amplitude`: rms of the fundamental, V of a voltage-fed or A of a current-fed source (see OperatingPoint: the source's
    voltage or current). coil: Z(f), one impedance, or (R, L).
    """
    source: VoltageSource | CurrentSource = VoltageSource("drive", "s", GROUND, amplitude)
    if tank.source is not None and tank.source.current_fed:
        source = CurrentSource("drive", "s", GROUND, amplitude)
    return ac_deck(to_circuit(build_chain(tank), coil, source), frequency)


def ac_deck(circuit: Circuit, frequency: float, nodes: tuple[str, ...] = ()) -> str:
    """A complete deck that prints real and imaginary part of the node voltages at one frequency (all when none named)."""
    names = nodes or circuit.nodes
    prints = "\n".join(f"print v({node_word(n)})" for n in names)
    return (
        f"{netlist(circuit, frequency)}.control\nset numdgt=12\noption reltol=1e-9\n"
        f"ac lin 1 {frequency:.17g} {frequency:.17g}\n{prints}\nquit 0\n.endc\n.end\n"
    )


def _word(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "_", name).lower()


def node_word(node: str) -> str:
    """A node's name as it stands in the netlist."""
    return "0" if node == "0" else "n_" + _word(node)


def _cards(e: Element, frequency: float) -> list[str]:
    omega = 2.0 * math.pi * frequency
    name = _word(e.name)
    p = node_word(e.plus)  # type: ignore[union-attr]  # couplings never come here
    if isinstance(e, Line):
        return _line_cards(e, omega, name)
    m = node_word(e.minus)  # type: ignore[union-attr]
    if isinstance(e, Resistor):
        return [f"R{name} {p} {m} {e.resistance:.17g}"]
    if isinstance(e, Inductor):
        return [f"L{name} {p} {m} {e.inductance:.17g}"]
    if isinstance(e, Capacitor):
        resistance = e.loss_tangent / (omega * e.capacitance)
        if resistance == 0.0:
            return [f"C{name} {p} {m} {e.capacitance:.17g}"]
        inner = f"i_{name}"
        return [f"R{name}_esr {p} {inner} {resistance:.17g}", f"C{name} {inner} {m} {e.capacitance:.17g}"]
    if isinstance(e, General):
        return _impedance_cards(name, p, m, complex(e.impedance(frequency)), omega)
    if isinstance(e, VoltageSource):
        return [f"V{name} {p} {m} dc 0 ac {abs(e.voltage):.17g} {_degrees(e.voltage)}"]
    if isinstance(e, CurrentSource):
        # SPICE counts a source's current from plus through the source to minus
        return [f"I{name} {m} {p} dc 0 ac {abs(e.current):.17g} {_degrees(e.current)}"]
    return _transformer_cards(e, name, p, m)  # type: ignore[arg-type]


def _degrees(value: complex) -> str:
    z = complex(value)
    return f"{math.degrees(math.atan2(z.imag, z.real)):.17g}"


def _transformer_cards(e: IdealTransformer, name: str, p: str, m: str) -> list[str]:
    p2, m2, inner = node_word(e.plus2), node_word(e.minus2), f"i_{name}"
    return [
        f"E{name} {inner} {m2} {p} {m} {1.0 / e.ratio:.17g}",
        f"V{name}_amp {inner} {p2} dc 0",
        f"F{name} {p} {m} V{name}_amp {1.0 / e.ratio:.17g}",
    ]


def _impedance_cards(name: str, p: str, m: str, z: complex, omega: float) -> list[str]:
    inner = f"i_{name}"
    if z.imag >= 0.0:
        reactive = f"L{name} {inner} {m} {z.imag / omega:.17g}"
    else:
        reactive = f"C{name} {inner} {m} {-1.0 / (omega * z.imag):.17g}"
    if z.imag == 0.0:
        return [f"R{name} {p} {m} {z.real:.17g}"]
    return [f"R{name} {p} {inner} {z.real:.17g}", reactive]


def _line_cards(e: Line, omega: float, name: str) -> list[str]:
    """The exact pi of the line: series B, and (A - 1)/B to earth at either end."""
    a, b, _ = line_two_port(omega, e.length, e.resistance, e.inductance, e.capacitance)
    p, q = node_word(e.plus), node_word(e.plus2)
    cards = _impedance_cards(f"{name}_s", p, q, b, omega)
    shunt = (a - 1.0) / b
    if shunt != 0.0:
        for end, node in (("a", p), ("b", q)):
            cards += _shunt_cards(f"{name}_{end}", node, shunt, omega)
    return cards


def _shunt_cards(name: str, node: str, y: complex, omega: float) -> list[str]:
    """An admittance to earth: its conductance (either sign) beside its capacitance."""
    cards = [f"C{name} {node} 0 {y.imag / omega:.17g}"]
    if y.real != 0.0:
        cards.append(f"G{name} {node} 0 {node} 0 {y.real:.17g}")
    return cards
