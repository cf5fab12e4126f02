"""Thin films: loss against closed forms, heat into the body below, and what is refused."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.formulas_loads import thin_tube_power, thin_tube_tau
from coilwright.field.inputs import Constant, FieldModel, LiveBody, RegionLaw
from coilwright.field.solve import Field
from coilwright.heating.model import shot_model
from coilwright.job import loads
from coilwright.section.films import mesh_film
from coilwright.section.geometry import Section, SectionFilm
from coilwright.section.scene import scene
from coilwright.section.sizes import BodySize, MeshRule
from coilwright.steps.field import field
from coilwright.steps.heat import heat

MU0 = 4e-7 * np.pi
BARIUM = 0.3323e-6  # ohm m: the library's value at 20 degC

JOB = """
format = 1
[job]
title = "metal film inside a glass tube (invented)"
[[body]]
name = "tube"
role = "bystander"
material = "soda-lime glass"
shape = { kind = "tube", outer_diameter = "22 mm", inner_diameter = "20 mm", length = "40 mm" }
[[body]]
name = "film"
role = "bystander"
material = "barium"
shape = { kind = "film", diameter = "20 mm", length = "5 mm", thickness = "0.5 um" }
centre = "2 mm"
[coil]
winding = "helix"
turns = 4
mean_diameter = "32 mm"
pitch = "6 mm"
conductor = { section = "round tube", outside = "4 mm", bore = "2.5 mm", material = "copper" }
[drive]
frequency = "400 kHz"
coil_current = "150 A"
on_time = "1 s"
"""


def job(**changes):
    made = loads(JOB, "film.toml")
    return made.with_values({k.replace("__", "."): v for k, v in changes.items()}) if changes else made


def alone(radius, length, thickness, resistivity, frequency, background, flat=False):
    """The field of one film in a uniform axial flux density (T rms)."""
    line = ((0.0, 0.0), (radius, 0.0)) if flat else ((radius, -length / 2), (radius, length / 2))
    film = SectionFilm("film", "work", "metal", *line, thickness)
    depth = np.sqrt(resistivity / (np.pi * frequency * MU0))
    mesh = mesh_film(film, Section((), films=(film,)), {}, BodySize(depth, depth), MeshRule(), (0.0,))
    body = LiveBody("film", mesh, {"film": RegionLaw(Constant(resistivity))})
    return Field.of(FieldModel(None, (body,), frequency, background=background)).solve(0.0), mesh


def test_film_on_a_cylinder_loses_what_its_rings_resist():
    """P = (w B a / 2)^2 t 2 pi a L / rho, rings of E = w B a / 2, no field of their own (tau 7e-4)."""
    a, length, t, f, flux = 10e-3, 5e-3, 5e-8, 50e3, 1e-3
    result, _ = alone(a, length, t, BARIUM, f, flux)
    assert thin_tube_tau(a, t, f, BARIUM) < 1e-3
    expected = (np.pi * f * flux * a) ** 2 / BARIUM * t * 2 * np.pi * a * length
    assert result.body_powers["film"] == pytest.approx(expected, rel=1e-4)


def test_flat_film_loses_what_its_rings_resist():
    """P = pi w^2 B^2 t R^4 / (8 rho): the same rings, over a disc."""
    radius, t, f, flux = 8e-3, 5e-8, 50e3, 1e-3
    result, _ = alone(radius, 0.0, t, BARIUM, f, flux, flat=True)
    expected = np.pi * (2 * np.pi * f * flux) ** 2 * t * radius**4 / (8 * BARIUM)
    assert result.body_powers["film"] == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("thickness", [1e-6, 8e-6, 30e-6])
def test_long_film_is_a_thin_tube(thickness):
    """Landau & Lifshitz, section 59: loss per length in the middle of a long thin tube, below, at and above its peak."""
    a, length, f, flux = 10e-3, 0.6, 20e3, 1e-3
    result, mesh = alone(a, length, thickness, 2.65e-8, f, flux)
    g = mesh.gauss
    middle = np.abs(g.z) < 0.05 * length
    heat = np.sum((result.loss_density * g.weight * g.r)[middle]) / np.sum((g.weight * g.r)[middle])
    per_length = heat * 2 * np.pi * a * thickness
    assert per_length == pytest.approx(thin_tube_power(a, thickness, flux / MU0, f, 2.65e-8), rel=4e-3)


def test_field_reports_the_film_apart_from_its_carrier():
    report = field(job())
    assert set(report.result.body_powers) == {"film"}
    assert report.result.power_mismatch < 1e-4
    assert report.result.error.largest < 2e-3


def test_film_heats_the_glass_below_it():
    shot = heat(job(), estimate_error=False)
    film = field(job(), estimate_error=False).result.body_powers["film"]
    assert shot.trace.bodies["tube"].power[0] == pytest.approx(film, rel=1e-3)
    assert abs(shot.energy.imbalance) < 1e-6
    assert shot.trace.bodies["tube"].maximum[-1] > shot.trace.bodies["tube"].mean[-1] + 20.0


def test_film_spreads_its_heat_where_it_lies():
    model = shot_model(scene(job()), 400e3)
    mesh = model.stepper.model.mesh
    loss = model.field.solve(0.0, np.full((len(mesh.quads), 16), 293.15), 1.0, 400e3)
    middle = mesh.points[mesh.quads].mean(axis=1)
    warm = loss.density.sum(axis=1) > 0.0
    assert middle[warm, 0].max() < 10.6e-3
    assert middle[warm, 1].min() > -3e-3
    assert middle[warm, 1].max() < 7e-3
    total = np.sum(loss.density * 2 * np.pi * mesh.gauss.r * mesh.gauss.weight)
    assert total == pytest.approx(loss.bodies["tube"], rel=1e-12)


def test_film_on_metal_is_refused():
    with pytest.raises(BadInput, match="must lie on glass or ceramic"):
        field(job(body__tube__material="copper"))


def test_film_of_glass_is_refused():
    with pytest.raises(BadInput, match="must conduct to be a film"):
        field(job(body__film__material="soda-lime glass"))


def test_film_that_hangs_free_has_nothing_to_heat():
    with pytest.raises(BadInput, match="hangs free"):
        heat(job(body__film__shape__diameter="15 mm"))


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ('[[accept]]\nbody = "film"\nstays_below = "100 degC"\n', "name the body it lies on"),
        ('[[contact]]\nbodies = ["film", "tube"]\nconductance = "1 W/K"\n', "passes its heat to what it lies on"),
    ],
)
def test_nothing_thermal_is_asked_of_a_film(more, sentence):
    with pytest.raises(BadInput, match=sentence):
        loads(JOB + more, "film.toml")


def test_film_takes_no_charge():
    text = JOB.replace(
        'centre = "2 mm"', 'centre = "2 mm"\ncharge = { mass = "1 mg", kind = "barium-aluminium/nickel" }'
    )
    with pytest.raises(BadInput, match="a film has no heat of its own"):
        loads(text, "film.toml")
