"""What is said beside a field result about helices and concentrators, and slit rings from a job."""

import coilwright as cw
from coilwright.field.scene_findings import scene_findings
from coilwright.section.scene import scene
from tests.heating.jobs import WASHER

CORE = """[[body]]
name = "core"
role = "concentrator"
material = "manganese-zinc ferrite"
shape = { kind = "bar", diameter = "4 mm", length = "20 mm" }
centre = "-7.5 mm"
space = "vacuum"
[coil]
"""


def codes(text):
    return [f.code for f in scene_findings(scene(cw.loads(text)))]


def test_a_steep_helix_is_told_and_a_flat_one_not():
    assert codes(WASHER) == ["helix-as-rings"]
    flat = WASHER.replace('"24 mm"', '"200 mm"')
    assert codes(flat) == []


def test_a_part_turn_is_told():
    (found,) = scene_findings(scene(cw.loads(WASHER.replace("turns = 4", "turns = 3.5"))))
    assert "last 0.5 of a turn" in found.text


def test_loss_of_a_concentrator_is_said_to_be_missing():
    (_, found) = scene_findings(scene(cw.loads(WASHER.replace("[coil]\n", CORE))))
    assert (found.code, found.where) == ("concentrator-loss-not-modelled", 'body "core"')


def test_cut_ring_of_a_job_is_cooler_in_field_and_shot():
    cut = WASHER.replace('name = "washer"\nrole', 'name = "washer"\nslit = true\nrole')
    closed, slit = (cw.field(cw.loads(t), estimate_error=False).result for t in (WASHER, cut))
    assert 0.0 < slit.body_powers["washer"] < 0.3 * closed.body_powers["washer"]
    assert slit.power_mismatch < 1e-3
    hot, cool = (cw.heat(cw.loads(t), estimate_error=False) for t in (WASHER, cut))
    assert 0.0 < cool.energy.induced < 0.4 * hot.energy.induced
    assert cool.error.power_balance < 1e-3
