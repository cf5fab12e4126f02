"""Displaced and tilted coils against own converged three-dimensional runs, and tilted loops against published values."""

import json
import math
from functools import cache

import numpy as np
import pytest

from coilwright.field.inputs import FieldModel
from coilwright.field.pose import PosePart
from coilwright.field.pose_incident import Pose, filament_rings, incident, pose_rows
from coilwright.field.solve import Field
from tests.field.cases import FINE, block, body
from tests.published.catalogue import HERE, entries, meets

CASES = {c["name"]: c for c in json.loads((HERE / "poses.json").read_text(encoding="utf-8"))["cases"]}
ROWS = [
    pytest.param(name, row, id=f"{name}, {1e3 * row['offset']:g} mm, {row['tilt_deg']:g} deg")
    for name, case in CASES.items()
    for row in case["rows"]
]


@cache
def prepared(name):
    case = CASES[name]
    p = case["part"]
    mesh = block(p["r0"], p["r1"], p["z0"], p["z1"], case["f"], p["rho"], p["mur"], FINE, "part")
    model = FieldModel(None, (body("part", mesh, p["rho"], p["mur"]),), case["f"])
    return PosePart.of(Field.of(model), rings=filament_rings(*np.transpose(p["rings"])))


def pose_of(name, row):
    return Pose(row["offset"], tilt_y=math.radians(row["tilt_deg"]), pivot=CASES[name]["part"]["pivot"])


@pytest.mark.parametrize("name", CASES)
def test_power_in_line(name):
    assert prepared(name).power(Pose())[0][0] == pytest.approx(CASES[name]["power"], rel=1e-4)


@pytest.mark.parametrize(("name", "row"), ROWS)
def test_change_of_power(name, row):
    here, in_line = prepared(name).power([pose_of(name, row), Pose()])[0]
    assert here / in_line - 1 == pytest.approx(row["change"], abs=1e-4, rel=0)


@pytest.mark.parametrize(("name", "row"), [p for p in ROWS if p.values[1]["ratio"] is not None])
def test_side_ratio(name, row):
    part = prepared(name)
    tenths = np.radians([-4.0, -2.0, 0.0, 2.0, 4.0])
    loss = part.loss_map(pose_of(name, row), np.concatenate([tenths, tenths + math.pi])).reshape(2, 5, -1).mean(axis=1)
    inside = part.inside.inside
    weight = (inside.ring * (inside.mesh.gauss.r > CASES[name]["part"].get("inner", 0.0))).ravel()
    near, far = loss @ weight
    assert far / near == pytest.approx(row["ratio"], abs=1e-3)


def test_a_tilted_long_bar_needs_its_harmonics():
    """Its power rises, though the mean field alone says it falls."""
    here, in_line = prepared("bar 10 kHz").power([Pose(tilt_y=math.radians(5.0)), Pose()])[1]
    assert here.sum() > in_line.sum()
    assert here[0] < in_line[0]


@pytest.mark.parametrize("entry", entries("tilted_loops", "pair"))
def test_mutual_inductance_of_two_loops(entry):
    """Flux of the posed loop through the other: 2 pi times the mean of r A round it."""
    given = entry["inputs"]
    normal = np.asarray(given["normal"], dtype=float)
    normal /= np.linalg.norm(normal)
    across = math.hypot(normal[0], normal[1])
    angle = math.atan2(across, normal[2])
    tilt = (-normal[1] * angle / across, normal[0] * angle / across) if across > 0 else (0.0, 0.0)
    pose = Pose(*given["centre_m"], *tilt)
    ring = filament_rings([given["Rs_m"]], [0.0])
    at = np.array([[given["Rp_m"], 0.0]])
    value = 2 * math.pi * incident(ring, at, pose_rows(pose), 1, 1024).potential[0, 0].real
    meets(entry, value * 1e9 if entry["unit"] == "nH" else value, floor=1e-8)
