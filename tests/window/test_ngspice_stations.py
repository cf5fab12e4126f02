"""Shares of coils and parts against ngspice, run as a separate program: every part is a closed loop of its own there."""

import cmath
import math
import os
import re
import shutil
import subprocess

import numpy as np
import pytest

from coilwright.window.circuit import drive
from coilwright.window.stations import Station
from tests.window.jobs import ring_model

NGSPICE = shutil.which("ngspice")
if NGSPICE is None and os.environ.get("CI") != "true":
    pytest.skip("ngspice is not installed (CI installs it)", allow_module_level=True)

STATES = {
    1: Station(extra_inductance=20e-9, extra_resistance=1.5e-3),
    2: Station(sideways=1.5e-3, tilt=0.05),
    3: Station(up=1e-3, extra_inductance=8e-9),
    4: Station(part=False),
}


def loops(model, network):
    """(names, R, L, M) of four coils and the parts before them: zeta = (w m)^2 / (R + j w L) with m the flux of the own coil."""
    n, omega = len(network.empty), 2 * math.pi * network.frequency
    own = model.cells.at().flux()
    there = [k for k in range(n) if network.reflected[k] != 0.0]
    part = [(omega * own) ** 2 / network.reflected[k] for k in there]
    z = np.concatenate([network.empty, part])
    M = np.zeros((len(z), len(z)))
    M[:n, :n] = network.mutual.imag / omega
    for row, k in enumerate(there, n):
        M[row, :n] = M[:n, row] = own * network.flux[k]
    return [f"c{k}" for k in range(n)] + [f"p{k}" for k in there], z.real, z.imag / omega, M


def deck(model, network, feed, current):
    names, R, L, M = loops(model, network)
    n, lines = len(network.empty), ["stations"]
    for k, name in enumerate(names):
        if name[0] == "p":
            start, end = f"s{name}", "0"  # a closed loop: its resistance goes back to the start
        elif feed == "series":
            start, end = f"t{k}", (f"t{k + 1}" if k + 1 < n else "0")
        else:
            start, end = ("t0" if feed == "parallel" else f"t{k}"), "0"
        back = "0" if name[0] == "p" else start
        lines += [f"R{name} {back} m{name} {R[k]:.15g}", f"L{name} m{name} {end} {L[k]:.15g}"]
    for i in range(len(names)):
        for j in range(i):
            if M[i, j]:
                lines.append(f"K{names[i]}{names[j]} L{names[i]} L{names[j]} {M[i, j] / math.sqrt(L[i] * L[j]):.15g}")
    for k, a in enumerate(current):
        lines.append(f"I{k} 0 t{k} dc 0 ac {abs(a):.15g} {math.degrees(cmath.phase(a)):.15g}")
    prints = [f"print i(L{name})" for name in names] + [f"print v(t{k})" for k in range(n if feed != "parallel" else 1)]
    lines += [".control", "option numdgt=12", "set numdgt=12", f"ac lin 1 {network.frequency:.12g} {network.frequency:.12g}",
              *prints, "quit 0", ".endc", ".end"]  # fmt: skip
    return "\n".join(lines) + "\n"


def run(text, folder):
    """Printed values by name; under CI a missing program fails here."""
    assert NGSPICE, "ngspice must be installed where CI=true"
    path = folder / "deck.cir"
    path.write_text(text)
    done = subprocess.run([NGSPICE, "-b", str(path)], cwd=folder, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    found = re.findall(r"(?m)^([iv]\(\w+\)) = (\S+)", done.stdout)
    return {name: complex(*map(float, value.split(","))) for name, value in found}


@pytest.mark.parametrize("feed", ["series", "parallel", "separate"])
def test_shares_with_unequal_leads(feed, tmp_path):
    model = ring_model(4, "40 mm", feed, "current")
    network = model.network_of(model.states(STATES))
    ours = drive(network.matrix, feed, "current", 150.0)
    fed = ours.currents if feed == "separate" else [complex(ours.current)]
    found = run(deck(model, network, feed, fed), tmp_path)
    coils = np.array([found[f"i(lc{k})"] for k in range(4)])
    assert coils == pytest.approx(ours.currents, rel=1e-6)
    volts = network.matrix @ ours.currents
    if feed == "separate":
        assert [found[f"v(t{k})"] for k in range(4)] == pytest.approx(list(volts), rel=1e-6)
    else:
        whole = volts.sum() if feed == "series" else volts[0]
        assert found["v(t0)"] == pytest.approx(whole, rel=1e-6)
        assert ours.impedance * ours.current == pytest.approx(whole, rel=1e-9)
    # what heats: the current in every part goes with the flux through it
    heating = network.heating_currents(ours.currents)[:3]
    theirs = np.array([abs(found[f"i(lp{k})"]) for k in range(3)])
    per_flux = np.sqrt(np.abs(network.reflected[:3]) / np.array([abs(z) for z in part_impedances(model, network)]))
    assert theirs == pytest.approx(per_flux * heating, rel=1e-6)
    spread = np.abs(ours.currents).max() / np.abs(ours.currents).min()
    assert spread > 1.05 if feed == "parallel" else spread == pytest.approx(1.0)


def part_impedances(model, network):
    omega = 2 * math.pi * network.frequency
    return (omega * model.cells.at().flux()) ** 2 / network.reflected[:3]


def test_separate_sources_hold_their_own_volts(tmp_path):
    model = ring_model(4, "40 mm", "separate", "coil voltage")
    network = model.network_of(model.states(STATES))
    ours = drive(network.matrix, "separate", "coil voltage", 70.0)
    found = run(deck(model, network, "separate", ours.currents), tmp_path)
    assert [abs(found[f"v(t{k})"]) for k in range(4)] == pytest.approx([70.0] * 4, rel=1e-6)
