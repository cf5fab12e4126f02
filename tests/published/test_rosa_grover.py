"""Rosa & Grover 1912: rings, corrections for round wire, AC resistance of round wire, short helices."""

import numpy as np
import pytest

from coilwright.field.formulas_conductors import round_wire_ratios, round_wire_resistance
from coilwright.field.formulas_inductance import (
    helix_inductance,
    loop_mutual,
    loop_self_inductance,
    ring_stack_inductance,
    rosa_turns_term,
    rosa_wire_term,
)
from coilwright.field.formulas_skin import MU_0
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("rosa_grover", "ring"))
def test_ring_of_round_wire(entry):
    given = entry["inputs"]
    if "R_cm" in given:  # the source counts in units of pi nH
        meets(entry, float(loop_self_inductance(given["R_cm"] / 100, given["a_cm"] / 100, "uniform")) / np.pi * 1e9)
        return
    surface = "HF" in entry["id"] or "-S-" in entry["id"]
    meets(entry, float(loop_self_inductance(given["R_m"], given["a_m"], "surface" if surface else "uniform")))


# Recalled values for 20, 50 and 100 turns (0.2974, 0.3186, 0.3280) contradict the exact sum (0.3182 for 50) and were
# not confirmed; the sum agrees with the recalled table for 2 to 10 turns to its last digit, so the recall is wrong.
@pytest.mark.parametrize("entry", entries("rosa_grover", "rosa_b"))
def test_rosa_b(entry):
    meets(entry, rosa_turns_term(entry["inputs"]["N"]))


@pytest.mark.parametrize("entry", entries("rosa_grover", "rosa_a"))
def test_rosa_a(entry):
    meets(entry, float(rosa_wire_term(entry["inputs"]["d_over_p"])))


# The computed value used the leading order of the self inductance, mu0 R (ln(8R/a) - 7/4); the next terms of Rayleigh &
# Niven, which we keep, add 0.14 % and 0.17 %. Averaging the mutual inductance over both wire sections, instead of
# taking their centre lines, would add another 0.2 % (next test).
@pytest.mark.parametrize("entry", entries("rosa_grover", "solenoid"))
def test_stack_of_rings(entry):
    given = entry["inputs"]
    R, a, N = given["D_mean_m"] / 2, given["d_wire_m"] / 2, given["N"]
    stack = ring_stack_inductance(np.full(N, R), given["pitch_m"] * np.arange(N), a, "uniform")
    leading = MU_0 * R * (np.log(8 * R / a) - 1.75)
    meets(entry, stack - N * (float(loop_self_inductance(R, a, "uniform")) - leading))
    helix = helix_inductance(R, given["pitch_m"], N, given["d_wire_m"], "uniform")
    assert 1.0 < helix / stack < 1.005  # Rosa's sheet at work-coil pitch


def test_stack_of_rings_against_sections_filled_with_current():
    """Own quadrature: mutual inductance averaged over both round sections; centre lines are within 0.3 %."""
    R, a, pitch, N = 0.025, 0.003, 0.008, 5
    x, w = np.polynomial.legendre.leggauss(8)
    radius = a * np.sqrt((x + 1) / 2)[:, None]
    angle = 2 * np.pi * np.arange(12) / 12
    dr, dz = (radius * np.cos(angle)).ravel(), (radius * np.sin(angle)).ravel()
    weight = np.repeat(w / 2, 12) / 12
    total = N * float(loop_self_inductance(R, a, "uniform"))
    for k in range(1, N):
        M = loop_mutual(R + dr[:, None], R + dr, k * pitch + dz[:, None] - dz)
        total += 2 * (N - k) * float(weight @ M @ weight)
    assert ring_stack_inductance(np.full(N, R), pitch * np.arange(N), a, "uniform") == pytest.approx(total, rel=3e-3)


@pytest.mark.parametrize("entry", entries("round_wire"))
def test_round_wire(entry):
    given = entry["inputs"]
    if entry["check"] == "table":  # x = sqrt(2) a/delta
        meets(entry, [float(v) for v in round_wire_ratios(given["x"] / np.sqrt(2))])
    elif entry["check"] == "ratio":
        meets(entry, float(round_wire_ratios(given["a_over_delta"])[1 if "-L-" in entry["id"] else 0]))
    else:
        meets(entry, float(round_wire_resistance(given["a_m"], given["f_Hz"], given["rho"])), floor=1e-8)
