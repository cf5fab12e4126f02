"""A source behind its tank drives the shot: energy closes, the frequency follows, limits bite with their reason."""

import json
import re
from functools import lru_cache

import numpy as np
import pytest

from coilwright.cli.main import main
from coilwright.errors import BadInput
from coilwright.job import loads
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from coilwright.steps.tank import tank
from tests.heating.jobs import WASHER

TANK = """
[tank]
arrangement = "series"
bank_side = "source"
[tank.transformer]
ratio = 10
source_leakage = "0.4 uH"
source_resistance = "10 mohm"
coil_leakage = "5 nH"
coil_resistance = "0.3 mohm"
magnetising_inductance = "300 uH"
core_resistance = "2 kohm"
[[capacitor]]
name = "film 0.11 uF"
place = "tank"
capacitance = "0.11 uF"
loss_tangent = 5e-4
rated_voltage = "700 V"
rated_current = "80 A"
[source]
kind = "voltage-fed full bridge"
dc_voltage = "320 V"
follow = "phase"
phase = "10 deg"
hold = "coil current"
coil_current = "230.1 A"
limits = { current = "48 A", power = "5 kW", lowest_frequency = "80 kHz", highest_frequency = "120 kHz" }
[cooling]
inlet = "18 degC"
flow = "0.8 L/min"
"""
DRIVEN = WASHER.replace('coil_current = "230.1 A"\n', "") + TANK

STEEL = """
format = 1
[job]
title = "steel bar on a source"
[[material]]
name = "test steel"
source = "invented"
resistivity = { at = ["20 degC", "1000 degC"], is = ["0.16 uohm m", "1.10 uohm m"] }
relative_permeability = { at = ["20 degC", "740 degC", "780 degC"], is = [20, 20, 1] }
thermal_conductivity = "40 W/m/K"
specific_heat = "650 J/kg/K"
density = "7850 kg/m^3"
emissivity = 0.8
[[body]]
name = "bar"
material = "test steel"
shape = { kind = "bar", diameter = "20 mm", length = "60 mm" }
[coil]
winding = "helix"
turns = 8
mean_diameter = "36 mm"
pitch = "8 mm"
conductor = { section = "round tube", outside = "6 mm", bore = "4 mm" }
[drive]
on_time = "20 s"
[[accept]]
body = "bar"
reaches = "850 degC"
at = "hottest"
within = "20 s"
"""


@lru_cache(maxsize=1)
def driven():
    return heat(loads(DRIVEN, "washer.toml"), estimate_error=False)


def test_source_power_is_coil_power_and_losses_at_every_instant():
    trace = driven().trace
    rest = trace.coil.power + sum(trace.source.losses.values())
    assert np.abs(trace.source.power / rest - 1.0).max() < 1e-6
    assert set(trace.source.losses) == {
        "tank", "transformer source winding", "transformer core", "transformer coil winding",
    }  # fmt: skip


def test_held_coil_current_heats_like_a_set_one():
    """Same current; the frequency sits 3.6 % above 100 kHz, and a thin washer's power goes with nearly its square."""
    set_current = heat(loads(WASHER, "washer.toml"), estimate_error=False)
    ratio = driven().trace.bodies["washer"].power[0] / set_current.trace.bodies["washer"].power[0]
    shift = driven().trace.coil.frequency[0] / 1e5
    assert np.log(ratio) / np.log(shift) == pytest.approx(1.6, abs=0.3)


def test_power_laws_carry_the_field_to_the_frequency_asked():
    """The field of the shot at a frequency between two grid points against one solved right there."""
    result = driven()
    here = float(result.trace.coil.frequency[0])
    job = loads(WASHER.replace("100 kHz", f"{here} Hz"), "washer.toml")
    straight = field(job, estimate_error=False).result
    power = result.trace.bodies["washer"].power[0]
    assert power == pytest.approx(straight.body_powers["washer"], rel=2e-4)
    assert result.trace.coil.resistance[0] == pytest.approx(straight.loaded.resistance, rel=2e-4)


def test_frequency_moves_as_steel_passes_its_curie_point():
    """Common practice, no source: the loaded coil loses inductance and the frequency rises by some per cent."""
    text = STEEL + TANK.replace('"0.11 uF"', '"3.4 uF"').replace("230.1 A", "580 A").replace("80 kHz", "8 kHz")
    text = text.replace("120 kHz", "16 kHz").replace("5 kW", "20 kW").replace('"48 A"', '"80 A"')
    result = heat(loads(text, "bar.toml"), estimate_error=False)
    coil = result.trace.coil
    assert result.passed
    assert coil.frequency.max() / coil.frequency[0] > 1.02
    assert coil.resistance.min() < 0.6 * coil.resistance.max()
    assert np.abs(coil.current / 580.0 - 1.0).max() < 1e-3
    assert abs(result.energy.imbalance) < 1e-5


def test_a_source_too_small_fails_with_the_reason():
    small = DRIVEN.replace('power = "5 kW"', 'power = "200 W"')
    result = heat(loads(small, "washer.toml"), estimate_error=False)
    assert not result.passed
    (finding,) = [f for f in result.findings if f.code == "source-limit"]
    assert "coil current limited to" in finding.text
    assert "by the source power limit (200 W) from 0.00 s" in finding.text
    assert result.trace.source.power.max() == pytest.approx(200.0, rel=1e-3)


def test_report_has_every_side_of_the_machine():
    study = tank(loads(DRIVEN, "washer.toml")).report
    assert study.cold.frequency == pytest.approx(103.65e3, rel=2e-3)
    assert study.empty.loaded_q > study.cold.loaded_q
    assert {r.quantity for r in study.worst} == {"voltage", "current"}
    loss = study.cooling.element("coil").loss
    copper = study.shot.trace.coil.power - study.shot.trace.bodies["washer"].power
    assert loss == pytest.approx(copper.max(), rel=1e-6)
    told = {c.hazard for c in study.cautions}
    assert {"live coil and leads", "stored charge", "implants", "magnetic field", "who decides"} <= told
    assert "evacuated glass" not in told


def test_the_hot_point_runs_at_the_level_that_the_programme_ends_with():
    steps = '[[drive.step]]\nfrom = "0 s"\nto = "2 s"\nlevel = 1.0\n[[drive.step]]\nfrom = "2 s"\nto = "3 s"\nlevel = 0.6\n'
    text = re.sub(r'on_time = ".*"\n', "", DRIVEN).replace("[drive]", f"{steps}[drive]")
    study = tank(loads(text, "washer.toml")).report
    coil = study.shot.trace.coil.current
    on = np.flatnonzero(coil > 0.0)
    for point, k in ((study.cold, on[0]), (study.hot, on[-1])):
        assert point.coil_current == pytest.approx(coil[k], rel=1e-3)
    assert study.hot.coil_current == pytest.approx(0.6 * study.cold.coil_current, rel=1e-2)


def test_command(capsys, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(DRIVEN, encoding="utf-8")
    main_code = 0
    try:
        main(["tank", str(path), "--json"])
    except SystemExit as leave:
        main_code = leave.code or 0
    data = json.loads(capsys.readouterr().out)
    assert main_code == 0
    assert data["cold"]["source"]["power_W"] > data["cold"]["coil"]["power_W"]
    assert data["cautions"][-1]["hazard"] == "who decides"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('lowest_frequency = "80 kHz"', 'lowest_frequency = "110 kHz"', "kHz"),
        ("[tank]", "[no_tank]", "no_tank"),
        ('capacitance = "0.11 uF"', 'capacitance = "0 uF"', "capacitance"),
    ],
)
def test_wrong_tanks_are_sentences(old, new, says):
    with pytest.raises(BadInput, match=says):
        tank(loads(DRIVEN.replace(old, new), "washer.toml"))


def test_no_source_is_a_sentence():
    with pytest.raises(BadInput, match="source"):
        tank(loads(WASHER, "washer.toml"))
