"""Real tube turns close to a bar, set aside and tilted, in three dimensions with the finite-element library ngsolve.

Unlike in the package the turns' currents are free to crowd wherever the pose drives them. Half model y > 0 (A x n = 0 there
and on a far sphere), whole field A; every turn has its own voltage and all carry 1 A rms. Lengths in mm.

    python -m tests.crosscheck.ngsolve_pose [NAME]      computes what pose_reference.json does not hold yet
"""

import json
import math
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MM = 1e-3
MU0 = 4e-7 * math.pi
STORED = Path(__file__).with_name("pose_reference.json")
FAR = 300.0


@dataclass(frozen=True)
class Case:
    """A bar (radius, half length mm) under tube turns (mean radius, height mm) of outside and bore (mm), in line and out of it:
    `offset` (mm) along +x after a `tilt` (deg) round +y through the origin, which lowers the +x side. `stages`: order and size
    (mm, about a tube's wall) of the elements; the change from one to the next tells what is resolved."""

    name: str
    turns: tuple[tuple[float, float], ...]
    offset: float
    tilt: float
    stages: tuple[tuple[int, float], ...]
    bar: tuple[float, float] = (8.0, 6.0)
    tube: tuple[float, float] = (4.0, 2.5)
    frequency: float = 10e3
    rho_bar: float = 3e-7
    rho_turn: float = 1.72e-8


CASES = (
    Case("one turn, 1 mm gap, 0.5 mm aside", ((11.0, 0.0),), 0.5, 0.0, ((2, 1.5), (3, 1.1))),
    Case(
        "two turns, 1 mm gap, 0.3 mm aside and tilted 4 deg",
        ((11.0, -2.5), (11.0, 2.5)),
        0.3,
        4.0,
        ((2, 1.5), (3, 1.5)),
    ),
)


def _solids(case, offset, tilt):
    """Bar, tubes and their bores of the half y > 0, and what tells the far sphere from the plane of symmetry."""
    from netgen.occ import Axes, Axis, Box, Cylinder, Pnt, WorkPlane, X, Y, Z

    radius, half = case.bar
    keep = Box(Pnt(-2 * FAR, 0, -2 * FAR), Pnt(2 * FAR, 2 * FAR, 2 * FAR))
    bar = Cylinder(Pnt(0, 0, -half), Z, radius, 2 * half) * keep
    tubes, bores = [], []
    for mean, z in case.turns:
        outside, bore = (
            WorkPlane(Axes((mean, 0, z), Y, X)).Circle(0.5 * d).Face().Revolve(Axis((0, 0, 0), Z), 360)
            for d in case.tube
        )
        moved = [s.Rotate(Axis((0, 0, 0), Y), tilt).Move((offset, 0, 0)) * keep for s in (outside, bore)]
        tubes.append(moved[0] - moved[1])
        bores.append(moved[1])
    return bar, tubes, bores, keep


def _mesh(case, offset, tilt, size):
    from netgen.occ import Glue, OCCGeometry, Pnt, Sphere
    from ngsolve import Mesh

    bar, tubes, bores, keep = _solids(case, offset, tilt)
    air = Sphere(Pnt(0, 0, 0), FAR) * keep - bar
    for tube, bore in zip(tubes, bores, strict=True):
        air = air - tube - bore
    bar.mat("bar")
    bar.maxh = 1.8 * size
    for k, (tube, bore) in enumerate(zip(tubes, bores, strict=True)):
        tube.mat(f"turn{k}")
        tube.maxh = 1.0 * size
        bore.mat("air")
        bore.maxh = 2.0 * size
    air.mat("air")
    shape = Glue([bar, *tubes, *bores, air])
    for face in shape.faces:
        low, high = face.bounding_box
        flat = abs(low.y) < 1e-6 and abs(high.y) < 1e-6
        face.name = "held" if flat or high.z > 0.5 * FAR else "inner"
    mesh = Mesh(OCCGeometry(shape).GenerateMesh(maxh=100.0, grading=0.5, curvaturesafety=1.0))
    mesh.Curve(3)
    return mesh


def solve(case, offset, tilt, order, size):
    """At 1 A rms the losses (W) of bar and turns, the shares of the bar's that go as cos and cos 2 of the azimuth, R and L."""
    import ngsolve as ng

    mesh, omega = _mesh(case, offset, tilt, size), 2 * math.pi * case.frequency
    names = [f"turn{k}" for k in range(len(case.turns))]
    # lengths stay in mm: curl curl A / mu0 + jw sigma A (1e-3 m)^2 = sigma E (1e-3 m)^2
    sigma = mesh.MaterialCF({"bar": 1 / case.rho_bar, **dict.fromkeys(names, 1 / case.rho_turn)}, default=0.0) * MM**2
    kept = mesh.MaterialCF({"bar": 0.0, **dict.fromkeys(names, 0.0)}, default=1e-7 / case.rho_bar) * MM**2
    conducting = mesh.Materials("|".join(["bar", *names]))
    space = ng.HCurl(mesh, order=order, complex=True, dirichlet="held", gradientdomains=conducting)
    u, v = space.TnT()
    a = ng.BilinearForm(space, symmetric=True, condense=True)
    a += (1 / MU0 * ng.curl(u) * ng.curl(v) + 1j * omega * (sigma + kept) * u * v) * ng.dx
    a.Assemble()
    inverse = a.mat.Inverse(space.FreeDofs(coupling=True), inverse="sparsecholesky")
    c, s = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
    # place in the coil's own frame, and its azimuthal direction over the radius: 2 pi V round a turn, in V/mm
    x, y = c * (ng.x - offset) - s * ng.z, ng.y
    drive = ng.CF((-y * c, x, y * s)) / (x * x + y * y)
    answers, currents = [], np.zeros((len(names), len(names)), complex)
    for k, name in enumerate(names):
        f = ng.LinearForm(space)
        f += sigma * drive * v * ng.dx(name, bonus_intorder=3)
        f.Assemble()
        A = ng.GridFunction(space)
        f.vec.data += a.harmonic_extension_trans * f.vec
        A.vec.data = inverse * f.vec
        A.vec.data += a.harmonic_extension * A.vec
        A.vec.data += a.inner_solve * f.vec
        answers.append(A)
        for i, other in enumerate(names):
            E = (drive if i == k else 0 * drive) - 1j * omega * A
            flow = sigma * ng.InnerProduct(E, drive)
            currents[i, k] = ng.Integrate(flow, mesh, definedon=mesh.Materials(other), order=2 * order + 4)
    currents /= math.pi * MM  # over half the turn; the integrand is sigma (1e-3 m)^2 V / mm
    volts = np.linalg.solve(currents, np.ones(len(names), complex))
    A = ng.GridFunction(space)
    A.vec[:] = 0.0
    for k, answer in enumerate(answers):
        A.vec.data += complex(volts[k]) * answer.vec
    impedance = 2 * math.pi * complex(volts.sum())
    loss = sigma / MM * omega**2 * ng.InnerProduct(A, A).real
    return {**_losses(mesh, loss, sigma, drive, volts, A, omega, order), "R_ohm": impedance.real,
            "L_H": impedance.imag / omega, "unknowns": space.ndof}  # fmt: skip


def _losses(mesh, loss, sigma, drive, volts, A, omega, order):
    import ngsolve as ng

    def whole(what, where):  # twice for the other half
        return 2 * float(np.real(ng.Integrate(what, mesh, definedon=mesh.Materials(where), order=2 * order + 4)))

    bar = whole(loss, "bar")
    r2 = ng.x * ng.x + ng.y * ng.y + 1e-12
    out = {"bar_W": bar, "cos": whole(loss * ng.x / ng.sqrt(r2), "bar") / bar}
    out["cos_2"] = whole(loss * (ng.x * ng.x - ng.y * ng.y) / r2, "bar") / bar
    turns = 0.0
    for k, v in enumerate(volts):
        E = complex(v) * drive - 1j * omega * A
        turns += whole(sigma / MM * ng.InnerProduct(E, E).real, f"turn{k}")
    return {**out, "turns_W": turns}


def main(only=""):
    """Adds what is missing to the stored runs, writing after each."""
    data = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else {
        "origin": "own runs of tests/crosscheck/ngsolve_pose.py, 1 A rms", "cases": {}
    }  # fmt: skip
    for case in (c for c in CASES if only in c.name):
        for order, size in case.stages:
            stage = data["cases"].setdefault(case.name, {}).setdefault(f"order {order}, size {size} mm", {})
            for name, pose in (("in line", (0.0, 0.0)), ("out of line", (case.offset, case.tilt))):
                if name not in stage:
                    start = time.time()
                    stage[name] = solve(case, *pose, order, size)
                    print(case.name, order, size, name, stage[name], f"{time.time() - start:.0f} s", flush=True)  # noqa: T201
                    STORED.write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
