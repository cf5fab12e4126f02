"""A steel bar heated in an eight-turn coil, computed with the general finite-element library ngsolve.

Axisymmetric, half model (z >= 0), air meshed out to a far boundary, unknown u = A/r (polynomial weights), turns of copper
tube with their own voltage and a common current, coupled with conduction by one field solve and one corrected heat
step per time step. Written for comparison only; it shares nothing with the package.

    python -m tests.crosscheck.ngsolve_bar       writes the converged runs to tests/crosscheck/bar_reference.json
"""

import json
import math
import time
from pathlib import Path

import numpy as np

FREQUENCY = 10e3
RADIUS, HALF = 0.010, 0.030
TURNS = [(0.018, 0.004 + 0.008 * k) for k in range(4)]
OUTER, BORE = 0.003, 0.002
COPPER = 58e6
DENSITY, HEAT, CONDUCTIVITY = 7850.0, 650.0, 40.0
EMISSIVITY, CONVECTION, AMBIENT = 0.8, 10.0, 20.0
BOLTZMANN = 5.670374419e-8
POINTS = {"surface": (RADIUS, 0.0), "centre": (0.0, 0.0), "corner": (RADIUS, HALF)}


def resistivity(celsius):
    """ohm m; rises in a straight line."""
    return 0.16e-6 * (1.0 + 0.006 * (celsius - 20.0))


def permeability(celsius, clip=np.clip):
    """20 below 760 degC, 1 above 800 degC, a smooth step between."""
    s = clip((celsius - 760.0) / 40.0, 0.0, 1.0)
    return 20.0 - 19.0 * (3.0 * s * s - 2.0 * s * s * s)


def _mesh(fine):
    from netgen.geom2d import SplineGeometry
    from ngsolve import Mesh

    far = 0.8  # A = 0 there changes the field at the bar by about (size of the coil / far)^3
    geo = SplineGeometry()
    p = [geo.AppendPoint(*x) for x in ((0, 0), (RADIUS, 0), (RADIUS, HALF), (0, HALF), (far, 0), (far, far), (0, far))]
    skin = 0.9e-3 * fine
    geo.Append(["line", p[0], p[1]], leftdomain=1, rightdomain=0, bc="middle", maxh=2e-3 * fine)
    geo.Append(["line", p[1], p[2]], leftdomain=1, rightdomain=2, bc="skin", maxh=skin)
    geo.Append(["line", p[2], p[3]], leftdomain=1, rightdomain=2, bc="skin", maxh=skin)
    geo.Append(["line", p[3], p[0]], leftdomain=1, rightdomain=0, bc="axis")
    geo.Append(["line", p[1], p[4]], leftdomain=2, rightdomain=0, bc="middle")
    geo.Append(["line", p[4], p[5]], leftdomain=2, rightdomain=0, bc="far")
    geo.Append(["line", p[5], p[6]], leftdomain=2, rightdomain=0, bc="far")
    geo.Append(["line", p[6], p[3]], leftdomain=2, rightdomain=0, bc="axis")
    for k, centre in enumerate(TURNS):
        geo.AddCircle(centre, OUTER, leftdomain=3 + k, rightdomain=2, bc="copper", maxh=0.7e-3 * fine)
        geo.AddCircle(centre, BORE, leftdomain=2, rightdomain=3 + k, bc="copper", maxh=0.9e-3 * fine)
    names = ["bar", "air", *(f"turn{k}" for k in range(len(TURNS)))]
    for number, name in enumerate(names, 1):
        geo.SetMaterial(number, name)
    geo.SetDomainMaxH(1, 1.6e-3 * fine)
    mesh = Mesh(geo.GenerateMesh(maxh=0.1, grading=0.35))
    mesh.Curve(3)
    return mesh


class Bar:
    """The coupled problem on one mesh; `run` marches one shot."""

    def __init__(self, order=4, fine=1.0):
        import ngsolve as ng

        self.ng, self.mesh = ng, _mesh(fine)
        self.order = order
        self.field = ng.H1(self.mesh, order=order, complex=True, dirichlet="far")
        self.heat = ng.H1(self.mesh, order=3, definedon="bar")
        self.temperature = ng.GridFunction(self.heat)
        self.loss = ng.GridFunction(ng.L2(self.mesh, order=2 * order - 2, definedon="bar"))
        self._copper_loads()

    def _copper_loads(self):
        ng = self.ng
        r, v = ng.x, self.field.TestFunction()
        self.loads, self.conductance = [], []
        for k in range(len(TURNS)):
            load = ng.LinearForm(self.field)
            load += COPPER / (2 * math.pi) * v * r * ng.dx(definedon=self.mesh.Materials(f"turn{k}"), bonus_intorder=2)
            load.Assemble()
            self.loads.append(load)
            area = ng.Integrate(COPPER / (2 * math.pi * r), self.mesh, definedon=self.mesh.Materials(f"turn{k}"))
            self.conductance.append(area)

    def solve_field(self, current):
        """Loss density (W/m^3) in the bar at the present temperature; returns R (ohm) and part power (W), whole model."""
        ng, mesh = self.ng, self.mesh
        omega, r = 2 * math.pi * FREQUENCY, ng.x
        t = self.temperature
        s = ng.IfPos(t - 760.0, ng.IfPos(800.0 - t, (t - 760.0) / 40.0, 1.0), 0.0)
        nu_bar = 1.0 / (4e-7 * math.pi * (20.0 - 19.0 * (3 * s * s - 2 * s * s * s)))
        sigma_bar = 1.0 / (0.16e-6 * (1.0 + 0.006 * (t - 20.0)))
        nu = mesh.MaterialCF({"bar": nu_bar}, default=1.0 / (4e-7 * math.pi))
        sigma = mesh.MaterialCF({"bar": sigma_bar, **{f"turn{k}": COPPER for k in range(len(TURNS))}}, default=0.0)
        u, v = self.field.TnT()
        a = ng.BilinearForm(self.field, symmetric=True)
        bz = lambda w: 2 * w + r * ng.grad(w)[0]  # noqa: E731
        a += nu * (bz(u) * bz(v) + r * r * ng.grad(u)[1] * ng.grad(v)[1]) * r * ng.dx
        a += 1j * omega * sigma * r**3 * u * v * ng.dx
        a.Assemble()
        inverse = a.mat.Inverse(self.field.FreeDofs(), inverse="sparsecholesky")
        n = len(TURNS)
        answers, system = [], np.zeros((n, n), complex)
        for k in range(n):
            x = ng.GridFunction(self.field)
            x.vec.data = inverse * self.loads[k].vec
            answers.append(x)
        for i in range(n):
            for k in range(n):
                flux = ng.InnerProduct(self.loads[i].vec, answers[k].vec, conjugate=False)
                system[i, k] = -2j * math.pi * omega * flux + (self.conductance[i] if i == k else 0.0)
        volts = np.linalg.solve(system, np.full(n, current, complex))
        total = ng.GridFunction(self.field)
        total.vec[:] = 0.0
        for k in range(n):
            total.vec.data += complex(volts[k]) * answers[k].vec
        square = total.real * total.real + total.imag * total.imag
        self.loss.Set(sigma_bar * omega**2 * r * r * square)
        power = 2 * ng.Integrate(2 * math.pi * r * self.loss, mesh, definedon=mesh.Materials("bar"))
        return 2 * float(volts.sum().real) / current, power

    def step(self, old, dt, sources, guess):
        """SDIRK2 heat step from nodal `old` with losses (start, end) as L2 vectors; Newton on the radiation."""
        ng = self.ng
        r, gamma = ng.x, 1 - 1 / math.sqrt(2)
        w, v = self.heat.TnT()
        capacity = DENSITY * HEAT
        temperature = ng.GridFunction(self.heat)
        source = ng.GridFunction(self.loss.space)
        slopes, base = [], old.CreateVector()
        for at in (gamma, 1.0):
            base.data = old
            if slopes:
                base.data += (1 - gamma) * dt * slopes[0]
            start = ng.GridFunction(self.heat)
            start.vec.data = base
            temperature.vec.data = guess if not slopes else temperature.vec
            source.vec.data = (1 - at) * sources[0] + at * sources[1]
            for _ in range(6):
                kelvin = temperature + 273.15
                out = EMISSIVITY * BOLTZMANN * (kelvin**4 - (AMBIENT + 273.15) ** 4) + CONVECTION * (
                    temperature - AMBIENT
                )
                slope = 4 * EMISSIVITY * BOLTZMANN * kelvin**3 + CONVECTION
                a = ng.BilinearForm(self.heat, symmetric=True)
                a += (capacity * w * v + gamma * dt * CONDUCTIVITY * ng.grad(w) * ng.grad(v)) * r * ng.dx("bar")
                a += gamma * dt * slope * w * v * r * ng.ds("skin")
                f = ng.LinearForm(self.heat)
                f += (capacity * start + gamma * dt * source) * v * r * ng.dx("bar", bonus_intorder=4)
                f += gamma * dt * (slope * temperature - out) * v * r * ng.ds("skin", bonus_intorder=4)
                a.Assemble()
                f.Assemble()
                before = temperature.vec.FV().NumPy().copy()
                temperature.vec.data = a.mat.Inverse(self.heat.FreeDofs(), inverse="sparsecholesky") * f.vec
                if np.abs(temperature.vec.FV().NumPy() - before).max() < 1e-4:
                    break
            rate = old.CreateVector()
            rate.data = (1 / (gamma * dt)) * (temperature.vec - base)
            slopes.append(rate)
        return temperature.vec

    def run(self, current, duration=10.0, steps=80, report=(2.0, 5.0, 10.0)):
        """Temperatures (degC) at POINTS at the report times; steps grow with the square of their number."""
        times = sorted({*(duration * (k / steps) ** 2 for k in range(steps + 1)), *report})
        self.temperature.Set(AMBIENT, definedon=self.mesh.Materials("bar"))
        self.solve_field(current)
        here = self.loss.vec.CreateVector()
        here.data = self.loss.vec
        last, now = None, 0.0
        out = {}
        for t in times[1:]:
            dt = t - now
            old = self.temperature.vec.CreateVector()
            old.data = self.temperature.vec
            ahead = here.CreateVector()
            ahead.data = here
            if last is not None:
                ahead.data = here + (dt / last[1]) * (here - last[0])
            self.temperature.vec.data = self.step(old, dt, (here, ahead), old)
            self.solve_field(current)
            new = self.loss.vec.CreateVector()
            new.data = self.loss.vec
            self.temperature.vec.data = self.step(old, dt, (here, new), self.temperature.vec)
            last, here, now = (here, dt), new, t
            for mark in report:
                if abs(t - mark) < 1e-9:
                    out[str(mark)] = {n: self._read(*p) for n, p in POINTS.items()}
        return out

    def _read(self, r, z):
        """A hair inside the bar, since its edge belongs to the air's elements too."""
        return float(self.temperature(self.mesh(r * (1 - 1e-6), z * (1 - 1e-6))))


def converged():
    """Two refinements of each shot; the finer one is kept, their difference is its error."""
    result = {"origin": "own runs of tests/crosscheck/ngsolve_bar.py", "runs": {}}
    for current in (507.0, 580.0):
        fine = Bar(order=5, fine=0.8).run(current, steps=200)
        rough = Bar(order=4, fine=1.0).run(current, steps=140)
        gap = max(abs(fine[t][p] - rough[t][p]) for t in fine for p in fine[t])
        result["runs"][str(current)] = {"temperature_degC": fine, "change_on_refinement_K": gap}
    return result


if __name__ == "__main__":
    begin = time.time()
    data = converged()
    data["seconds"] = round(time.time() - begin)
    Path(__file__).with_name("bar_reference.json").write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
