"""Worked tanks from textbooks and closed forms, met by the full solver (not by the formula they came from)."""

import math
from dataclasses import replace

import numpy as np
import pytest

from coilwright.tank import formulas as tf
from coilwright.tank.chain import build_chain, winding_coil
from coilwright.tank.inputs import Bank, BankGroup, Can, SourceInput, SourceLimits, TankInput
from coilwright.tank.operating import impedance_curve, operating_point
from coilwright.tank.resonance import find_crossings
from coilwright.tank.startup import drive_harmonics, ring_modes
from tests.published.catalogue import entries, meets


def tank_of(given, kind="voltage-fed full bridge", supply=None):
    low = SourceLimits(lowest_frequency=given.get("low", 1e5), highest_frequency=given.get("high", 1e6))
    arrangement = "series" if kind.startswith("voltage") else "parallel"
    return TankInput(
        arrangement,
        Bank((BankGroup(Can("C", given["C_F"])),)),
        source=SourceInput(kind, given.get("Vdc", 1.0) if supply is None else supply, limits=low),
    )


def solved(given):
    """(tank, coil, operating point, the one ringing mode) of the series tank on a square of +-Vdc."""
    tank, coil = tank_of(given), (given["R_ohm"], given["L_H"])
    point = operating_point(tank, coil)
    return tank, coil, point, ring_modes(tank, coil, point.frequency)[0]


SERIES = {
    "f0": lambda t, c, p, m: p.frequency,
    "z0": lambda t, c, p, m: p.coil_impedance.imag,
    "q": lambda t, c, p, m: p.loaded_q,
    "bandwidth": lambda t, c, p, m: p.frequency / p.loaded_q,
    "damped": lambda t, c, p, m: m.frequency,
    "decrement": lambda t, c, p, m: 1.0 / (m.frequency * m.time_constant),
    "power": lambda t, c, p, m: p.source_power,
    "capacitor": lambda t, c, p, m: math.sqrt(2.0) * p.component("tank").voltage,
    "third": lambda t, c, p, m: math.sqrt(2.0) * drive_harmonics(t, winding_coil(*c), p.frequency)[1].coil_current,
}


@pytest.mark.parametrize("entry", entries("resonance", *SERIES))
def test_series_tank_on_a_square(entry):
    meets(entry, SERIES[entry["check"]](*solved(entry["inputs"])), floor=1e-8)


@pytest.mark.parametrize("entry", entries("resonance", "parallel frequency", "parallel impedance", "circulating"))
def test_parallel_tank(entry):
    given = entry["inputs"]
    tank, coil = tank_of(given, "current-fed bridge"), (given["R_ohm"], given["L_H"])
    [crossing] = [
        c for c in find_crossings(build_chain(tank), winding_coil(*coil), (1e5, 1e6), 0.0, True) if c.followed
    ]
    point = operating_point(
        replace(tank, source=replace(tank.source, hold="coil voltage", held=100.0, supply=1e3)), coil
    )
    meets(
        entry,
        {
            "parallel frequency": crossing.frequency,
            "parallel impedance": crossing.impedance.real,
            "circulating": point.coil_current,
        }[entry["check"]],
        floor=1e-8,
    )


@pytest.mark.parametrize("entry", entries("resonance", "square"))
def test_square_harmonics(entry):
    meets(entry, math.sqrt(2.0) * tf.square_harmonic(entry["inputs"]["n"]))


@pytest.mark.parametrize("entry", entries("resonance", "distortion"))
def test_square_distortion(entry):
    """The series falls off as 1/n: 100 000 odd orders and the integral of the rest."""
    orders = np.arange(3, 200001, 2)
    rest = 8.0 / math.pi**2 / (2.0 * 200002.0)
    total = sum(tf.square_harmonic(int(n)) ** 2 for n in orders) + rest
    assert math.sqrt(total) / tf.square_harmonic(1) == pytest.approx(entry["value"], abs=1e-9)


@pytest.mark.parametrize("entry", entries("resonance", "series frequency", "resonant current", "resonant power"))
def test_textbook_series_circuit_at_resonance(entry):
    given = {**entry["inputs"], "low": 500.0, "high": 5e3}
    tank = tank_of(given, supply=given["V_rms"] * math.pi / (2.0 * math.sqrt(2.0)))
    point = operating_point(tank, (given["R_ohm"], given["L_H"]))
    meets(
        entry,
        {
            "series frequency": point.frequency,
            "resonant current": point.coil_current,
            "resonant power": point.source_power,
        }[entry["check"]],
    )


@pytest.mark.parametrize("entry", entries("resonance", "series impedance", "series current", "power factor"))
def test_textbook_series_circuit_off_resonance(entry):
    given = entry["inputs"]
    z = impedance_curve(tank_of(given), winding_coil(given["R_ohm"], given["L_H"]), given["f_Hz"])[0]
    meets(
        entry,
        {"series impedance": abs(z), "series current": given["V_rms"] / abs(z), "power factor": z.real / abs(z)}[
            entry["check"]
        ],
    )


@pytest.mark.parametrize("entry", entries("resonance", "ideal tank"))
def test_textbook_tank_without_loss(entry):
    tank = tank_of({**entry["inputs"], "low": 20.0, "high": 2e3}, "current-fed bridge")
    found = find_crossings(build_chain(tank), winding_coil(1e-9, entry["inputs"]["L_H"]), (20.0, 2e3), 0.0, True)
    meets(entry, next(c.frequency for c in found if c.followed))
