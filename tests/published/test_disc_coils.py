"""Flat disc coils (Spielrein) and a short thick coil, by the integral of Dodd & Deeds."""

import pytest

from coilwright.field.formulas_layers import Winding, air_inductance
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("disc_coils", "disc"))
def test_disc_coil(entry):
    rho = entry["inputs"].get("rho", 1e-9)  # a disc filled to the centre
    meets(entry, 1e9 * air_inductance(Winding(0.01 * rho, 0.01, 0.0, 0.0, 1)))


# The measured inductance remembered for this coil (221.8 mH) is 1.9 % lower than the computed one; it was not confirmed
# and the dimensions are from memory too, so only the two computations are compared.
@pytest.mark.parametrize("entry", entries("disc_coils", "thick"))
def test_thick_coil(entry):
    given = entry["inputs"]
    winding = Winding(given["r1_mm"] / 1e3, given["r2_mm"] / 1e3, 0.0, given["l_mm"] / 1e3, given["N"])
    meets(entry, 1e3 * air_inductance(winding), floor=1e-7)
