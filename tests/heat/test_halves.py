"""Half the unknowns where both sides are alike: the same temperatures as with all of them, and never where they are not alike."""

import numpy as np
import pytest

from coilwright.heat.conduction import Operators
from coilwright.heat.inputs import InterfaceContact, LumpedContact, ThermalModel
from coilwright.heat.solve import March, solve_heat
from coilwright.heat.stepper import Stepper
from coilwright.section.blocks import graded, rectangle
from coilwright.section.mesh import union
from tests.heat.test_solver_checks import Plain, region

STEEL = Plain(heat=4e6, conductivity=25.0, eps=0.7)
MELTING = Plain(heat=4e6, conductivity=25.0, eps=0.7, latent=6e8, melts=500.0)


def part(rows, material=STEEL, **more):
    """A bar about z = 0.1 with `rows` elements along it; an odd number has elements in the plane of the mirror."""
    mesh = rectangle(graded(0.0, 0.01, 1e-3, ends="end"), 0.1 + np.linspace(-0.02, 0.02, rows + 1), "bar")
    return ThermalModel(mesh, (region("bar", material, convection=30.0, support_conductance=0.2, **more),), 300.0)


def even_source(mesh):
    """A hot belt in the middle, W/m^3."""
    return 5e9 * np.exp(-(((mesh.gauss.z - 0.1) / 6e-3) ** 2)) * (mesh.gauss.r / 0.01) ** 4


def march(model, source):
    stepper = Stepper(model)
    return solve_heat(model, lambda t: source, 1.5, 300.0, stepper=stepper, march=March(0.5)), stepper


@pytest.mark.parametrize("rows", [9, 10])
@pytest.mark.parametrize(("material", "within"), [(STEEL, 1e-6), (MELTING, 0.1)])
def test_halves_give_what_the_whole_gives(monkeypatch, rows, material, within):
    """Where a melting front makes stages fail, rounding decides which do, and other steps are taken from there on."""
    model = part(rows, material)
    source = even_source(model.mesh)
    halves, stepper = march(model, source)
    assert stepper._factor.half is not None and stepper._factor.lu.shape[0] < 0.6 * stepper.operators.nodes
    monkeypatch.setattr(Operators, "is_even", lambda *_: False)
    whole, other = march(model, source)
    assert other._factor.half is None
    assert halves.final.temperature.max() > 600.0 > 320.0 > halves.final.temperature.min()
    assert halves.final.temperature == pytest.approx(whole.final.temperature, abs=within)
    assert halves.energy.losses == pytest.approx(whole.energy.losses, rel=1e-4 * within**0.5)
    assert halves.energy.stored == pytest.approx(whole.energy.stored, rel=1e-5 * within**0.5)
    assert halves.energy.relative < 1e-12


@pytest.mark.parametrize("rows", [9, 10])
def test_residual_and_step_of_the_half_are_those_of_the_whole(rows):
    operators = Operators(part(rows))
    z, r = operators.points[:, 1] - 0.1, operators.points[:, 0]
    temperature = 400.0 + 2e5 * z**2 + 1e4 * r
    base = operators.enthalpy(temperature) + 1e5 * (1.0 + even_source(operators.model.mesh) / 5e9)
    far = operators.far(temperature, None)
    whole = operators.residual(temperature, base, 0.05, far)
    half = operators.residual(temperature, operators.looked_at(base, True), 0.05, far, True)
    scale = np.abs(whole.nodal).max()
    assert half.nodal == pytest.approx(whole.nodal, abs=1e-9 * scale)
    assert half.enthalpy == pytest.approx(whole.enthalpy, rel=1e-9)
    assert half.radiated == pytest.approx(whole.radiated, rel=1e-9)
    steps = [operators.factor(temperature, temperature, 0.05, far, even).solve(whole.nodal) for even in (True, False)]
    assert steps[0] == pytest.approx(steps[1], rel=1e-6)


def test_an_uneven_source_is_solved_with_all():
    model = part(10)
    source = even_source(model.mesh) * (1.0 + 1e-3 * np.sign(model.mesh.gauss.z - 0.1))
    result, stepper = march(model, source)
    assert stepper._factor.half is None
    low, high = (side(result.final.temperature[np.abs(stepper.operators.points[:, 1] - at) < 1e-9])
                 for side, at in ((np.mean, 0.08), (np.mean, 0.12)))  # fmt: skip
    assert high > low + 1e-4


def test_an_uneven_start_is_solved_with_all_and_evens_out():
    model = part(10, Plain(conductivity=400.0))
    stepper = Stepper(model)
    z = stepper.operators.points[:, 1]
    state = stepper.start(400.0 + 1000.0 * (z - 0.1))
    trial = stepper.step(state, 0.01, None)
    assert stepper._factor.half is None
    ends = [float(trial.state.temperature[np.abs(z - at) < 1e-9].mean()) for at in (0.12, 0.08)]
    assert 30.0 < ends[0] - ends[1] < 40.0
    state = trial.state
    while stepper._factor.half is None and state.time < 100.0:
        state = stepper.step(state, 0.5, None).state
    assert stepper._factor.half is not None
    assert np.ptp(state.temperature[np.isclose(z, 0.12) | np.isclose(z, 0.08)]) < 0.1


def test_bodies_with_a_contact_are_solved_by_halves():
    z = np.linspace(-0.02, 0.02, 9)
    apart = union([rectangle([0.0, 0.005, 0.01], z, "core"), rectangle([0.012, 0.015], z, "sleeve")])
    regions = (region("core"), region("sleeve"))
    model = ThermalModel(apart, regions, 300.0, (LumpedContact("core", "sleeve", 3.0),), exchange=False)
    stepper = Stepper(model)
    trial = stepper.step(stepper.start({"core": 500.0, "sleeve": 300.0}), 1.0, None)
    assert trial.converged and stepper._factor.half is not None
    core, sleeve = (found.mean for found in stepper.region_extremes(trial.state).values())
    lost, gained = (500.0 - core) * apart.volume("core"), (sleeve - 300.0) * apart.volume("sleeve")
    assert gained > 0.0 and lost == pytest.approx(gained, rel=1e-6)


def test_nothing_is_halved_where_surfaces_see_each_other_or_joints_part_nodes():
    z = np.linspace(-0.02, 0.02, 9)
    ring = rectangle([0.005, 0.01], z, "ring")
    assert Operators(ThermalModel(ring, (region("ring", Plain(eps=0.5)),), 300.0)).half is None
    both = rectangle([0.0, 0.005, 0.01], z, "core")
    both = type(both)(both.points, both.quads, (both.gauss.r.mean(axis=1) > 0.005).astype(int), ("core", "skin"))
    joint = (InterfaceContact("core", "skin", 1e4),)
    assert Operators(ThermalModel(both, (region("core"), region("skin")), 300.0, (), joint)).half is None
    assert Operators(ThermalModel(both, (region("core"), region("skin")), 300.0)).half is not None
