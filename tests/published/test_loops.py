"""Coaxial loops (Maxwell), their field, and thick coils as grids of loops."""

import re

import numpy as np
import pytest

from coilwright.field.formulas_inductance import loop_flux_density, loop_mutual
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("loops", "mutual"))
def test_coaxial_loops(entry):
    given = entry["inputs"]
    meets(entry, float(loop_mutual(given["a_m"], given["b_m"], given.get("z_m", given.get("d_m")))))


@pytest.mark.parametrize("entry", entries("loops", "field"))
def test_field_of_a_loop(entry):
    given = entry["inputs"]
    br, bz = loop_flux_density(given["R_m"], given.get("r_m", 0.0), given["z_m"])
    meets(entry, [float(br), float(bz)] if "r_m" in given else float(bz))


def filaments(coil, radial, axial, gauss):
    """Radii, heights and turns of a rectangular winding as a grid of loops: cell centres, or Gauss points."""
    r1, r2, z1, z2, turns = coil

    def line(a, b, n):
        if gauss:
            x, w = np.polynomial.legendre.leggauss(n)
            return (a + b) / 2 + (b - a) / 2 * x, w / 2
        return a + (b - a) * (np.arange(n) + 0.5) / n, np.full(n, 1 / n)

    (r, wr), (z, wz) = line(r1, r2, radial), line(z1, z2, axial)
    return np.repeat(r, axial), np.tile(z, radial), turns * np.repeat(wr, axial) * np.tile(wz, radial)


def mutual(one, other):
    return float(one[2] @ loop_mutual(one[0][:, None], other[0], one[1][:, None] - other[1]) @ other[2])


def numbers(text):
    return [tuple(float(v) for v in group.split(",")) for group in re.findall(r"\(([^()]+)\)", text)]


# Three coils in series (grids 2x4, 3x7, 10x15) against one of 20x4 (value 1, rings in a plain grid as its source
# computed it) and by Gauss points (value 2), and against a long outer solenoid in a grid of 3x7 (value 3). Value 3 is a
# check of the sum only: by Gauss points the two windings have 1.68355 H, 0.16 % less than its coarse grid says.
@pytest.mark.parametrize("entry", entries("loops", "thick_coils"))
def test_thick_coils(entry):
    first = entries("loops", "thick_coils")[0].values[0]["inputs"]
    coils = numbers(first["F_coils"])
    other = numbers(entry["inputs"].get("other_coil", entry["inputs"].get("CC", "")))[0]
    if not entry["id"].endswith("2"):
        inner = [filaments(c, nr, nz, False) for c, (nr, nz) in zip(coils, [(2, 4), (3, 7), (10, 15)], strict=True)]
        outer = filaments(other, *((20, 4) if entry["id"].endswith("1") else (3, 7)), False)
    else:
        inner = [filaments(c, 10, 10, True) for c in coils]
        outer = filaments(other, 10, 40, True)
    meets(entry, sum(mutual(c, outer) for c in inner))
