"""Awkward settings at the default meshes against the next finer level: hair gaps, ferrite, steel, strip, close winding.

Own computation against own computation: it shows that the default meshes are fine enough and that the reported error
estimate holds, not that the formulation is right (for that see tests/published).
"""

import pytest

from coilwright.field.inputs import CoilModel, ConductorTurn, FieldModel
from coilwright.field.solve import solve_field
from coilwright.section.geometry import Section, SectionBody, turn_outline
from coilwright.section.meshing import mesh_section
from coilwright.section.outline import Outline
from coilwright.section.sizes import BodySize, MeshRule
from tests.field.cases import COPPER, body, skin_depth

HELIX = [(0.012, -0.005 * k) for k in range(4)]
CLOSE = [(0.012, -0.0021 * k) for k in range(6)]
TUBE = ("round tube", {"outside": 0.004, "bore": 0.0025})
WASHER = ("part", 0.0025, 0.0045, 0.0027, 0.0033, 0.72e-6, 1.0)
# name: frequency, turns, conductor, bodies as (name, r0, r1, z0, z1, resistivity or None, relative permeability)
SETTINGS = {
    "gap of 0.2 mm": (1e5, HELIX, TUBE, [("part", 0.0025, 0.0098, -0.0003, 0.0003, 0.72e-6, 1.0)]),
    "gap of 0.05 mm": (4e5, HELIX, TUBE, [("part", 0.0025, 0.00995, -0.0003, 0.0003, 0.72e-6, 1.0)]),
    "ferrite core": (
        1e5,
        HELIX,
        TUBE,
        [("core", 0.0, 0.005, -0.02, 0.005, None, 500.0), ("part", 0.006, 0.008, 0.0055, 0.0065, 0.72e-6, 1.0)],
    ),
    "steel bar": (1e4, HELIX, TUBE, [("part", 0.0, 0.008, -0.04, 0.02, 0.2e-6, 50.0)]),
    "thin shell": (1e5, HELIX, TUBE, [("part", 0.008, 0.0081, -0.02, 0.005, 0.72e-6, 1.0)]),
    "strip": (1e5, HELIX, ("strip", {"width": 0.001, "height": 0.004}), [WASHER]),
    "rectangular tube": (1e5, HELIX, ("rectangular tube", {"width": 0.004, "height": 0.004, "wall": 0.0008}), [WASHER]),
    "close winding": (1e6, CLOSE, ("round wire", {"diameter": 0.002}), [WASHER]),
}


def model(setting, level):
    frequency, turns, (kind, size), bodies = setting
    section = Section(
        tuple(
            SectionBody(name, "work", "m", (Outline.rectangle((r0, r1), (z0, z1)),), name)
            for name, r0, r1, z0, z1, *_ in bodies
        ),
        tuple(turn_outline(k + 1, r, z, 1.0, kind, **size) for k, (r, z) in enumerate(turns)),
    )
    depths = {name: skin_depth(frequency, rho, mu) for name, *_, rho, mu in bodies if rho}
    depths["coil"] = skin_depth(frequency, COPPER)
    sizes = {name: BodySize(depth, depth) for name, depth in depths.items()}
    mesh = mesh_section(section, {"core": BodySize(), **sizes}, MeshRule(level=level))
    laws = {name: (rho, mu) for name, *_, rho, mu in bodies}
    return FieldModel(
        CoilModel(tuple(ConductorTurn(t.base, COPPER, t.z, t.weight) for t in mesh.turns)),
        tuple(body(g.names[0], g.mesh, *laws[g.names[0]]) for g in mesh.groups),
        frequency,
    )


@pytest.mark.parametrize("name", SETTINGS)
def test_default_mesh_and_its_error_estimate(name):
    setting = SETTINGS[name]
    fine = solve_field(model(setting, "fine"))
    normal = solve_field(model(setting, "normal"), coarse=model(setting, "coarse"))
    pairs = [
        (normal.loaded.resistance, fine.loaded.resistance, normal.error.resistance),
        (normal.loaded.inductance, fine.loaded.inductance, normal.error.inductance),
        (normal.body_powers["part"], fine.body_powers["part"], normal.error.power["part"]),
    ]
    for got, better, estimate in pairs:
        assert got == pytest.approx(better, rel=5e-4)
        assert abs(got / better - 1.0) < 3.0 * estimate
    assert normal.power_mismatch < 3e-4
