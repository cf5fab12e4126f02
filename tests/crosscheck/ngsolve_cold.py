"""The cases of `cold_cases`, computed with the general finite-element library ngsolve (air meshed to a far box).

Axisymmetric, unknown u = A/r, turns with their own voltage and a common current of 1 A rms. It shares nothing with the package.

    python -m tests.crosscheck.ngsolve_cold       writes the converged runs to tests/crosscheck/cold_reference.json
"""

import json
import math
import time
from pathlib import Path

import numpy as np

from tests.crosscheck.cold_cases import CASES, COPPER

MU0 = 4e-7 * math.pi
FAR = 1.5


def _depth(rho, mu, frequency):
    return math.sqrt(rho / (math.pi * frequency * MU0 * mu))


def _rectangle(r0, r1, z0, z1, name, surface, corner):
    from netgen.occ import MoveTo

    face = MoveTo(r0, z0).Rectangle(r1 - r0, z1 - z0).Face()
    face.name = name
    face.edges.maxh = surface
    face.vertices.maxh = corner
    return face


def _disc(r, z, radius, name, surface):
    from netgen.occ import Circle

    face = Circle((r, z), radius).Face()
    face.name = name
    face.edges.maxh = surface
    return face


def _mesh(case, fine):
    from netgen.occ import Glue, MoveTo, OCCGeometry, X, Y
    from ngsolve import Mesh

    mm = 1e-3
    faces = []
    for p in case.pieces:
        depth = _depth(p.rho, p.mu, case.frequency) if p.rho else 4e-3
        surface = fine * min(0.7 * depth, 0.3 * mm * min(p.r1 - p.r0, p.z1 - p.z0))
        faces.append(_rectangle(p.r0 * mm, p.r1 * mm, p.z0 * mm, p.z1 * mm, p.name, surface, 0.1 * surface))
    depth = _depth(COPPER, 1.0, case.frequency)
    for k, (r, z) in enumerate(case.turns):
        size = [x * mm for x in case.size]
        r, z = r * mm, z * mm
        if case.rectangular:
            w, h, wall = size
            surface = fine * min(1.0 * depth, 0.25 * w)
            outside = (r - 0.5 * w, r + 0.5 * w, z - 0.5 * h, z + 0.5 * h)
            inside = (outside[0] + wall, outside[1] - wall, outside[2] + wall, outside[3] - wall)
            outer = _rectangle(*outside, f"turn{k}", surface, 0.1 * surface)
            inner = _rectangle(*inside, "air", 2 * surface, surface)
        else:
            surface = fine * min(1.2 * depth, 0.2 * size[0])
            outer = _disc(r, z, 0.5 * size[0], f"turn{k}", surface)
            inner = _disc(r, z, 0.5 * size[1], "air", 2 * surface)
        solid = outer - inner
        solid.faces.name = f"turn{k}"
        inner.faces.name = "air"
        faces += [solid, inner]
    box = MoveTo(0, -FAR).Rectangle(FAR, 2 * FAR).Face()
    box.edges.Max(X).name = "far"
    box.edges.Max(Y).name = "far"
    box.edges.Min(Y).name = "far"
    box.edges.Min(X).name = "axis"
    for face in faces:
        box = box - face
    box.faces.name = "air"
    mesh = Mesh(OCCGeometry(Glue([box, *faces]), dim=2).GenerateMesh(maxh=0.2, grading=0.35))
    mesh.Curve(4)
    return mesh


def solve(case, order=4, fine=1.0):
    """{"R": ohm, "L": H, "powers": {piece: W}} at 1 A rms."""
    import ngsolve as ng

    mesh, omega, r = _mesh(case, fine), 2 * math.pi * case.frequency, ng.x
    n = len(case.turns)
    conductivity = {f"turn{k}": 1.0 / COPPER for k in range(n)} | {p.name: 1.0 / p.rho for p in case.pieces if p.rho}
    sigma = mesh.MaterialCF(conductivity, default=0.0)
    nu = mesh.MaterialCF({p.name: 1.0 / (MU0 * p.mu) for p in case.pieces}, default=1.0 / MU0)
    space = ng.H1(mesh, order=order, complex=True, dirichlet="far")
    u, v = space.TnT()
    bz = lambda w: 2 * w + r * ng.grad(w)[0]  # noqa: E731
    a = ng.BilinearForm(space, symmetric=True)
    a += nu * (bz(u) * bz(v) + r * r * ng.grad(u)[1] * ng.grad(v)[1]) * r * ng.dx(bonus_intorder=2)
    a += 1j * omega * sigma * r**3 * u * v * ng.dx(bonus_intorder=3)
    a.Assemble()
    inverse = a.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")
    loads, answers, system = [], [], np.zeros((n, n), complex)
    for k in range(n):
        f = ng.LinearForm(space)
        f += 1 / (2 * math.pi * COPPER) * v * r * ng.dx(definedon=mesh.Materials(f"turn{k}"), bonus_intorder=2)
        f.Assemble()
        x = ng.GridFunction(space)
        x.vec.data = inverse * f.vec
        loads.append(f)
        answers.append(x)
    for i in range(n):
        for k in range(n):
            flux = ng.InnerProduct(loads[i].vec, answers[k].vec, conjugate=False)
            system[i, k] = -2j * math.pi * omega * flux
        own = mesh.Materials(f"turn{i}")
        system[i, i] += ng.Integrate(1 / (2 * math.pi * COPPER * r), mesh, definedon=own, order=12)
    volts = np.linalg.solve(system, np.ones(n, complex))
    total = ng.GridFunction(space)
    total.vec[:] = 0.0
    for k in range(n):
        total.vec.data += complex(volts[k]) * answers[k].vec
    loss = sigma * omega**2 * r**2 * (total.real * total.real + total.imag * total.imag)
    powers = {
        p.name: ng.Integrate(2 * math.pi * r * loss, mesh, definedon=mesh.Materials(p.name), order=2 * order + 3)
        for p in case.pieces
    }
    z = complex(volts.sum())
    return {"R": z.real, "L": z.imag / omega, "powers": powers}


def gap(one, other):
    """Largest relative difference of R and powers, and of L."""
    pairs = [(one["R"], other["R"]), *((p, other["powers"][n]) for n, p in one["powers"].items() if p > 0.0)]
    return max(abs(a / b - 1.0) for a, b in pairs), abs(one["L"] / other["L"] - 1.0)


def converged():
    """The finer of two refinements of every case, and how far they differ."""
    out = {"origin": "own runs of tests/crosscheck/ngsolve_cold.py, 1 A rms", "cases": {}}
    for case in CASES:
        fine, rough = solve(case, order=5, fine=0.7), solve(case, order=4, fine=1.0)
        change = gap(rough, fine)
        out["cases"][case.name] = {**fine, "change_on_refinement": {"R_and_powers": change[0], "L": change[1]}}
        print(case.name, change)  # noqa: T201
    return out


if __name__ == "__main__":
    begin = time.time()
    data = converged()
    data["seconds"] = round(time.time() - begin)
    Path(__file__).with_name("cold_reference.json").write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
