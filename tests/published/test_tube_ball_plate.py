"""Tube, ball, hollow ball and plate in a given field: closed forms evaluated independently (peak fields given)."""

import numpy as np
import pytest

from coilwright.field.formulas_loads import ball_power, bar_power, hollow_ball, thin_tube_power, tube_power
from coilwright.field.formulas_skin import MU_0, half_space_power, plate_power
from tests.published.catalogue import entries, meets

PEAK = np.sqrt(2)


def resistivity(given):
    return given["rho"] if "rho" in given else 1 / given["sigma"]


TUBES = {p.values[0]["id"]: p.values[0] for p in entries("tube_ball_plate", "tube")}


@pytest.mark.parametrize("entry", entries("tube_ball_plate", "tube"))
def test_tube(entry):
    given = entry["inputs"]
    if isinstance(given, str):  # a bore of 1 um is no bore: the solid bar
        power, _ = tube_power(0.02, 1e-6, 1e3 / PEAK, 10e3, 1e-6)
        meets(entry, float(power))
        assert float(power) == pytest.approx(float(bar_power(0.02, 1e3 / PEAK, 10e3, 1e-6)), rel=1e-7)
        return
    given = TUBES[given["see"]]["inputs"] if "see" in given else given
    outer, inner = given.get("ro_m", given.get("r_out_m")), given.get("ri_m", given.get("r_in_m"))
    power, _ = tube_power(outer, inner, given["H0_peak"] / PEAK, given["f_Hz"], resistivity(given), given["mu_r"])
    meets(entry, float(power))


BORE = {"EM-TUBE-1": 0.8956997268, "EM-TUBE-2": 0.08474521195, "EM-TUBE-3": 6.528805846e-12}  # |H|/H0, same origin


@pytest.mark.parametrize("name", BORE)
def test_field_in_the_bore(name):
    given = TUBES[name]["inputs"]
    _, bore = tube_power(given["ro_m"], given["ri_m"], 1.0, given["f_Hz"], 1 / given["sigma"])
    assert abs(complex(bore)) == pytest.approx(BORE[name], rel=2e-9)


@pytest.mark.parametrize("entry", entries("tube_ball_plate", "thin_tube"))
def test_thin_tube(entry):
    given = entry["inputs"]
    field = given["H0_peak"] / PEAK
    meets(entry, float(thin_tube_power(given["a_mean_m"], given["t_m"], field, given["f_Hz"], given["rho"])))


@pytest.mark.parametrize("entry", entries("tube_ball_plate", "ball"))
def test_ball(entry):
    given = entry["inputs"]
    field = given["H0_peak"] if "H0_peak" in given else given["B0_peak_T"] / MU_0
    power = ball_power(given["a_m"], field / PEAK, given["f_Hz"], resistivity(given), given.get("mu_r", 1))
    meets(entry, float(power))


@pytest.mark.parametrize("entry", entries("tube_ball_plate", "hollow_ball"))
def test_hollow_ball(entry):
    given = {"ri_m": 0.05, "ro_m": 0.055, "sigma": 5e8, "f_Hz": 50, "B0_peak_T": 1}
    if "see" not in entry["inputs"]:
        assert entry["inputs"] == given
    power, cavity = hollow_ball(0.055, 0.05, 1 / MU_0 / PEAK, 50, 1 / 5e8)
    meets(entry, power if entry["unit"] == "W" else abs(cavity))


@pytest.mark.parametrize("entry", entries("tube_ball_plate", "plate"))
def test_plate(entry):
    given = entry["inputs"]
    thickness, field = given.get("t_m", given.get("d_m")), given["H0_peak"] / PEAK
    meets(entry, float(plate_power(field, thickness, given["f_Hz"], resistivity(given), given.get("mu_r", 1))))


@pytest.mark.parametrize("entry", entries("tube_ball_plate", "half_space"))
def test_half_space(entry):
    given = entry["inputs"]
    meets(entry, float(half_space_power(given["H0_peak"] / PEAK, given["f"], given["rho"], given["mu_r"])))
