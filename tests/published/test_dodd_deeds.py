"""Dodd & Deeds: coil over layers and coil round a rod; limits that a different field solution must give."""

import numpy as np
import pytest

from coilwright.field.formulas_inductance import loop_mutual
from coilwright.field.formulas_layers import (
    Layer,
    Winding,
    air_inductance,
    impedance_over_layers,
    impedance_round_rod,
)
from coilwright.field.formulas_loads import bar_power
from coilwright.field.formulas_skin import MU_0, skin_depth
from tests.published.catalogue import entries, meets


def coil(text):
    return tuple(float(v) for v in text.split("=")[1].strip(" ()").split(","))


@pytest.mark.parametrize("entry", entries("dodd_deeds", "layers"))
def test_coil_over_metal(entry):
    given = entry["inputs"]
    if "f_Hz" not in given:  # the coil alone; its value is good to 2e-3 only
        r1, r2, height, turns = coil(given["coil"])
        meets(entry, air_inductance(Winding(r1, r2, 0.0, height, turns)))
        return
    metal = Layer(1 / given["sigma"], given["mu_r"], given.get("plate_thickness_m"))
    change = impedance_over_layers(Winding(*coil(given["coil"])), [metal], given["f_Hz"])
    meets(entry, change.real if entry["id"].endswith("-R") else change.imag)


def winding(given):
    return Winding(given["r1_m"], given["r2_m"], given["l1_m"], given["l2_m"], given["N"])


LAYERED = [p for p in entries("dodd_deeds", "layers_2") if "layers_rho_mur_t" in p.values[0]["inputs"]]


@pytest.mark.parametrize("entry", LAYERED)
def test_coil_over_layers(entry):
    given = entry["inputs"]
    layers = [Layer(*layer) for layer in given["layers_rho_mur_t"]]
    change = impedance_over_layers(winding(given), layers, given["f_Hz"])
    meets(entry, [change.real, change.imag])


def test_perfect_conductor_is_an_image_loop():
    """DD-PEC: -2.717971240e-8 H for a loop of 15 mm, 2 mm above; Maxwell's image at twice the distance."""
    entry = next(p.values[0] for p in entries("dodd_deeds", "layers_2") if p.id == "DD-PEC")
    R, h = entry["inputs"]["R_m"], entry["inputs"]["h_m"]
    change = impedance_over_layers(Winding(R, R, h, h, 1), [Layer(1e-22)], 1e3)
    meets(entry, -float(loop_mutual(R, R, 2 * h)))
    assert change.imag / (2 * np.pi * 1e3) == pytest.approx(entry["value"], rel=1e-6)


def test_thick_layer_is_a_half_space():
    """DD-THICK: 25 skin depths of copper in air are the half space, to 1e-9."""
    coil_c = Winding(0.01, 0.02, 0.003, 0.008, 5)
    delta = float(skin_depth(100e3, 1.7241e-8))
    slab = impedance_over_layers(coil_c, [Layer(1.7241e-8, 1, 25 * delta)], 100e3)
    assert slab == pytest.approx(impedance_over_layers(coil_c, [Layer(1.7241e-8)], 100e3), rel=1e-9)


RODS = [p for p in entries("dodd_deeds", "rod") if isinstance(p.values[0]["inputs"], dict)]
GIVEN = {p.id.rsplit("-", 1)[0]: p.values[0]["inputs"] for p in RODS if "rod_radius_m" in p.values[0]["inputs"]}


@pytest.mark.parametrize("entry", RODS)
def test_loops_round_a_rod(entry):
    name, part = entry["id"].rsplit("-", 1)
    g = GIVEN[name]
    change = impedance_round_rod(g["loop_radii_m"], g["z_m"], g["rod_radius_m"], g["f_Hz"], 1 / g["sigma"], g["mu_r"])
    meets(entry, change.real if part == "R" else change.imag)


@pytest.mark.parametrize("entry", [p for p in entries("dodd_deeds", "rod_2") if p.values[0]["inputs"]])
def test_solenoid_round_a_rod(entry):
    g = entry["inputs"]
    sheet = impedance_round_rod(
        g["R_m"], 0.0, g["a_rod_m"], g["f_Hz"], g["rho"], g["mu_r"], sheet_length=g["l_m"]
    )
    change = g["N"] ** 2 * sheet
    meets(entry, [change.real, change.imag])


def sheet_round_rod(length, pitch, rho):
    one = impedance_round_rod(0.025, 0.0, 0.02, 10e3, rho, sheet_length=length)
    return one * (length / pitch) ** 2


def test_long_solenoid_gives_the_bar_in_a_uniform_field():
    """EM-ROD-LIM, DD-R-LIM: R grows with the coil's length as the long bar's power says (86.870 ohm/m, 0.1 %)."""
    entry = next(p.values[0] for p in entries("dodd_deeds", "rod") if p.id == "EM-ROD-LIM")
    pitch = 0.5e-3
    short, long = (sheet_round_rod(length, pitch, 1e-6).real for length in (0.5, 1.0))
    meets(entry, (long - short) / 0.5)
    bar = float(bar_power(0.02, 1 / pitch, 10e3, 1e-6))
    assert (long - short) / 0.5 == pytest.approx(bar, rel=1e-3)


def test_perfect_rod_takes_its_own_section_out_of_the_flux():
    """EM-ROD-PEC: slope of ΔL with length is -µ0 π a²/pitch², to 0.2 %."""
    entry = next(p.values[0] for p in entries("dodd_deeds", "rod") if p.id == "EM-ROD-PEC")
    pitch, w = 0.5e-3, 2 * np.pi * 10e3
    short, long = (sheet_round_rod(length, pitch, 1e-16).imag / w for length in (0.5, 1.0))
    meets(entry, (long - short) / 0.5)
    assert (long - short) / 0.5 == pytest.approx(-MU_0 * np.pi * 0.02**2 / pitch**2, rel=2e-3)
