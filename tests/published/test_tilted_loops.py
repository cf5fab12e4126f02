"""Loops off the axis and tilted, alone, in a solenoid, and as thick coils."""

import re

import numpy as np
import pytest

from coilwright.field.formulas_inductance import tilted_loop_mutual
from tests.published.catalogue import entries, meets
from tests.published.test_loops import filaments


@pytest.mark.parametrize("entry", entries("tilted_loops", "pair"))
def test_two_loops(entry):
    given = entry["inputs"]
    value = tilted_loop_mutual(given["Rp_m"], given["Rs_m"], given["centre_m"], given["normal"], 512)
    meets(entry, value * 1e9 if entry["unit"] == "nH" else value, floor=1e-8)


@pytest.mark.parametrize("entry", entries("tilted_loops", "in_solenoid"))
def test_tilted_loop_in_a_solenoid(entry):
    given = entry["inputs"]
    x, w = np.polynomial.legendre.leggauss(60)
    heights = given["l_sol_m"] / 2 * x - given["z_centre_m"]
    normal = [np.sqrt(1 - given["cos_tilt"] ** 2), 0, given["cos_tilt"]]
    each = [tilted_loop_mutual(given["R_sol_m"], given["R_loop_m"], [0, 0, -h], normal) for h in heights]
    meets(entry, given["N"] * float(np.dot(w / 2, each)), floor=1e-8)


@pytest.mark.parametrize("entry", entries("tilted_loops", "thick_coils"))
def test_thick_coils_with_parallel_axes(entry):
    def coil(text):  # inner radius, radial width, length in mm; turns
        r, width, length, turns = (float(v) for v in re.findall(r"[\d.]+", text))
        return (r / 1e3, (r + width) / 1e3, -length / 2e3, length / 2e3, turns)

    given = entry["inputs"]
    one, other = filaments(coil(given["coil1"]), 4, 64, True), filaments(coil(given["coil2"]), 6, 6, True)
    total = 0.0
    for r1, z1, n1 in zip(*one, strict=True):
        for r2, z2, n2 in zip(*other, strict=True):
            offset = [given["rho_m"], 0, given["z_m"] + z2 - z1]
            total += n1 * n2 * tilted_loop_mutual(r1, r2, offset, [0, 0, 1], 64)
    meets(entry, total)
