"""Half the unknowns where both sides are alike: the same field as with all of them, and never where they are not alike."""

import numpy as np
import pytest

from coilwright.field import saturation
from coilwright.field.inputs import Constant, FieldModel, LiveBody, RegionLaw
from coilwright.field.reduced import Drive, Reduced
from coilwright.field.solve import Field
from coilwright.section.blocks import graded, rectangle
from tests.field.cases import MU0, Level, coil, skin_depth
from tests.field.test_saturation import IRON, F

TURNS = [(0.018, z, 0.006, 0.004, 1 / 58e6) for z in (-12e-3, -4e-3, 4e-3, 12e-3)]


def part(rows, inner=0.0, centre=0.0, **more):
    """A short bar or ring of iron; `rows` elements along it, an even number with a row of nodes in the middle."""
    depth = skin_depth(F, 0.2e-6, 20.0)
    r = graded(inner, 0.01, depth, 1.9, 3e-3, ends="end")
    mesh = rectangle(r, centre + np.linspace(-0.015, 0.015, rows + 1), "iron")
    return LiveBody("iron", mesh, {"iron": RegionLaw(Constant(0.2e-6), IRON)}, **more)


def field(body, turns=TURNS):
    return Field.of(FieldModel(coil(turns, F, Level(around=12, first=0.8, growth=1.7)), (body,), F))


def with_all(monkeypatch, solve):
    with monkeypatch.context() as patch:
        patch.setattr(saturation, "_space", lambda reduced, *_: reduced.live.whole)
        return solve()


@pytest.mark.parametrize(("rows", "more"), [(8, {}), (9, {}), (8, {"inner": 5e-3}), (9, {"inner": 5e-3, "slit": True})])
def test_half_the_unknowns_give_the_field_of_all(monkeypatch, rows, more):
    solver = field(part(rows, **more))
    temperature = 600.0 + 400.0 * (solver.live.interior.mesh.gauss.z / 0.015) ** 2
    half = solver.state(temperature, Drive(800.0))
    whole = with_all(monkeypatch, lambda: solver.state(temperature, Drive(800.0)))
    assert half.jacobian.shape[0] < 0.6 * whole.jacobian.shape[0]
    assert half.potential == pytest.approx(whole.potential, rel=1e-5, abs=1e-6 * np.abs(whole.potential).max())
    assert half.reluctivity == pytest.approx(whole.reluctivity, rel=1e-4)
    assert half.region_powers["iron"] == pytest.approx(whole.region_powers["iron"], rel=1e-6)
    assert half.impedance == pytest.approx(whole.impedance, rel=1e-6)


@pytest.mark.parametrize("inner", [0.0, 5e-3])
def test_a_law_without_saturation_is_solved_by_halves_too(monkeypatch, inner):
    solver = field(part(8, inner))
    shape = solver.live.interior.ring.shape
    z = solver.live.interior.mesh.gauss.z
    rho, nu = np.full(shape, 0.2e-6) * (1.0 + 1e3 * z**2), np.full(shape, 0.05 / MU0)
    first, _, half = (solver.reduced.solve(rho, nu) for _ in range(3))  # the first two find out nothing
    assert half.potential == pytest.approx(first.potential, rel=1e-9, abs=1e-12 * np.abs(first.potential).max())
    assert not np.array_equal(half.potential, first.potential)
    with monkeypatch.context() as patch:
        patch.setattr(Reduced, "mirrored", lambda *_: False)
        whole = solver.reduced.solve(rho, nu)
    assert solver.reduced.mirrored(solver.live.half.mirror, Drive())
    assert half.potential == pytest.approx(whole.potential, rel=1e-9, abs=1e-12 * np.abs(whole.potential).max())
    uneven = solver.reduced.solve(rho * (1.0 + 10.0 * z), nu)
    assert not np.allclose(uneven.potential, half.potential, rtol=1e-4)
    assert uneven.potential[solver.live.half.mirror.nodes] != pytest.approx(uneven.potential, rel=1e-3)


def test_a_state_of_all_unknowns_starts_one_of_half(monkeypatch):
    solver = field(part(8))
    first = with_all(monkeypatch, lambda: solver.state(drive=Drive(500.0)))
    warm, cold = solver.state(drive=Drive(520.0), start=first), solver.state(drive=Drive(520.0))
    assert warm.region_powers["iron"] == pytest.approx(cold.region_powers["iron"], rel=1e-6)


def uneven_temperature(solver):
    return solver.state(600.0 + 1e4 * solver.live.interior.mesh.gauss.z, Drive(800.0))


@pytest.mark.parametrize(
    "solve",
    [uneven_temperature, lambda s: s.at(coil=1e-3).state(drive=Drive(800.0)), lambda s: s.at({"iron": 1e-3}).state()],
    ids=["temperature", "coil moved", "body moved"],
)
def test_what_is_not_alike_is_solved_with_all(monkeypatch, solve):
    solver = field(part(8))
    state = solve(solver)
    whole = with_all(monkeypatch, lambda: solve(solver))
    assert state.jacobian.shape == whole.jacobian.shape
    assert np.array_equal(state.potential, whole.potential)


def test_a_turn_more_on_one_side_is_solved_with_all():
    solver = field(part(8), [*TURNS, (0.018, 20e-3, 0.006, 0.004, 1 / 58e6)])
    state = solver.state(drive=Drive(800.0))
    assert state.jacobian.shape[0] == solver.live.size
