"""Configuration factors: coaxial discs, a ring, concentric cylinders (Howell's catalogue)."""

import pytest

from coilwright.heat.formulas_radiation import (
    factor_discs,
    factor_outer_cylinder_itself,
    factor_outer_to_inner_cylinder,
    factor_ring_disc,
)
from tests.published.catalogue import entries, meets


@pytest.mark.parametrize("entry", entries("heat_factors", "discs"))
def test_discs(entry):
    g = entry["inputs"]
    meets(entry, float(factor_discs(g.get("r1", g.get("ri")), g.get("r2", g.get("rj")), g.get("h", g.get("L")))))


@pytest.mark.parametrize("entry", entries("heat_factors", "ring_disc"))
def test_ring_to_disc(entry):
    g = entry["inputs"]
    meets(entry, float(factor_ring_disc(g["r1"], g["r2"], g["rd"], g["L"])))


@pytest.mark.parametrize("entry", entries("heat_factors", "cylinders"))
def test_concentric_cylinders(entry):
    g = entry["inputs"]
    function = factor_outer_cylinder_itself if entry["id"].endswith("-22") else factor_outer_to_inner_cylinder
    meets(entry, float(function(g["r1"], g["r2"], g.get("L", g.get("h")))))
