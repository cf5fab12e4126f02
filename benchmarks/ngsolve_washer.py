"""A washer in front of a coil of tube turns, cold, with the general finite-element library ngsolve (air meshed).

Axisymmetric, u = A/r; every turn with its own voltage and the common current of 1 A rms. Only for comparison in benchmarks.
"""

import math

import numpy as np

MU0 = 4e-7 * math.pi


def solve(case, order=4, fine=1.0, far=0.35):
    """(part power in W per A^2, resistance in ohm, inductance in H) of a case of `field_reference.json`, meshing included."""
    import ngsolve as ng
    from netgen.geom2d import SplineGeometry

    omega, part, turns = 2 * math.pi * case["f"], case["part"], case["turns"]
    geo = SplineGeometry()
    low, high, edge = geo.AppendPoint(0, -far), geo.AppendPoint(0, far), geo.AppendPoint(far, -far)
    corner = geo.AppendPoint(far, far)
    for a, b, bc in ((low, edge, "far"), (edge, corner, "far"), (corner, high, "far"), (high, low, "axis")):
        geo.Append(["line", a, b], leftdomain=1, rightdomain=0, bc=bc)
    geo.AddRectangle(
        (part["r0"], part["z0"]), (part["r1"], part["z1"]), leftdomain=2, rightdomain=1, bc="part", maxh=0.25e-3 * fine
    )
    for k, t in enumerate(turns):
        geo.AddCircle((t["r"], t["z"]), t["od"] / 2, leftdomain=3 + k, rightdomain=1, bc="copper", maxh=0.4e-3 * fine)
        geo.AddCircle((t["r"], t["z"]), t["bore"] / 2, leftdomain=1, rightdomain=3 + k, bc="copper", maxh=0.6e-3 * fine)
    for number, name in enumerate(["air", "part", *(f"turn{k}" for k in range(len(turns)))], 1):
        geo.SetMaterial(number, name)
    mesh = ng.Mesh(geo.GenerateMesh(maxh=0.06, grading=0.35))
    mesh.Curve(3)
    copper = 1.0 / turns[0]["rho"]
    conductors = {f"turn{k}": copper for k in range(len(turns))}
    sigma = mesh.MaterialCF({"part": 1.0 / part["rho"], **conductors}, default=0.0)
    space = ng.H1(mesh, order=order, complex=True, dirichlet="far")
    u, v = space.TnT()
    r = ng.x
    a = ng.BilinearForm(space, symmetric=True)
    a += (
        (1 / MU0)
        * ((2 * u + r * ng.grad(u)[0]) * (2 * v + r * ng.grad(v)[0]) + r * r * ng.grad(u)[1] * ng.grad(v)[1])
        * r
        * ng.dx
    )
    a += 1j * omega * sigma * r**3 * u * v * ng.dx
    a.Assemble()
    inverse = a.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")
    n = len(turns)
    loads, answers = [], []
    for k in range(n):
        f = ng.LinearForm(space)
        f += copper / (2 * math.pi) * v * r * ng.dx(definedon=mesh.Materials(f"turn{k}"), bonus_intorder=2)
        f.Assemble()
        x = ng.GridFunction(space)
        x.vec.data = inverse * f.vec
        loads.append(f)
        answers.append(x)
    system = np.zeros((n, n), complex)
    for i in range(n):
        for k in range(n):
            system[i, k] = -2j * math.pi * omega * ng.InnerProduct(loads[i].vec, answers[k].vec, conjugate=False)
        system[i, i] += ng.Integrate(copper / (2 * math.pi * r), mesh, definedon=mesh.Materials(f"turn{i}"))
    volts = np.linalg.solve(system, np.ones(n, complex))
    total = ng.GridFunction(space)
    total.vec[:] = 0.0
    for k in range(n):
        total.vec.data += complex(volts[k]) * answers[k].vec
    loss = (omega * r) ** 2 / part["rho"] * (total.real * total.real + total.imag * total.imag)
    power = ng.Integrate(2 * math.pi * r * loss, mesh, definedon=mesh.Materials("part"), order=2 * order + 2)
    z = complex(volts.sum())
    return power, z.real, z.imag / omega
