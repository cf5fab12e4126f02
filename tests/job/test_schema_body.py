"""Bodies with all their optional keys."""

import pytest

from coilwright.errors import BadInput

from .making import RING, job


def test_left_out_keys_have_plain_defaults():
    body = job().body("ring")
    assert (body.role, body.space, body.inside_space, body.centre, body.slit) == ("work", "air", None, 0.0, False)
    assert body.overrides.resistivity is None
    assert body.charge is None


def test_every_optional_key():
    more = """
role = "bystander"
centre = "-3 mm"
space = "air"
inside_space = "vacuum"
emissivity = 0.35
initial_temperature = "120 degC"
slit = true
overrides = { resistivity = "0.72 uohm m", relative_permeability = 1, thermal_conductivity = "20 W/m/K" }
support = { conductance = "2 mW/K" }
charge = { mass = "12 mg", heat = "60 J/g", rate_constant = "8.6e11 1/s", activation_energy = "250 kJ/mol", order = 1 }
"""
    body = job(shape=RING + more).body("ring")
    assert body.centre == -0.003
    assert body.inside_space == "vacuum"
    assert body.initial_temperature == pytest.approx(393.15)
    assert body.overrides.relative_permeability == 1.0
    assert body.overrides.resistivity == pytest.approx(0.72e-6)
    assert body.support.conductance == 0.002
    assert body.charge.kind == "barium-aluminium/nickel"
    assert (body.charge.mass, body.charge.heat, body.charge.rate_constant) == pytest.approx((12e-6, 60e3, 8.6e11))
    assert (body.charge.activation_energy, body.charge.order) == (250e3, 1.0)


def test_material_of_the_job():
    material = """
[[material]]
name = "trial steel"
source = "own measurement"
resistivity = { at = ["20 degC", "1000 degC"], is = ["0.16 uohm m", "1.10 uohm m"] }
relative_permeability = { at = ["20 degC", "740 degC", "780 degC"], is = [20, 20, 1] }
thermal_conductivity = "40 W/m/K"
specific_heat = "650 J/kg/K"
density = "7850 kg/m^3"
emissivity = 0.8
"""
    read = job(shape=RING.replace("shape", 'overrides = { density = "7800 kg/m^3" }\nshape'), more=material)
    assert read.materials[0]["name"] == "trial steel"
    assert "trial steel" in read.library()
    changed = read.with_value("body.ring.material", "trial steel")
    assert changed.body("ring").material == "trial steel"
    assert "trial steel" not in job().library()


def test_faults_of_the_jobs_own_materials_are_listed_with_the_others():
    with pytest.raises(BadInput) as caught:
        job(shape=RING.replace('"9 mm"', '"9"'), more='[[material]]\nname = "odd"\nlike = "copper"\ndensity = 5')
    sentences = [str(f) for f in caught.value.faults]
    assert any(s.startswith('job.toml: body "ring": shape.outer_diameter: "9" has no unit') for s in sentences)
    assert any(s.startswith('job.toml: material "odd": density:') for s in sentences)


@pytest.mark.parametrize(
    ("key", "value", "says"), [("emissivity", "1.2", "at most 1, not 1.2"), ("slit", '"yes"', "must be true or false")]
)
def test_is_refused(key, value, says):
    with pytest.raises(BadInput, match=says):
        job(shape=f"{RING}\n{key} = {value}")
