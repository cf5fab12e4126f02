"""Conduction transients: one-term tables, series, constant flux (Carslaw & Jaeger and two textbooks' tables)."""

import pytest

from coilwright.heat.formulas_series import (
    convection_transient,
    cylinder_flux_rise,
    ierfc,
    surface_flux_rise,
    transient_coefficients,
    transient_roots,
)
from tests.published.catalogue import entries, meets

SHAPES = {"wall": "wall", "slab": "wall", "cyl": "cylinder", "sph": "ball"}


@pytest.mark.parametrize("entry", entries("heat_transient", "one_term"))
def test_one_term_table(entry):
    given = entry["inputs"]
    shape = SHAPES[given.get("shape", given.get("geometry"))]
    root = transient_roots(shape, given["Bi"], 1)
    coefficient = transient_coefficients(shape, root)
    pair = [float(root[0]), float(coefficient[0])]
    meets(entry, pair if isinstance(entry["value"], list) else pair[entry["id"].endswith("-A")])


@pytest.mark.parametrize("entry", entries("heat_transient", "series"))
def test_series(entry):
    given = entry["inputs"]
    shape = SHAPES[entry["id"].split("-")[2]]
    meets(entry, float(convection_transient(shape, given["Bi"], given["Fo"], given["x"])))


@pytest.mark.parametrize("entry", entries("heat_transient", "cylinder_flux"))
def test_cylinder_under_constant_flux(entry):
    meets(entry, float(cylinder_flux_rise(entry["inputs"]["Fo"], entry["inputs"]["r_over_a"])))


@pytest.mark.parametrize("entry", entries("heat_transient", "semi_infinite"))
def test_thick_body_under_constant_flux(entry):
    g = entry["inputs"]
    flux, depth, time = g.get("flux_W_m2", g.get("q")), g.get("x_m", 0.0), g.get("t_s", g.get("t"))
    meets(entry, float(surface_flux_rise(flux, depth, time, g["k"], g["alpha"])))


@pytest.mark.parametrize("entry", entries("heat_transient", "ierfc"))
def test_ierfc(entry):
    meets(entry, float(ierfc(entry["inputs"]["x"])))
