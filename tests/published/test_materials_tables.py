"""The library against published tables and, where the entry says so, against recalled handbook values."""

import pytest

from coilwright.materials import library
from tests.published.catalogue import entries, meets

PROPERTIES = ("resistivity", "specific_heat", "thermal_conductivity", "emissivity")


@pytest.mark.parametrize("entry", entries("materials", *PROPERTIES))
def test_property(entry):
    curve = library().get(entry["inputs"]["material"]).curves()[entry["check"]]
    meets(entry, float(curve(entry["inputs"]["T_K"])))


@pytest.mark.parametrize("entry", entries("materials", "nichrome"))
def test_resistance_factor_of_nichrome(entry):
    resistivity = library().get("nichrome").resistivity
    meets(entry, float(resistivity(entry["inputs"]["T_K"]) / resistivity(293.15)))


@pytest.mark.parametrize("entry", entries("materials", "curie"))
def test_curie_point(entry):
    meets(entry, library().get(entry["inputs"]["material"]).magnetic.saturation.curie)


@pytest.mark.parametrize("entry", entries("materials", "resistivity_range"))
def test_resistivity_inside_handbook_range(entry):
    low, high = entry["value"]
    found = float(library().get(entry["inputs"]["material"]).resistivity(entry["inputs"]["T_K"]))
    assert low <= found <= high, entry["source"]


@pytest.mark.parametrize("entry", entries("materials", "glass_point"))
def test_glass_point_inside_handbook_range(entry):
    low, high = entry["value"]
    limits = {limit.kind: limit.temperature - 273.15 for limit in library().get(entry["inputs"]["material"]).limits}
    assert low <= limits[entry["inputs"]["kind"]] <= high, entry["source"]
