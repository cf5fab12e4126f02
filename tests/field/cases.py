"""Block meshes of round-tube turns, washers and bars for the tests of the field layer."""

import math
from dataclasses import dataclass

import numpy as np

from coilwright.field.inputs import CoilModel, ConductorTurn, Constant, FieldModel, Linear, LiveBody, RegionLaw
from coilwright.section.blocks import disc, graded, rectangle
from coilwright.section.mesh import Mesh

MU0 = 4e-7 * math.pi
COPPER = 1.724137931034483e-8


def skin_depth(frequency, resistivity, mu_r=1.0):
    return math.sqrt(resistivity / (math.pi * frequency * MU0 * mu_r))


@dataclass(frozen=True)
class Level:
    """How fine: elements round a turn, first layer in skin depths there and in bodies, growth, corner elements."""

    around: int = 20
    first: float = 0.6
    growth: float = 1.5
    body_first: float = 0.6
    corner: float = 0.2
    longest: float = 0.25  # of the body's smaller size


FINE = Level()
COARSE = Level(around=14, first=1.0, growth=1.8, body_first=1.0, corner=0.4, longest=0.34)


def tube_mesh(radius, outside, bore, frequency, resistivity, level):
    """Round tube (diameters in m) round the point (radius, 0)."""
    b, a = outside / 2.0, bore / 2.0
    depth = skin_depth(frequency, resistivity)
    wall = graded(a, b, min(level.first * depth, (b - a) / 2.0), level.growth, (b - a) / 2.0, ends="end")
    if a == 0.0:
        return disc((radius, 0.0), wall, level.around, "turn")
    rho = np.concatenate([np.linspace(0.0, a, 3)[:-1], wall])
    return disc((radius, 0.0), rho, level.around, "turn", bore=(a, "bore"))


def coil(turns, frequency, level):
    """`turns` as (radius, z, outside diameter, bore diameter, resistivity)."""
    meshes: dict[tuple, Mesh] = {}
    out = []
    for radius, z, outside, bore, rho in turns:
        key = (radius, outside, bore, rho)
        if key not in meshes:
            meshes[key] = tube_mesh(radius, outside, bore, frequency, rho, level)
        out.append(ConductorTurn(meshes[key], rho, shift=z))
    return CoilModel(tuple(out))


def block(r0, r1, z0, z1, frequency, resistivity, mu_r, level, region):
    depth = skin_depth(frequency, resistivity, mu_r)
    size = min(r1 - r0, z1 - z0)
    first = min(level.corner * depth, size / 6.0)
    r = graded(r0, r1, first, level.growth, (r1 - r0) * level.longest, ends="end" if r0 == 0.0 else "both")
    z = graded(z0, z1, first, level.growth, size * level.longest if r0 == 0.0 else (z1 - z0) * level.longest)
    return rectangle(r, z, region)


def body(name, mesh, resistivity, mu_r=1.0, **more):
    law = RegionLaw(None if resistivity is None else Constant(resistivity), Linear(mu_r))
    return LiveBody(name, mesh, dict.fromkeys(mesh.regions, law), **more)


def reference_turns(case):
    turns = [(t["r"], t["z"], t["od"], t["bore"], t["rho"]) for t in case["turns"]]
    if case["half_model"]:
        turns = [(r, -z, od, bore, rho) for r, z, od, bore, rho in reversed(turns)] + turns
    return turns


def reference_model(case, level=FINE, part=True):
    """FieldModel of one case of field_reference.json."""
    f, p = case["f"], case["part"]
    bodies = ()
    if part:
        mesh = block(p["r0"], p["r1"], p["z0"], p["z1"], f, p["rho"], p["mur"], level, "part")
        bodies = (body("part", mesh, p["rho"], p["mur"]),)
    points = {k: tuple(v) for k, v in case["points"].items()}
    return FieldModel(coil(reference_turns(case), f, level), bodies, f, points)
