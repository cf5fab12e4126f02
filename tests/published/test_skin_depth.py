"""Skin depth: the textbook figure for copper and independent evaluations."""

import pytest

from coilwright.field.formulas_skin import skin_depth
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("skin_depth"))
def test_skin_depth(entry):
    given = entry["inputs"]
    frequency, rho = given.get("f_Hz", given.get("f")), given.get("rho_ohm_m", given.get("rho"))
    meets(entry, float(skin_depth(frequency, rho, given.get("mu_r", 1))))
