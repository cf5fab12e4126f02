"""A steel bar below and through its Curie point: our coupled shot against the finite-element library ngsolve."""

import json
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

import coilwright as cw
from tests.crosscheck import ngsolve_bar as ref

pytestmark = pytest.mark.crosscheck
REFERENCE = json.loads(Path(__file__).with_name("bar_reference.json").read_text(encoding="utf-8"))["runs"]

BODY = """
format = 1
[surroundings]
temperature = "20 degC"
convection = "10 W/m^2/K"
[[body]]
name = "bar"
material = "test steel"
shape = { kind = "bar", diameter = "20 mm", length = "60 mm" }
[coil]
winding = "helix"
turns = 8
mean_diameter = "36 mm"
pitch = "8 mm"
[coil.conductor]
section = "round tube"
outside = "6 mm"
bore = "4 mm"
"""


@lru_cache(maxsize=4)
def ours(current, fine=False):
    marks = [20.0, *np.arange(760.0, 801.0, 2.0), 1420.0]
    material = {
        "name": "test steel",
        "source": "invented",
        "thermal_conductivity": f"{ref.CONDUCTIVITY} W/m/K",
        "specific_heat": f"{ref.HEAT} J/kg/K",
        "density": f"{ref.DENSITY} kg/m^3",
        "emissivity": ref.EMISSIVITY,
        "resistivity": {
            "at": ["20 degC", "1420 degC"],
            "is": [f"{ref.resistivity(t) * 1e6} uohm m" for t in (20.0, 1420.0)],
        },
        "relative_permeability": {
            "at": [f"{t} degC" for t in marks],
            "is": [float(ref.permeability(t)) for t in marks],
        },
    }
    points = [{"name": n, "r": f"{r * 1e3} mm", "z": f"{z * 1e3} mm"} for n, (r, z) in ref.POINTS.items()]
    text = BODY + f'overrides = {{ resistivity = "{1e6 / ref.COPPER} uohm m" }}\n'
    text += f'[drive]\nfrequency = "{ref.FREQUENCY} Hz"\ncoil_current = "{current} A"\non_time = "10 s"\n'
    job = cw.loads(text.replace('"test steel"', '"mild steel"')).with_values({"material": [material], "point": points})
    job = job.with_value("body.bar.material", "test steel")
    return cw.heat(job, every=1.0, fine=fine, estimate_error=not fine)


@pytest.mark.parametrize(
    ("current", "fine", "within"),
    [("507.0", False, 1.0), ("580.0", False, 3.0), ("507.0", True, 1.0), ("580.0", True, 1.0)],
)
def test_temperatures_against_the_stored_runs(current, fine, within):
    assert REFERENCE[current]["change_on_refinement_K"] < 0.4 * within
    result = ours(float(current), fine)
    for time, temperatures in REFERENCE[current]["temperature_degC"].items():
        k = int(np.argmin(np.abs(result.trace.time - float(time))))
        for point, celsius in temperatures.items():
            found = result.trace.points[point][k] - 273.15
            assert found == pytest.approx(celsius, abs=within), f"{point} at {time} s"


def test_error_estimate_is_not_three_times_too_small():
    for current in ("507.0", "580.0"):
        result = ours(float(current))
        worst = max(
            abs(result.trace.points[p][int(np.argmin(np.abs(result.trace.time - float(t))))] - 273.15 - celsius)
            for t, at in REFERENCE[current]["temperature_degC"].items()
            for p, celsius in at.items()
        )
        assert worst < 3.0 * max(result.error.temperature_K, 0.3)


def test_stored_runs_are_reproducible():
    """A cheaper run of the same script, in this very process, meets the stored figures."""
    bar = ref.Bar(order=3)
    rough = bar.run(507.0, steps=30)
    for time, temperatures in REFERENCE["507.0"]["temperature_degC"].items():
        for point, celsius in temperatures.items():
            assert rough[time][point] == pytest.approx(celsius, abs=1.0)


def test_cold_power_and_resistance():
    """At 20 degC throughout: resistance and part power of the loaded coil."""
    bar = ref.Bar(order=4)
    bar.temperature.Set(20.0, definedon=bar.mesh.Materials("bar"))
    resistance, power = bar.solve_field(1.0)
    trace = ours(507.0).trace
    assert trace.bodies["bar"].power[0] / 507.0**2 == pytest.approx(power, rel=5e-4)
    assert trace.coil.resistance[0] == pytest.approx(resistance, rel=5e-4)
