"""Folding the chain is the same as solving the network, and the network obeys the laws of networks."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coilwright.tank import network as net
from coilwright.tank.chain import build_chain, forward, impedance, to_circuit, winding_coil
from tests.tank.networks import CASES

ids = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
SOURCE = net.CurrentSource("source", "s", "0", 1.0)


@ids
def test_folding_equals_nodal_analysis(case):
    chain, coil = build_chain(case.tank), winding_coil(*case.coil)
    f = case.frequency * np.array([0.5, 0.97, 1.0, 1.03, 3.0])
    folded = impedance(chain, np.array([coil(x) for x in f]), 2 * np.pi * f)
    solved = net.solve_ac(to_circuit(chain, coil, SOURCE), f)
    assert np.allclose(solved.node_voltages["s"], folded, rtol=1e-12, atol=0)
    one = [impedance(chain, coil(x), 2 * math.pi * x) for x in f]
    assert np.allclose(one, folded, rtol=1e-13, atol=0)


@ids
def test_forward_pass_equals_nodal_analysis(case):
    chain, coil = build_chain(case.tank), winding_coil(*case.coil)
    omega = 2 * math.pi * case.frequency
    _, flows = forward(chain, coil(case.frequency), omega, 1.0 + 0j)
    solved = net.solve_ac(to_circuit(chain, coil, SOURCE), case.frequency)
    assert abs(solved.currents["coil"][0] - flows[-1].current) <= 1e-11 * abs(flows[-1].current)
    total = sum(float(v[0]) for v in solved.losses.values())
    assert sum(f.loss for f in flows) == pytest.approx(total, rel=1e-11)


@ids
def test_lumped_circuit_is_close_to_the_exact_one(case):
    chain, coil = build_chain(case.tank), winding_coil(*case.coil)
    exact = net.solve_ac(to_circuit(chain, coil, SOURCE), case.frequency).node_voltages["s"][0]
    lumped = net.solve_ac(to_circuit(chain, case.coil, SOURCE, 3, case.frequency), case.frequency).node_voltages["s"][0]
    assert abs(lumped - exact) <= 3e-6 * abs(exact)


@ids
def test_reciprocity(case):
    """A current at the source's node and one at the coil's give the same voltage at each other's place."""
    chain, coil = build_chain(case.tank), winding_coil(*case.coil)
    circuit = to_circuit(chain, coil, SOURCE)
    node = next(e.plus for e in circuit.elements if e.name == "coil")
    there = net.solve_ac(circuit, case.frequency).node_voltages[node][0]
    turned = net.Circuit((net.CurrentSource("source", node, "0", 1.0), *circuit.elements[1:]))
    back = net.solve_ac(turned, case.frequency).node_voltages["s"][0]
    assert abs(there - back) <= 1e-11 * abs(there)


@given(
    resistance=st.floats(1e-3, 1.0),
    henry=st.floats(0.1e-6, 20e-6),
    ratio=st.floats(0.5, 2.0),
    case=st.sampled_from(CASES),
)
@settings(max_examples=60, deadline=None)
def test_every_watt_is_accounted_for(resistance, henry, ratio, case):
    chain, f = build_chain(case.tank), case.frequency * ratio
    voltage, flows = forward(chain, complex(resistance, 2 * math.pi * f * henry), 2 * math.pi * f, 1.0 + 0j)
    assert sum(x.loss for x in flows) == pytest.approx(voltage.real, rel=1e-9)
    assert all(x.loss >= -1e-12 * abs(voltage) for x in flows)


def test_transformer_of_coupled_inductors_is_the_t_equivalent():
    """L1, L2, M against leakage, magnetising inductance and ratio: the classical equivalence, exact."""
    l1, l2, m, n = 210e-6, 3.4e-6, 24e-6, 8.0
    load = net.Resistor("load", "out", "0", 0.4)
    coupled = net.Circuit(
        (
            SOURCE,
            net.Inductor("a", "s", "0", l1),
            net.Inductor("b", "out", "0", l2),
            net.Coupled("k", "a", "b", m),
            load,
        )
    )
    tee = net.Circuit(
        (
            SOURCE,
            net.Inductor("leak", "s", "x", l1 - n * m),
            net.Inductor("mag", "x", "0", n * m),
            net.IdealTransformer("t", "x", "0", "y", "0", n),
            net.Inductor("leak2", "y", "out", l2 - m / n),
            load,
        )
    )
    f = np.array([2e4, 1e5, 5e5])
    one, two = (net.solve_ac(c, f) for c in (coupled, tee))
    assert np.allclose(one.node_voltages["s"], two.node_voltages["s"], rtol=1e-12)
    assert np.allclose(one.node_voltages["out"], two.node_voltages["out"], rtol=1e-12)


def test_a_floating_part_is_refused_in_a_sentence():
    from coilwright.errors import BadInput

    loose = net.Circuit((SOURCE, net.Resistor("r", "s", "0", 1.0), net.Resistor("x", "p", "q", 1.0)))
    with pytest.raises(BadInput, match="floats"):
        net.solve_ac(loose, 1e5)
