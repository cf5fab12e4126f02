"""The field solver against closed forms and against itself by other routes."""

import math

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.inputs import CoilModel, ConductorTurn, FieldModel
from coilwright.field.reduced import Drive
from coilwright.field.solve import Field, solve_field
from coilwright.section.blocks import disc, graded, half_disc, rectangle
from tests.field.cases import COPPER, FINE, block, body, coil, skin_depth, tube_mesh

TURNS = [(0.012, -0.005 * k, 0.004, 0.0025, COPPER) for k in range(4)]
F = 100e3


def washer(shift=3e-3, rho=0.72e-6, mu=1.0, name="ring", r1=4.5e-3, r0=2.5e-3, level=FINE, **more):
    mesh = block(r0, r1, shift - 0.3e-3, shift + 0.3e-3, F, rho or 1e-6, mu, level, name)
    return body(name, mesh, rho, mu, **more)


@pytest.fixture(scope="module")
def ring_field():
    return Field.of(FieldModel(coil(TURNS, F, FINE), (washer(),), F))


def test_power_balance_and_current(ring_field):
    result = ring_field.solve(200.0)
    assert result.power_mismatch < 2e-5
    assert result.current_mismatch < 1e-4
    assert result.coil_power + result.body_powers["ring"] == pytest.approx(
        result.loaded.resistance * 200.0**2, rel=2e-5
    )
    assert result.efficiency == pytest.approx(result.body_powers["ring"] / (result.loaded.resistance * 4e4), rel=1e-4)
    assert "uH" in str(result)
    assert result.to_dict()["coil"]["loaded"]["inductance_H"] == result.loaded.inductance


def test_turn_power_from_its_boundary_is_the_volume_integral(ring_field):
    state = ring_field.state()
    coil_ = ring_field.coil
    for turn, (h, u), power in zip(coil_.turns, coil_.split(state.coil_unknowns), state.turn_powers, strict=True):
        inside = turn.interior
        r = turn.mesh.gauss.r
        field = -1j * turn.omega * inside.at_gauss(turn.nodal(h, u)) + u / (2 * np.pi * r)
        volume = 2 * np.pi * np.sum(turn.sigma * np.abs(field) ** 2 * inside.ring)
        assert power == pytest.approx(volume, rel=1e-9)


def test_a_moved_body_is_the_body_drawn_there(ring_field):
    moved = ring_field.at({"ring": 2e-3}).solve(1.0)
    drawn = solve_field(FieldModel(coil(TURNS, F, FINE), (washer(5e-3),), F))
    assert moved.loaded.resistance == pytest.approx(drawn.loaded.resistance, rel=1e-9)
    assert moved.body_powers["ring"] == pytest.approx(drawn.body_powers["ring"], rel=1e-9)
    at = np.array([[3.5e-3, 5e-3], [0.0, 0.0], [8e-3, -7e-3]])
    assert moved.flux_density_at(at) == pytest.approx(drawn.flux_density_at(at), rel=1e-6)


def test_moving_the_coil_down_is_moving_everything_else_up(ring_field):
    one, other = ring_field.at({"ring": 2e-3}), ring_field.at(coil=-2e-3)
    assert one.state().impedance == pytest.approx(other.state().impedance, rel=1e-12)


def test_another_frequency_reuses_nothing_wrong(ring_field):
    higher = ring_field.with_frequency(130e3).solve(1.0)
    fresh = Field.of(ring_field.model).with_frequency(130e3).solve(1.0)
    assert higher.loaded == fresh.loaded


def test_force_is_half_current_squared_times_inductance_slope():
    """Holds for a coil whose current is everywhere in phase, so the turns here are hair-thin."""
    thin = [(r, z, 0.04e-3, 0.0, COPPER) for r, z, *_ in TURNS]
    field = Field.of(FieldModel(coil(thin, F, FINE), (washer(),), F))
    step = 0.1e-3
    up, down = (field.at({"ring": s}).solve(1.0).loaded.inductance for s in (step, -step))
    force = field.solve(300.0).forces["ring"]
    assert force > 0.0  # the washer sits above the coil and is thrown out
    assert force == pytest.approx(0.5 * 300.0**2 * (up - down) / (2 * step), rel=1e-3)


def test_empty_coil_alone_and_as_unloaded_reading(ring_field):
    alone = solve_field(FieldModel(coil(TURNS, F, FINE), (), F, {"middle": (0.0, -7.5e-3)}))
    unloaded = ring_field.solve(1.0).unloaded
    assert alone.loaded.inductance == pytest.approx(unloaded.inductance, rel=1e-12)
    assert alone.loaded.resistance == pytest.approx(alone.unloaded.resistance, rel=1e-12)
    assert alone.power_mismatch < 2e-5
    assert abs(alone.points["middle"][1]) > 1e-4


def test_slit_ring_carries_no_net_current_and_little_heat():
    closed = solve_field(FieldModel(coil(TURNS, F, FINE), (washer(),), F))
    slit = solve_field(FieldModel(coil(TURNS, F, FINE), (washer(slit=True),), F))
    net = np.sum(slit.state.current_density * slit.state.reduced.live.interior.area)
    gross = np.sum(np.abs(slit.state.current_density) * slit.state.reduced.live.interior.area)
    assert abs(net) < 1e-9 * gross
    assert slit.power_mismatch < 2e-5
    assert slit.body_powers["ring"] < 0.3 * closed.body_powers["ring"]


def test_ring_heated_through_its_pins_has_the_resistance_of_its_section():
    """Where the current spreads evenly R = 1 / integral of dS / (2 pi rho r), in closed form for a square section."""
    mesh = rectangle(np.linspace(4e-3, 5e-3, 4), np.linspace(0.0, 1e-3, 4), "ring")
    model = FieldModel(None, (body("ring", mesh, 1e-6, net_current=6.0),), 50.0)
    result = solve_field(model)
    resistance = 2 * math.pi * 1e-6 / (1e-3 * math.log(5.0 / 4.0))
    assert result.body_powers["ring"] == pytest.approx(36.0 * resistance, rel=1e-6)
    assert result.state.supplied_power == pytest.approx(36.0 * resistance, rel=1e-4)
    assert result.loaded is None and result.efficiency == 1.0


def test_ferrite_without_any_conductivity_is_the_limit_of_a_poor_conductor():
    def with_rho(rho):
        mesh = block(2e-3, 4e-3, -0.02, 0.005, F, 1e3, 500.0, FINE, "core")
        return solve_field(FieldModel(coil(TURNS, F, FINE), (body("core", mesh, rho, 500.0),), F))

    none, poor = with_rho(None), with_rho(1e4)
    assert none.body_powers["core"] == 0.0
    assert none.loaded.inductance == pytest.approx(poor.loaded.inductance, rel=1e-6)
    assert none.loaded.inductance > 1.2 * none.unloaded.inductance
    assert none.coupling is None
    assert none.power_mismatch < 1e-4


@pytest.mark.parametrize(("rho", "mu_r"), [(1e-6, 1.0), (2e-8, 1.0), (1e-6, 30.0), (None, 30.0)])
def test_ball_in_a_uniform_field(rho, mu_r):
    """Smythe, Static and Dynamic Electricity, 3rd ed. (1968), 10.07 (from memory; derived anew below)."""
    a, f, flux = 5e-3, 20e3, 1e-3
    depth = skin_depth(f, rho or 1.0, mu_r)
    radii = graded(0.0, a, min(0.3 * depth, a / 6), 1.4, a / 6, ends="end")
    mesh = half_disc(0.0, radii, 16, "ball")
    model = FieldModel(None, (body("ball", mesh, rho, mu_r),), f, background=flux)
    result = solve_field(model)
    if rho is None:
        inside = 3 * mu_r / (mu_r + 2) * flux
        got = result.flux_density_at(np.array([[0.0, 0.0], [2e-3, 1e-3]]))
        assert got[:, 1] == pytest.approx(inside, rel=2e-4)
        assert abs(got[0, 0]) < 1e-6 * flux
        return
    k = (1 - 1j) / depth  # k^2 = -j w mu sigma
    x = k * a
    j1 = np.sin(x) / x**2 - np.cos(x) / x
    j0 = np.sin(x) / x
    slope = x * j0 - j1  # d(x j1)/dx * ... : (x j1)' = x j0 - j1
    # A_in = C j1(k rho) sin, A_out = (B/2)(rho + D/rho^2) sin; A and (1/mu) d(rho A)/d rho continuous
    matrix = np.array([[j1, -0.5 * flux / a**2], [slope / mu_r, 0.5 * flux / a**2]])
    c, _ = np.linalg.solve(matrix, np.array([0.5 * flux * a, flux * a]))
    rho_q = np.linspace(0, a, 4001)[1:]
    jq = np.sin(k * rho_q) / (k * rho_q) ** 2 - np.cos(k * rho_q) / (k * rho_q)
    density = (2 * math.pi * f) ** 2 / rho * np.abs(c * jq) ** 2 * rho_q**2
    power = 2 * math.pi * 4 / 3 * np.trapezoid(density, rho_q)
    assert result.body_powers["ball"] == pytest.approx(power, rel=3e-4)


def test_two_bodies_solve_together_and_shield():
    work = washer(2e-3)
    shield = washer(4e-3, rho=COPPER, name="shield", r1=8e-3, r0=5.5e-3, work=False)
    both = Field.of(FieldModel(coil(TURNS, F, FINE), (work, shield), F))
    result = both.solve(100.0)
    alone = solve_field(FieldModel(coil(TURNS, F, FINE), (work,), F), 100.0)
    assert result.body_powers["ring"] < alone.body_powers["ring"]
    assert result.power_mismatch < 2e-5
    far = both.at({"shield": 3.0}).solve(100.0)
    assert far.body_powers["ring"] == pytest.approx(alone.body_powers["ring"], rel=1e-6)


def test_the_field_just_outside_meets_the_field_just_inside(ring_field):
    result = ring_field.solve(1.0)
    r = 3.5e-3
    z = 3e-3 + 0.3e-3
    below, above = result.flux_density_at(np.array([[r, z - 1e-6], [r, z + 1e-6]]))
    assert below == pytest.approx(above, rel=1e-2)
    psi = result.flux_function_at(np.array([[r, z - 1e-7], [r, z + 1e-7]]))
    assert psi[0] == pytest.approx(psi[1], rel=1e-4)
    assert result.current_density_at(np.array([[r, 3e-3], [r, 0.01]]))[1] == 0.0
    assert result.flux_function_grid(np.array([0.0, 1e-3]), np.array([0.0, 5e-3])).shape == (2, 2)


def test_a_weighted_turn_is_reciprocal():
    mesh = tube_mesh(0.012, 0.004, 0.0025, F, COPPER, FINE)
    turns = (ConductorTurn(mesh, COPPER), ConductorTurn(mesh, COPPER, shift=5e-3, weight=0.5))
    result = solve_field(FieldModel(CoilModel(turns), (washer(9e-3),), F), 10.0)
    assert result.power_mismatch < 3e-5
    single = solve_field(FieldModel(CoilModel(turns[:1]), (washer(9e-3),), F), 10.0)
    assert single.loaded.inductance < result.loaded.inductance


def test_half_a_turn_has_half_the_resistance():
    mesh = tube_mesh(0.012, 0.004, 0.0025, F, COPPER, FINE)
    one = solve_field(FieldModel(CoilModel((ConductorTurn(mesh, COPPER),)), (), F))
    apart = (ConductorTurn(mesh, COPPER), ConductorTurn(mesh, COPPER, shift=3.0, weight=0.5))
    both = solve_field(FieldModel(CoilModel(apart), (), F))
    assert both.loaded.resistance == pytest.approx(1.5 * one.loaded.resistance, rel=1e-6)
    assert both.unloaded.resistance == pytest.approx(both.loaded.resistance, rel=1e-12)
    assert both.turn_powers == pytest.approx(one.turn_powers[0] * np.array([1.0, 0.5]), rel=1e-6)


def test_drive_superposes():
    model = FieldModel(coil(TURNS, F, FINE), (washer(net_current=2.0),), F)
    field = Field.of(model)
    both = field.state(drive=Drive(3.0, net_currents={"ring": 2.0}))
    coil_only, pins_only = field.state(drive=Drive(3.0)), field.state(drive=Drive(0.0, net_currents={"ring": 2.0}))
    assert both.coil_voltage == pytest.approx(coil_only.coil_voltage + pins_only.coil_voltage, rel=1e-9)
    # reciprocity: volts at the pins per coil ampere = volts at the coil per pin ampere
    assert coil_only.loop_voltages["ring"] / 3.0 == pytest.approx(pins_only.coil_voltage / 2.0, rel=1e-4)
    total = both.supplied_power
    assert total == pytest.approx(sum(both.region_powers.values()) + both.turn_powers.sum(), rel=1e-4)


def test_bad_inputs_are_named():
    with pytest.raises(BadInput, match="frequency"):
        FieldModel(coil(TURNS, F, FINE), (), -1.0)
    with pytest.raises(BadInput, match="neither"):
        FieldModel(None, (), 1.0)
    with pytest.raises(BadInput, match="resistivity"):
        FieldModel(CoilModel((ConductorTurn(disc((0.01, 0.0), [0.0, 1e-3], 4, "turn"), 0.0),)), (), F)
    with pytest.raises(BadInput, match="twice"):
        FieldModel(None, (washer(), washer()), F)
    with pytest.raises(BadInput, match="slit"):
        washer(slit=True, net_current=1.0)
