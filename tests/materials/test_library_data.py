"""Every bundled material: complete, sourced, and such as matter can be."""

import re
import tomllib
from importlib.resources import files

import numpy as np
import pytest

from coilwright.materials import describe, library
from coilwright.materials.library import FAMILIES, _bundled
from coilwright.materials.reading import PLAIN_UNITS
from coilwright.units import KINDS, factor

LIBRARY = _bundled()
NAMES = LIBRARY.names()
LORENZ = 2.44e-8  # W ohm/K^2, Sommerfeld value
# name -> melting point as the highest temperature of the check, K; the law is meant for pure metals above their Debye temperature
PURE_METALS = {
    "copper": 1357, "silver": 1230, "gold": 1330, "aluminium": 930, "tungsten": 2500, "molybdenum": 2500, "tantalum": 2500,
    "platinum": 1800, "zinc": 600, "lead": 599, "tin": 500, "niobium": 2000, "magnesium": 800,
}  # fmt: skip
PLAUSIBLE = {  # SI; from aerogel-like foam to diamond-free ceramics and pure metals
    "resistivity": (1.4e-8, 1.0),
    "relative_permeability": (0.999, 1e4),
    "thermal_conductivity": (0.02, 500.0),
    "specific_heat": (100.0, 5100.0),
    "emissivity": (1e-4, 1.0),
}


def test_there_is_what_a_heater_meets():
    wanted = [
        "copper", "brass", "aluminium", "bronze", "mild steel", "medium-carbon steel", "304", "316", "430", "nickel", "iron",
        "iron-nickel-cobalt sealing alloy", "tungsten", "molybdenum", "tantalum", "titanium", "graphite", "nichrome", "silver",
        "gold", "tin", "lead", "solder", "silver brazing alloy", "soda-lime glass", "lead glass", "borosilicate glass",
        "fused quartz", "alumina", "zirconia", "mica", "PTFE", "polystyrene foam", "water", "air", "ferrite",
        "powdered-iron concentrator", "silicon carbide", "silicon", "barium-aluminium/nickel charge", "barium", "platinum",
        "zinc", "constantan", "cast iron", "tool steel", "cobalt",
    ]  # fmt: skip
    assert [name for name in wanted if name not in LIBRARY] == []
    assert len(LIBRARY) >= 50


@pytest.mark.parametrize("name", NAMES)
def test_material_is_complete_and_plausible(name):
    material = LIBRARY.get(name)
    assert 1.0 < material.density < 23_000
    for key, curve in material.curves().items():
        low, high = PLAUSIBLE[key]
        assert low <= curve.values.min() and curve.values.max() <= high, (key, curve.values)
        assert len(curve.source.citation) > 20
        if not (key == "relative_permeability" and material.magnetic.is_unity):
            assert np.isfinite(curve.valid.lowest) and np.isfinite(curve.valid.highest), f"{key} has no range"
            assert curve.valid.lowest >= curve.at[0] or curve.is_constant
    if material.kind == "metal":
        assert material.conducting and material.limits
    assert material.kind != "glass" or material.glass is not None
    assert name in ("air",) or material.limits
    assert material.sources


@pytest.mark.parametrize("name", NAMES)
def test_enthalpy_rises_and_is_the_integral(name):
    material = LIBRARY.get(name)
    kelvin = np.linspace(250.0, 2500.0, 4001)
    enthalpy = material.volumetric_enthalpy(kelvin)
    assert np.all(np.diff(enthalpy) > 0.0)
    assert material.volumetric_enthalpy(293.15) == pytest.approx(0.0, abs=1e-3)
    # Gauss points between all the corners integrate the pieces exactly (linear) or to rounding (raised cosines)
    knots = material._enthalpy_knots()
    knots = np.unique(np.concatenate([knots[(knots > 293.15) & (knots < 2500.0)], [293.15, 2500.0]]))
    x, w = np.polynomial.legendre.leggauss(12)
    half, middle = np.diff(knots)[:, None] / 2, (knots[1:] + knots[:-1])[:, None] / 2
    summed = np.sum(material.volumetric_heat(middle + half * x) * w * half)
    assert material.volumetric_enthalpy(2500.0) == pytest.approx(summed, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_temperature_of_enthalpy_is_its_inverse(name):
    material = LIBRARY.get(name)
    kelvin = np.concatenate([[60.0, 293.15], np.linspace(200.0, 4500.0, 300)])
    assert material.temperature_of(material.volumetric_enthalpy(kelvin)) == pytest.approx(kelvin, rel=1e-9, abs=1e-7)


@pytest.mark.parametrize("name", PURE_METALS)
def test_wiedemann_franz(name):
    """rho k/(L T) is 1 within 25 % for these (common knowledge of metals; tungsten runs highest, near 1.3)."""
    material = LIBRARY.get(name)
    kelvin = np.linspace(300.0, PURE_METALS[name], 30)
    ratio = material.resistivity(kelvin) * material.thermal_conductivity(kelvin) / (LORENZ * kelvin)
    assert np.all((ratio > 0.75) & (ratio < 1.35)), (ratio.min(), ratio.max())


@pytest.mark.parametrize("name", [n for n in NAMES if LIBRARY.get(n).kind == "metal"])
def test_resistivity_of_a_metal_rises_while_solid(name):
    material = LIBRARY.get(name)
    melting = min((limit.temperature for limit in material.limits if limit.kind == "melting"), default=np.inf)
    known = material.resistivity.at <= melting
    steps = np.diff(material.resistivity.values[known]) / material.resistivity.values[known][:-1]
    # falls: titanium at its beta point, nichrome (ordering), constantan (made so), each by a few per cent at most
    assert np.all(steps > -0.07)


def test_every_source_of_the_files_is_cited_and_exists():
    for family in FAMILIES:
        text = (files("coilwright.materials") / "data" / f"{family}.toml").read_text(encoding="utf-8")
        known = set(tomllib.loads(text)["sources"])
        text = re.sub(r"^#.*$", "", text, flags=re.MULTILINE)
        used = set(re.findall(r'(?<!_)source = "([^"]+)"', text))
        assert used == known, f"{family}: {used ^ known}"


def test_names_and_aliases_are_unique():
    seen = {}
    for name in NAMES:
        for key in (name, *LIBRARY.get(name).aliases):
            assert seen.setdefault(key.lower(), name) == name, f"{key} means {seen[key.lower()]} and {name}"


def test_line_scan_finds_what_the_parser_finds():
    written = [
        table["name"]
        for family in FAMILIES
        for table in tomllib.loads((files("coilwright.materials") / "data" / f"{family}.toml").read_text("utf-8"))[
            "material"
        ]
    ]
    assert sorted(written, key=str.lower) == NAMES


@pytest.mark.parametrize("key", PLAIN_UNITS, ids=str)
def test_short_cut_units_agree_with_the_unit_library(key):
    kind, unit = key
    assert factor(unit, KINDS[kind][0]) == pytest.approx(PLAIN_UNITS[key], rel=1e-14)


@pytest.mark.parametrize("name", NAMES)
def test_describe_has_sources_and_samples(name):
    told = describe(library().get(name))
    assert told["name"] == name and told["sources"]
    for curve in told["curves"].values():
        assert len(curve["temperature_degC"]) == len(curve["value"]) >= 1 and curve["source"]


def test_structural_steel_takes_up_what_its_standard_says():
    """Integral of the EN 1993-1-2 specific-heat formulas from 20 to 1200 degC, computed here by fine quadrature."""
    celsius = np.linspace(20.0, 1200.0, 2_000_001)
    with np.errstate(divide="ignore", over="ignore"):
        low = 425 + 0.773 * celsius - 1.69e-3 * celsius**2 + 2.22e-6 * celsius**3
        rising, falling = 666 + 13002 / (738 - celsius), 545 + 17820 / (celsius - 731)
    formula = np.select([celsius < 600, celsius < 735, celsius < 900], [low, rising, falling], 650.0)
    steel = LIBRARY.get("mild steel")
    assert steel.volumetric_enthalpy(1473.15) / steel.density == pytest.approx(np.trapezoid(formula, celsius), rel=2e-3)


def test_loading_does_not_wake_the_unit_library():
    import subprocess
    import sys

    code = (
        "import sys; from coilwright.materials import library; lib = library(); [lib.get(n) for n in lib.names()];"
        "sys.exit(any(m in sys.modules for m in ('pint', 'numba', 'scipy')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
