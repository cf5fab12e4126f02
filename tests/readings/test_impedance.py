"""L, R, C, Q, resonance and coupling from impedance readings with known truth."""

import math

import numpy as np
import pytest

from coilwright.errors import BadInput, NotConverged
from coilwright.evidence import Uncertain
from coilwright.readings.impedance import (
    CoilReading,
    bank_reading,
    coil_reading,
    coupling_factor,
    coupling_from_short,
    efficiency_from_q,
    fit_resonance,
    loading,
)
from coilwright.readings.records import Sweep, TwoPort

F = np.linspace(50e3, 500e3, 46)
W = 2 * np.pi * F
L, R, C = 0.85e-6, 0.011, 0.33e-6


def sweep(z, f=F):
    return Sweep(f, np.asarray(z, dtype=complex), "coil.s1p")


def series(f, r=R, ind=L, c=C):
    w = 2 * np.pi * f
    return r + 1j * w * ind + 1 / (1j * w * c)


def parallel(f, r=R, ind=L, c=C):
    w = 2 * np.pi * f
    return 1 / (1j * w * c + 1 / (r + 1j * w * ind))


def test_coil_between_the_points_of_a_sweep():
    found = coil_reading(sweep(0.02 * np.sqrt(F / 1e5) + 1j * W * L), 103.7e3)
    assert found.inductance.value == pytest.approx(L, rel=1e-12)
    assert found.resistance.value == pytest.approx(0.02 * math.sqrt(1.037), rel=1e-6)
    assert found.q.value == pytest.approx(2 * math.pi * 103.7e3 * L / found.resistance.value, rel=1e-9)


def test_error_of_a_meter_lies_across_r_as_much_as_along_x():
    """Common practice: a hand-held meter of 0.5 % and 1 to 2 nH; at Q 60 its R is worth 30 %."""
    found = coil_reading(sweep(1j * W * L + W * L / 60), 100e3)
    assert found.resistance.sigma / found.resistance.value == pytest.approx(0.30, rel=0.01)
    assert found.inductance.sigma == pytest.approx(math.hypot(0.005 * L, 1.5e-9), rel=0.01)


def test_bank():
    found = bank_reading(sweep(1 / (1j * W * C) + 5e-4 / (W * C)), 100e3)
    assert found.capacitance.value == pytest.approx(C, rel=1e-9)
    assert found.loss_tangent.value == pytest.approx(5e-4, rel=1e-6)


@pytest.mark.parametrize(("kind", "build"), [("series", series), ("parallel", parallel)])
def test_exact_tank_is_found_exactly(kind, build):
    f0 = 1 / (2 * math.pi * math.sqrt(L * C))
    f = np.linspace(0.9 * f0, 1.1 * f0, 60)
    found = fit_resonance(sweep(build(f), f))
    assert found.kind == kind
    assert found.frequency.value == pytest.approx(f0, rel=1e-8)
    assert found.inductance.value == pytest.approx(L, rel=1e-7)
    assert found.capacitance.value == pytest.approx(C, rel=1e-7)
    assert found.resistance.value == pytest.approx(R, rel=1e-7)
    assert found.q.value == pytest.approx(math.sqrt(L / C) / R, rel=1e-7)


@pytest.mark.parametrize("build", [series, parallel])
def test_noisy_tanks_keep_the_truth_inside_their_interval(build):
    """200 seeded sweeps with 0.5 % noise: 68 % and 95 % as stated."""
    rng = np.random.default_rng(4)
    f0 = 1 / (2 * math.pi * math.sqrt(L * C))
    f = np.linspace(0.93 * f0, 1.07 * f0, 81)
    truths = {"frequency": f0, "q": math.sqrt(L / C) / R, "inductance": L, "capacitance": C}
    off = {k: [] for k in truths}
    for _ in range(200):
        noise = rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f))
        found = fit_resonance(sweep(build(f) * (1 + 0.005 * noise), f))
        for k, truth in truths.items():
            value = getattr(found, k)
            off[k].append((value.value - truth) / value.sigma)
    for values in off.values():
        assert np.mean(np.abs(values) < 1) == pytest.approx(0.683, abs=0.13)
        assert np.mean(np.abs(values) < 2) == pytest.approx(0.954, abs=0.06)


def reading(inductance, resistance, f=100e3):
    return coil_reading(sweep(resistance + 1j * W * inductance), f)


def test_loading_by_a_part():
    found = loading(reading(0.214e-6, 2.4e-3), reading(0.136e-6, 12.8e-3))
    assert found.efficiency.value == pytest.approx(1 - 2.4 / 12.8)
    assert found.resistance_change.value == pytest.approx(10.4e-3)
    assert found.inductance_change.value == pytest.approx(-78e-9)
    repeated = loading(reading(0.214e-6, 2.4e-3), reading(0.136e-6, 12.8e-3), repeat=5e-4)
    assert repeated.efficiency.sigma < 0.2 * found.efficiency.sigma


def test_efficiency_from_two_ring_downs():
    found = efficiency_from_q(Uncertain(94.0, 0.2), Uncertain(75.0, 0.15))
    assert found.value == pytest.approx(1 - 75 / 94)
    assert found.sigma == pytest.approx(75 / 94 * math.hypot(0.002, 0.2 / 94), rel=1e-9)


def test_coupling_two_ways_agree():
    """k from Z21 and from shorting the secondary: M^2 = k^2 L1 L2, L_short = L1 (1 - k^2)."""
    k, l1, l2 = 0.31, 0.9e-6, 2.5e-6
    z = np.empty((len(F), 2, 2), dtype=complex)
    z[:, 0, 0], z[:, 1, 1] = 0.01 + 1j * W * l1, 0.02 + 1j * W * l2
    z[:, 0, 1] = z[:, 1, 0] = -1j * W * k * math.sqrt(l1 * l2)
    assert coupling_factor(TwoPort(F, z), 120e3) == pytest.approx(k, rel=1e-9)
    short = coupling_from_short(reading(l1, 0.01), reading(l1 * (1 - k * k), 0.012))
    assert short.value == pytest.approx(k, rel=1e-9)
    assert 0.0 < short.sigma < 0.05


@pytest.mark.parametrize(
    ("call", "error", "sentence"),
    [
        (lambda: coil_reading(sweep(R + 1j * W * L), 1e6), BadInput, "covers 50000 to 500000 Hz"),
        (lambda: coil_reading(sweep(R - 1j * W * L), 1e5), BadInput, "is no coil"),
        (lambda: bank_reading(sweep(R + 1j * W * L), 1e5), BadInput, "is no capacitor"),
        (lambda: fit_resonance(sweep(R + 1j * W * L)), BadInput, "does not pass through a resonance"),
        (lambda: fit_resonance(sweep(series(F)[:5], F[:5])), BadInput, "at least 6"),
        (lambda: fit_resonance(sweep(series(F)), "both"), BadInput, "series"),
        (lambda: loading(reading(L, R), reading(L, R, 200e3)), BadInput, "at one frequency"),
        (lambda: coupling_from_short(reading(L, R), reading(2 * L, R)), BadInput, "swapped"),
        (
            lambda: coupling_factor(TwoPort(F, (1j * W)[:, None, None] * np.array([[1, 2], [2, 1]])), 1e5),
            NotConverged,
            "impossible",
        ),
        (
            lambda: coupling_factor(TwoPort(F, (-1j * W)[:, None, None] * np.eye(2)), 1e5),
            BadInput,
            "must be inductive",
        ),
    ],
)
def test_refusals(call, error, sentence):
    with pytest.raises(error, match=sentence):
        call()


def test_readings_are_plain_records():
    assert isinstance(reading(L, R), CoilReading)
