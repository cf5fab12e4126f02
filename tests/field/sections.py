"""Sections of the reference cases, meshed by the rules the tool itself uses."""

from coilwright.field.inputs import CoilModel, ConductorTurn, FieldModel
from coilwright.section.geometry import Section, SectionBody, SectionPoint, turn_outline
from coilwright.section.meshing import mesh_section
from coilwright.section.outline import Outline
from coilwright.section.sizes import BodySize, MeshRule
from tests.field.cases import body, reference_turns, skin_depth


def reference_section(case):
    p = case["part"]
    outline = Outline.rectangle((p["r0"], p["r1"]), (p["z0"], p["z1"]))
    turns = tuple(
        turn_outline(k + 1, r, z, 1.0, "round tube", outside=od, bore=bore)
        for k, (r, z, od, bore, _) in enumerate(reference_turns(case))
    )
    points = tuple(SectionPoint(name, *at) for name, at in case["points"].items())
    return Section((SectionBody("part", "work", "metal", (outline,), "part"),), turns, points)


def reference_model(case, level="normal"):
    """FieldModel of one case of field_reference.json on the tool's own meshes."""
    f, p = case["f"], case["part"]
    copper = case["turns"][0]["rho"]
    sizes = {
        "part": BodySize(*(2 * (skin_depth(f, p["rho"], p["mur"]),))),
        "coil": BodySize(*(2 * (skin_depth(f, copper),))),
    }
    mesh = mesh_section(reference_section(case), sizes, MeshRule(level=level))
    turns = tuple(ConductorTurn(t.base, copper, t.z, t.weight) for t in mesh.turns)
    points = {k: tuple(v) for k, v in case["points"].items()}
    return FieldModel(CoilModel(turns), (body("part", mesh.groups[0].mesh, p["rho"], p["mur"]),), f, points)
