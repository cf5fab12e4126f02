"""Lyle 1914: current sheets and the geometric mean distance of rectangles."""

import pytest

from coilwright.field.formulas_inductance import current_sheet_inductance, rectangle_mean_distance
from coilwright.field.formulas_skin import MU_0
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("lyle", "sheet"))
def test_current_sheet(entry):
    given = entry["inputs"]
    value = float(current_sheet_inductance(given["R_m"], given.get("length_m", given.get("l_m")), 1))
    meets(entry, value / MU_0 if entry["unit"] == "m" else value)


@pytest.mark.parametrize("entry", entries("lyle", "mean_distance"))
def test_mean_distance_of_a_rectangle(entry):
    q = entry["inputs"]["b_over_c"]
    meets(entry, float(rectangle_mean_distance(q, 1.0)) / (1 + q))
