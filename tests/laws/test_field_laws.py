"""Laws any field of coil and bodies must keep, whatever the numbers."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coilwright.field.formulas_loads import bar_power
from coilwright.field.inputs import CoilModel, FieldModel
from coilwright.field.reduced import Drive
from coilwright.field.solve import Field, solve_field
from coilwright.section.blocks import graded, rectangle
from coilwright.section.mesh import Mesh
from tests.field.cases import COPPER, FINE, MU0, Level, block, body, coil, skin_depth

F = 100e3
QUICK = Level(around=12, first=0.8, growth=1.7, body_first=0.8)
few = settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


def helix(radius=0.012, pitch=0.005, turns=3, outside=0.004, bore=0.0025):
    return [(radius, -pitch * k, outside, bore, COPPER) for k in range(turns)]


def setting(z=4e-3, rho=0.72e-6, mu=1.0, frequency=F, level=QUICK, turns=None):
    mesh = block(2.5e-3, 4.5e-3, z - 0.5e-3, z + 0.5e-3, frequency, rho, mu, level, "ring")
    return FieldModel(coil(turns or helix(), frequency, level), (body("ring", mesh, rho, mu),), frequency)


def stretched(mesh, by, flip=1.0):
    return Mesh(mesh.points * np.array([by, by * flip]), mesh.quads, mesh.region, mesh.regions)


def changed(model, by, frequency, flip=1.0):
    turns = tuple(replace(t, mesh=stretched(t.mesh, by, flip), shift=t.shift * by * flip) for t in model.coil.turns)
    bodies = tuple(replace(b, mesh=stretched(b.mesh, by, flip)) for b in model.bodies)
    return replace(model, coil=CoilModel(turns), bodies=bodies, frequency=frequency)


@few
@given(by=st.floats(0.05, 20.0), z=st.floats(3e-3, 2e-2), mu=st.sampled_from([1.0, 20.0]))
def test_lengths_times_s_and_frequency_over_s_squared(by, z, mu):
    """Same currents, same fields over s: resistances go as 1/s, inductances as s."""
    one = setting(z=z, mu=mu)
    other = solve_field(changed(one, by, F / by**2))
    base = solve_field(one)
    assert other.loaded.resistance * by == pytest.approx(base.loaded.resistance, rel=1e-7)
    assert other.loaded.inductance / by == pytest.approx(base.loaded.inductance, rel=1e-7)
    assert other.body_powers["ring"] * by == pytest.approx(base.body_powers["ring"], rel=1e-7)


@few
@given(z=st.floats(3e-3, 2e-2), mu=st.sampled_from([1.0, 50.0]))
def test_upside_down_is_the_same(z, mu):
    one = setting(z=z, mu=mu)
    up, down = solve_field(one), solve_field(changed(one, 1.0, F, flip=-1.0))
    assert down.loaded.resistance == pytest.approx(up.loaded.resistance, rel=1e-7)
    assert down.loaded.inductance == pytest.approx(up.loaded.inductance, rel=1e-8)
    assert down.forces["ring"] == pytest.approx(-up.forces["ring"], rel=1e-5)


@few
@given(
    z=st.floats(3.2e-3, 3e-2),
    rho=st.floats(1.7e-8, 5e-6),
    mu=st.floats(1.0, 100.0),
    frequency=st.floats(1e4, 1e6),
    pitch=st.floats(4.4e-3, 8e-3),
)
def test_power_in_is_power_lost(z, rho, mu, frequency, pitch):
    model = setting(z=z, rho=rho, mu=mu, frequency=frequency, turns=helix(pitch=pitch))
    result = solve_field(model, 100.0)
    assert result.power_mismatch < 3e-4
    assert result.body_powers["ring"] > 0.0 and np.all(result.turn_powers > 0.0)
    assert result.loaded.resistance > 0.0 and result.loaded.inductance > 0.0


@few
@given(z=st.floats(5e-3, 2e-2), rho=st.floats(2e-8, 2e-6))
def test_what_one_ring_does_to_another_it_suffers_from_it(z, rho):
    a = body("a", block(5e-3, 6e-3, -5e-4, 5e-4, F, rho, 1.0, QUICK, "a"), rho, net_current=1.0)
    b = body("b", block(4e-3, 6.5e-3, z, z + 1e-3, F, COPPER, 1.0, QUICK, "b"), COPPER, net_current=0.0)
    field = Field.of(FieldModel(None, (a, b), F))
    one = field.state(drive=Drive(0.0, net_currents={"a": 1.0}))
    other = field.state(drive=Drive(0.0, net_currents={"b": 1.0}))
    # both hold to the accuracy of the boundary collocation, which is not symmetric by construction
    assert one.loop_voltages["b"] == pytest.approx(other.loop_voltages["a"], rel=2e-4)


def test_farther_is_less():
    field = Field.of(setting())
    results = [field.at({"ring": s}).solve(1.0) for s in np.linspace(0.0, 0.02, 6)]
    powers = [r.body_powers["ring"] for r in results]
    assert all(a > b for a, b in itertools.pairwise(powers))
    inductances = [r.loaded.inductance for r in results]
    assert all(a < b for a, b in itertools.pairwise(inductances))
    couplings = [r.coupling for r in results]
    assert all(a > b > 0.0 for a, b in itertools.pairwise(couplings))
    assert couplings[0] < 1.0
    assert field.at({"ring": 10.0}).solve(1.0).body_powers["ring"] < 1e-12


def test_poor_and_perfect_conductors():
    """Poor: power as 1/rho. Near perfect: power as sqrt(rho), and the part pushes the field out."""
    poor = [solve_field(setting(rho=r)).body_powers["ring"] for r in (1e-2, 2e-2)]
    assert poor[0] / poor[1] == pytest.approx(2.0, rel=1e-4)
    good = [solve_field(setting(rho=r, level=FINE)).body_powers["ring"] for r in (1e-11, 4e-11)]
    assert good[1] / good[0] == pytest.approx(2.0, rel=0.03)


def test_a_long_bar_per_metre_is_the_closed_form():
    """Two lengths in a uniform field: what the middle adds is the bar without ends (Bessel closed form)."""
    f, rho, mu, radius, flux = 10e3, 0.5e-6, 1.0, 0.01, 1e-3

    def power(length):
        depth = skin_depth(f, rho, mu)
        r = graded(0.0, radius, 0.25 * depth, 1.3, 2e-3, ends="end")
        z = graded(-length / 2, length / 2, 0.25 * depth, 1.4, 4e-3)
        mesh = rectangle(r, z, "bar")
        model = FieldModel(None, (body("bar", mesh, rho, mu),), f, background=flux)
        return solve_field(model).body_powers["bar"]

    middle = (power(0.22) - power(0.16)) / 0.06
    assert middle == pytest.approx(float(bar_power(radius, flux / MU0, f, rho, mu)), rel=2e-3)


def test_errors_fall_with_the_mesh():
    """Halving every element cuts the error of L, R and part power well below a quarter: better than second order."""

    def at(n):
        mesh = rectangle(np.linspace(2.5e-3, 4.5e-3, 2 * n + 1), np.linspace(4e-3, 5e-3, n + 1), "ring")
        turns = [(0.012, -0.005 * k, 0.004, 0.0, 1e-6) for k in range(3)]
        level = Level(around=6 * n, first=1.0 / n, growth=1.0)
        result = solve_field(FieldModel(coil(turns, 20e3, level), (body("ring", mesh, 0.72e-6),), 20e3))
        return np.array([result.loaded.inductance, result.loaded.resistance, result.body_powers["ring"]])

    one, two, best = at(1), at(2), at(6)
    assert np.all(np.abs(two / best - 1.0) < 0.25 * np.abs(one / best - 1.0))
    assert np.all(np.abs(two / best - 1.0) < 2e-3)


def test_phasors_add_up():
    """Coil current and background field together are the sum of each alone."""
    field = Field.of(setting())
    both = field.state(drive=Drive(2.0, background=1e-3j)).potential
    alone = field.state(drive=Drive(2.0)).potential + field.state(drive=Drive(0.0, background=1e-3j)).potential
    assert np.max(np.abs(both - alone)) < 1e-12 * np.max(np.abs(both))
    assert math.isfinite(abs(both).max())
