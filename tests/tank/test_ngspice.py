"""Five networks against ngspice, run as a separate program: ac points within 1e-6, transient envelopes within 1e-3."""

import os
import re
import shutil
import subprocess

import numpy as np
import pytest

from coilwright.tank import network as net
from coilwright.tank.chain import build_chain, to_circuit, winding_coil
from coilwright.tank.netlist import ac_deck, netlist, node_word, tank_netlist
from coilwright.tank.operating import operating_point
from coilwright.tank.startup import ring_up
from tests.tank.networks import CASES

NGSPICE = shutil.which("ngspice")
if NGSPICE is None and os.environ.get("CI") != "true":
    pytest.skip("ngspice is not installed (CI installs it)", allow_module_level=True)

ids = pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
STEPS_PER_PERIOD = 400


def run(deck, folder):
    """Standard output of ngspice; under CI a missing program fails here."""
    assert NGSPICE, "ngspice must be installed where CI=true"
    path = folder / "deck.cir"
    path.write_text(deck)
    done = subprocess.run([NGSPICE, "-b", str(path)], cwd=folder, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@ids
@pytest.mark.parametrize("offset", [0.6, 1.0, 1.04, 3.0])
def test_ac_points(case, offset, tmp_path):
    source = net.VoltageSource("drive", "s", "0", 3.0 - 1.0j)
    circuit = to_circuit(build_chain(case.tank), winding_coil(*case.coil), source)
    f = case.frequency * offset
    ours = net.solve_ac(circuit, f).node_voltages
    printed = dict(re.findall(r"^v\((\S+)\) = (\S+)", run(ac_deck(circuit, f), tmp_path), re.MULTILINE))
    largest = max(abs(v[0]) for v in ours.values())
    assert len(printed) >= len(ours)
    for node, value in ours.items():
        theirs = complex(*map(float, printed[node_word(node)].split(",")))
        assert abs(theirs - value[0]) <= 1e-6 * abs(value[0]) + 1e-9 * largest, (node, theirs, value[0])


@ids
def test_the_printed_tank_carries_the_coil_current_of_the_operating_point(case, tmp_path):
    point = operating_point(case.tank, case.coil)
    fed = point.source_current if case.tank.source.current_fed else point.source_voltage
    deck = tank_netlist(case.tank, case.coil, point.frequency, fed)
    out = run(deck.replace("quit 0", "print i(lcoil_l)\nquit 0"), tmp_path)
    theirs = complex(*map(float, re.search(r"(?m)^i\(lcoil_l\) = (\S+)", out).group(1).split(",")))
    assert abs(theirs) == pytest.approx(point.coil_current, rel=1e-6)


def transient(circuit, drive, frequency, cycles, folder):
    """(time, coil current) of a start from rest."""
    step = 1.0 / frequency / STEPS_PER_PERIOD
    card = re.sub(r"(?m)^Vdrive (\S+) (\S+) .*$", rf"Vdrive \1 \2 {drive}", netlist(circuit, frequency))
    run(
        f"{card}.options reltol=1e-5 abstol=1e-9 vntol=1e-9 method=trap\n.control\nset numdgt=12\noption numdgt=12\n"
        f"tran {step:.12g} {cycles / frequency:.12g} 0 {step:.12g} uic\nwrdata coil.txt lcoil_l#branch\nquit 0\n.endc\n.end\n",
        folder,
    )
    return np.loadtxt(folder / "coil.txt").T


VOLTAGE_FED = [c for c in CASES if c.name != "parallel"]


@pytest.mark.parametrize("case", VOLTAGE_FED, ids=lambda c: c.name)
def test_start_up_envelope(case, tmp_path):
    cycles, swing, f = 25, case.tank.source.swing, case.frequency
    circuit = to_circuit(build_chain(case.tank), case.coil, net.VoltageSource("drive", "s", "0", 1.0), 3, f)
    edge = 1e-4 / f
    pulse = f"PULSE({-swing} {swing} 0 {edge:.6g} {edge:.6g} {0.5 / f - edge:.12g} {1 / f:.12g})"
    time, current = transient(circuit, pulse, f, cycles, tmp_path)
    ours = ring_up(case.tank, case.coil, f, cycles, samples=STEPS_PER_PERIOD // 2).wave
    theirs, mine = (half_period_peaks(t, i, f, cycles) for t, i in ((time, current), (ours.time, ours.coil_current)))
    assert np.abs(mine - theirs).max() <= 1e-3 * theirs.max()


def half_period_peaks(time, wave, frequency, cycles):
    """The largest magnitude in every half period: what the envelope on a scope is."""
    grid = (np.arange(2 * cycles * 200) + 0.5) / (400 * frequency)
    return np.abs(np.interp(grid, time, wave)).reshape(2 * cycles, 200).max(axis=1)


def test_start_up_of_a_current_fed_tank(tmp_path):
    """The bridge that turns the choke over is written as two behavioural sources driven by a square of +-1."""
    case = next(c for c in CASES if c.name == "parallel")
    cycles, supply, f, source = 25, 100.0, case.frequency, case.tank.source
    sink = net.VoltageSource("drive", "supply", "0", 1.0)  # only a card to rewrite
    body = netlist(to_circuit(build_chain(case.tank), case.coil, sink, 3, f), f)
    edge, step = 1e-5 / f, 1.0 / f / STEPS_PER_PERIOD
    bridge = (
        f"Rch n_supply m1 {source.choke_resistance}\nLch m1 m2 {source.choke}\nVam m2 dc 0\nBdc dc 0 V=V(p)*V(n_s)\n"
        f"Btank 0 n_s I=V(p)*I(Vam)\nVp p 0 PULSE(1 -1 {0.5 / f:.12g} {edge:.6g} {edge:.6g} {0.5 / f - edge:.12g} {1 / f:.12g})\n"
    )
    card = re.sub(r"(?m)^Vdrive (\S+) (\S+) .*$", rf"Vdrive \1 \2 dc {supply}\n{bridge}", body)
    run(
        f"{card}.options reltol=1e-5 abstol=1e-9 vntol=1e-9\n.control\noption numdgt=12\n"
        f"tran {step:.12g} {cycles / f:.12g} 0 {step:.12g} uic\nwrdata coil.txt lcoil_l#branch\nquit 0\n.endc\n.end\n",
        tmp_path,
    )
    time, current = np.loadtxt(tmp_path / "coil.txt").T
    ours = ring_up(case.tank, case.coil, f, cycles, samples=STEPS_PER_PERIOD // 2, supply=supply).wave
    theirs, mine = (half_period_peaks(t, i, f, cycles) for t, i in ((time, current), (ours.time, ours.coil_current)))
    assert np.abs(mine - theirs).max() <= 1e-3 * theirs.max()
