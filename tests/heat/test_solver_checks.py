"""The heat solver against closed forms: series of Carslaw and Jaeger, lumped bodies, contacts, melting, radiation, charge."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from coilwright.errors import BadInput
from coilwright.heat.formulas_lumped import radiation_time
from coilwright.heat.formulas_radiation import enclosed_exchange, factor_discs
from coilwright.heat.formulas_series import convection_transient, cylinder_flux_rise
from coilwright.heat.inputs import (
    BandOptics,
    ChargeInput,
    InterfaceContact,
    LumpedContact,
    ThermalModel,
    ThermalRegion,
)
from coilwright.heat.solve import March, solve_heat
from coilwright.heat.stepper import Stepper
from coilwright.heat.view import view_factors
from coilwright.section.blocks import graded, half_disc, rectangle, with_midpoints
from coilwright.section.mesh import from_lattice, union

SIGMA = 5.670374419e-8  # W/m^2/K^4, CODATA 2018


@dataclass(frozen=True)
class Plain:
    """Constant properties; `latent` J/m^3 spread over `melts` +- 5 K."""

    heat: float = 4e6
    conductivity: float = 40.0
    eps: float = 0.0
    latent: float = 0.0
    melts: float = 600.0

    def volumetric_enthalpy(self, t):
        t = np.asarray(t, float)
        return self.heat * (t - 293.15) + self.latent * np.clip((t - self.melts + 5.0) / 10.0, 0.0, 1.0)

    def volumetric_heat(self, t):
        t = np.asarray(t, float)
        return self.heat + self.latent / 10.0 * (np.abs(t - self.melts) < 5.0)

    def thermal_conductivity(self, t):
        return np.full(np.shape(t), self.conductivity)

    def emissivity(self, t):
        return np.full(np.shape(t), self.eps)


def region(name, material=None, **more):
    return ThermalRegion(name, material or Plain(), **more)


def bar(radius=0.01, length=0.04, n=8, name="bar"):
    return rectangle(np.linspace(0, radius, n + 1), np.linspace(-length / 2, length / 2, 9), name)


@pytest.mark.parametrize(("biot", "fourier"), [(0.5, 0.2), (0.5, 1.0), (5.0, 0.1), (5.0, 0.5)])
def test_long_cylinder_cooled_by_convection(biot, fourier):
    """Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., section 7.7 (the ends are kept from losing heat by length)."""
    radius = 0.01
    mesh = rectangle(graded(0, radius, 0.4e-3, ends="end"), np.linspace(-0.5, 0.5, 9), "bar")
    model = ThermalModel(mesh, (region("bar", convection=biot * 40.0 / radius),), 300.0, exchange=False)
    time = fourier * radius**2 / (40.0 / 4e6)
    result = solve_heat(model, None, time, 800.0, points={"c": (0, 0), "s": (radius, 0)}, march=March(tolerance=0.05))
    for point, place in (("c", 0.0), ("s", 1.0)):
        share = float(convection_transient("cylinder", biot, fourier, place))
        assert result.points[point][-1] == pytest.approx(300.0 + 500.0 * share, abs=0.5)


@pytest.mark.parametrize("fourier", [0.1, 0.5])
def test_ball_cooled_by_convection(fourier):
    """Carslaw & Jaeger section 9.4."""
    radius, biot = 0.01, 2.0
    mesh = half_disc(0.0, graded(0, radius, 0.5e-3, ends="end"), 10, "ball")
    model = ThermalModel(mesh, (region("ball", convection=biot * 40.0 / radius),), 300.0, exchange=False)
    time = fourier * radius**2 / 1e-5
    result = solve_heat(model, None, time, 800.0, points={"c": (0, 0)}, march=March(tolerance=0.05))
    share = float(convection_transient("ball", biot, fourier, 0.0))
    assert result.points["c"][-1] == pytest.approx(300.0 + 500.0 * share, abs=0.5)


def test_cylinder_heated_at_its_surface():
    """Carslaw & Jaeger section 7.8, equation (3): constant flux at the surface, given here as loss in a thin outer layer."""
    radius, flux, skin = 0.01, 2e5, 0.05e-3
    mesh = rectangle(np.r_[graded(0, radius - skin, 0.2e-3, ends="end"), radius], np.linspace(-0.2, 0.2, 5), "bar")
    g = mesh.gauss
    layer = np.where(g.r > radius - skin, flux * 2 * radius / (radius**2 - (radius - skin) ** 2), 0.0)
    model = ThermalModel(mesh, (region("bar"),), 300.0, exchange=False)
    fourier = 0.4
    time = fourier * radius**2 / 1e-5
    result = solve_heat(model, lambda t: layer, time, 300.0, points={"c": (0, 0), "s": (radius, 0)}, march=March(0.05))
    for point, place in (("c", 0.0), ("s", 1.0)):
        rise = flux * radius / 40.0 * float(cylinder_flux_rise(fourier, place))
        assert result.points[point][-1] - 300.0 == pytest.approx(rise, rel=0.01)


def test_time_order_is_two():
    mesh = bar()
    stepper = Stepper(
        ThermalModel(mesh, (region("bar", Plain(eps=0.8), convection=50.0),), 300.0, exchange=False), 1e-9
    )

    def march(n):
        state = stepper.start(1200.0)
        for _ in range(n):
            state = stepper.step(state, 20.0 / n, None).state
        return stepper.extremes(state.temperature)["bar"].mean

    exact = march(256)
    errors = [abs(march(n) - exact) for n in (4, 8, 16)]
    assert errors[0] / errors[1] > 3.0
    assert errors[1] / errors[2] > 3.0


def test_small_body_cools_by_radiation_alone():
    """C dT/dt = -eps sigma A (T^4 - Ta^4) integrated in closed form (formulas_lumped.radiation_time)."""
    mesh = bar(0.002, 0.004, 3)
    model = ThermalModel(mesh, (region("bar", Plain(conductivity=5e3, eps=0.5)),), 293.15, exchange=False)
    capacity, area = 4e6 * mesh.volume(), mesh.surface_area()
    time = float(radiation_time(capacity, 0.5 * area, 1200.0, 700.0, 293.15))
    result = solve_heat(model, None, time, 1200.0, march=March(tolerance=0.05))
    assert result.regions["bar"][-1, 1] == pytest.approx(700.0, abs=0.5)


def test_support_leads_heat_away_exponentially():
    mesh = bar(0.002, 0.004, 3)
    model = ThermalModel(
        mesh, (region("bar", Plain(conductivity=1e5), support_conductance=0.05),), 300.0, exchange=False
    )
    tau = 4e6 * mesh.volume() / 0.05
    result = solve_heat(model, None, tau, 600.0, march=March(tolerance=0.02))
    assert result.regions["bar"][-1, 1] == pytest.approx(300.0 + 300.0 * math.exp(-1.0), abs=0.3)


def test_two_bodies_in_lumped_contact_meet():
    one, other = bar(0.002, 0.004, 2, "one"), bar(0.002, 0.004, 2, "other").moved(0.01)
    stiff = Plain(conductivity=1e5)
    model = ThermalModel(
        union([one, other]), (region("one", stiff), region("other", stiff)), 300.0,
        (LumpedContact("one", "other", 0.1),), exchange=False,
    )  # fmt: skip
    tau = 4e6 * one.volume() / 0.2
    result = solve_heat(model, None, tau, {"one": 700.0, "other": 300.0}, march=March(tolerance=0.02))
    assert result.regions["one"][-1, 1] == pytest.approx(500.0 + 200.0 * math.exp(-1.0), abs=0.4)
    assert result.regions["other"][-1, 1] == pytest.approx(500.0 - 200.0 * math.exp(-1.0), abs=0.4)


def joined_bar():
    r, z = np.meshgrid(
        with_midpoints(np.linspace(0, 0.01, 3)), with_midpoints(np.linspace(-0.02, 0.02, 9)), indexing="ij"
    )
    cells = np.tile(np.r_[np.zeros(4, int), np.ones(4, int)], (2, 1))
    return from_lattice(r, z, "low", cells=cells, regions=("low", "high"))


def test_interface_of_two_joined_bodies_drops_by_flux_over_conductance():
    """Steady flow through a bar cut in the middle: volume source below, support above carrying it away."""
    mesh = joined_bar()
    power = 20.0
    per_volume = power / mesh.volume("low")
    source = np.where(mesh.region[:, None] == 0, per_volume, 0.0) * np.ones((1, 16))
    regions = (region("low"), region("high", support_conductance=0.5))

    def settled(contacts):
        model = ThermalModel(mesh, regions, 300.0, interfaces=contacts, exchange=False)
        return solve_heat(model, lambda t: source, 3000.0, 300.0, march=March(tolerance=0.05)).regions

    with_contact = settled((InterfaceContact("low", "high", 2000.0),))
    perfect = settled(())
    drop = power / (2000.0 * math.pi * 0.01**2)
    assert with_contact["low"][-1, 1] - perfect["low"][-1, 1] == pytest.approx(drop, abs=0.2)
    assert with_contact["high"][-1, 1] == pytest.approx(perfect["high"][-1, 1], abs=0.1)


def test_melting_takes_its_latent_heat():
    mesh = bar(0.002, 0.004, 3)
    latent = 2e9
    model = ThermalModel(mesh, (region("bar", Plain(conductivity=1e4, latent=latent)),), 300.0, exchange=False)
    source = np.full(mesh.gauss.r.shape, 1e8)
    needed = (4e6 * (650.0 - 300.0) + latent) / 1e8
    result = solve_heat(model, lambda t: source, needed, 300.0, march=March(tolerance=0.1))
    assert result.regions["bar"][-1, 1] == pytest.approx(650.0, abs=0.1)
    assert result.energy.relative < 1e-6


def test_hot_ball_in_a_closed_shell_is_the_textbook_exchange():
    """Two gray concentric spheres: q = sigma A1 (T1^4 - T2^4) / (1/e1 + (1/e2 - 1) A1/A2), Siegel & Howell ch. 7."""
    ball = half_disc(0.0, graded(0, 0.01, 2e-3, ends="end"), 10, "ball")
    shell = _shell(0.02, 0.022, "shell")
    regions = (region("ball", Plain(conductivity=1e4, eps=0.6)), region("shell", Plain(conductivity=1e4, eps=0.4)))
    model = ThermalModel(union([ball, shell]), regions, 1e-3 + 4.0, rays=16384)
    stepper = Stepper(model)
    trial = stepper.step(stepper.start({"ball": 1000.0, "shell": 500.0}), 1e-3, None)
    before = stepper.operators.total(_where(stepper, "ball", stepper.start({"ball": 1000.0, "shell": 500.0}).enthalpy))
    after = stepper.operators.total(_where(stepper, "ball", trial.state.enthalpy))
    area = (4 * math.pi * 0.01**2, 4 * math.pi * 0.02**2)
    wanted = float(enclosed_exchange(area[0], area[1], 0.6, 0.4, 1000.0, 500.0))
    assert (before - after) / 1e-3 == pytest.approx(wanted, rel=0.01)


def _where(stepper, name, values):
    number = stepper.model.mesh.regions.index(name)
    return np.where(stepper.operators.kind[:, None] == number, values, 0.0)


def _shell(inner, outer, name):
    angle = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 33)
    rho, theta = np.meshgrid(np.linspace(inner, outer, 5), angle, indexing="ij")
    r = rho * np.cos(theta)
    r[:, [0, -1]] = 0.0
    return from_lattice(r, rho * np.sin(theta), name)


def test_clear_shell_at_one_temperature_exchanges_nothing():
    """Isothermal enclosure: whatever the wall lets through, nothing warms or cools (second law)."""
    ball = half_disc(0.0, graded(0, 0.01, 2e-3, ends="end"), 10, "ball")
    regions = (
        region("ball", Plain(eps=0.6), space="vacuum"),
        region("shell", Plain(eps=0.9), optics=BandOptics.sharp(4e-6, 0.9)),
    )
    model = ThermalModel(union([ball, _shell(0.02, 0.022, "shell")]), regions, 900.0)
    result = solve_heat(model, None, 100.0, 900.0, march=March(tolerance=0.05))
    for values in result.regions.values():
        assert np.abs(values[-1] - 900.0).max() < 0.5


def test_clear_shell_lets_short_waves_of_a_hot_ball_pass():
    """Against an opaque shell the ball cools faster and the shell stays cooler."""
    ball = half_disc(0.0, graded(0, 0.01, 2e-3, ends="end"), 10, "ball")

    def run(optics):
        regions = (region("ball", Plain(eps=0.6), space="vacuum"), region("shell", Plain(eps=0.9), optics=optics))
        model = ThermalModel(union([ball, _shell(0.02, 0.022, "shell")]), regions, 293.15)
        return solve_heat(model, None, 60.0, {"ball": 1300.0, "shell": 293.15}, march=March(tolerance=0.5)).regions

    clear, opaque = run(BandOptics.sharp(4e-6, 0.9)), run(None)
    assert clear["ball"][-1, 1] < opaque["ball"][-1, 1] - 1.0
    assert clear["shell"][-1, 1] < opaque["shell"][-1, 1] - 5.0


@dataclass(frozen=True)
class Law:
    heat_of_reaction: float = 6e5
    rate_constant: float = 8.6e11
    activation_energy: float = 250e3
    order: float = 1.0


@pytest.mark.parametrize("order", [0.7, 1.0, 2.0])
def test_charge_against_an_ordinary_differential_equation(order):
    mesh = bar(0.002, 0.004, 2)
    law = replace(Law(), order=order)
    charge = ChargeInput(20e-6, law)
    model = ThermalModel(mesh, (region("bar", Plain(conductivity=1e5), charge=charge),), 300.0, exchange=False)
    per_volume = 2.4e8
    result = solve_heat(
        model,
        lambda t: np.full(mesh.gauss.r.shape, per_volume),
        16.0,
        300.0,
        march=March(tolerance=0.2, burnt_limit=0.01),
    )
    volume = mesh.volume()

    def rate(_, y):
        kelvin, burnt = y
        speed = (
            law.rate_constant * math.exp(-law.activation_energy / (8.314462618 * kelvin)) * max(1 - burnt, 0.0) ** order
        )
        return [(per_volume + speed * charge.mass * law.heat_of_reaction / volume) / 4e6, speed]

    exact = solve_ivp(rate, (0, 16.0), [300.0, 0.0], method="LSODA", rtol=1e-9, atol=1e-11, dense_output=True)
    times = np.linspace(0, 16.0, 4000)
    start = times[np.searchsorted(exact.sol(times)[1], 0.05)]
    assert result.charge_starts["bar"] == pytest.approx(start, abs=0.03)
    assert result.burnt["bar"][-1] == pytest.approx(exact.y[1, -1], abs=0.01)
    assert result.energy.charge == pytest.approx(result.burnt["bar"][-1] * 12.0, rel=1e-3)


def test_next_shot_keeps_what_has_burnt_and_kills_part_of_the_rest():
    mesh = bar(0.002, 0.004, 2)
    charge = ChargeInput(20e-6, Law(), refire_share=0.5)
    stepper = Stepper(ThermalModel(mesh, (region("bar", charge=charge),), 300.0, exchange=False))
    shape = mesh.gauss.r.shape
    state = stepper.start(300.0, burnt=np.full(shape, 0.4))
    again = stepper.next_shot(state)
    assert np.allclose(again.spent, 0.5 * 0.6)
    assert stepper.burnt_means(again)["bar"] == pytest.approx(0.4)
    hot = stepper.start(1300.0, burnt=again.burnt, spent=again.spent)
    for _ in range(40):
        hot = stepper.step(hot, 0.05, None).state
    assert stepper.burnt_means(hot)["bar"] == pytest.approx(0.7, abs=1e-3)


def test_view_factor_of_two_facing_discs():
    """Howell, Catalog of Radiation Heat Transfer Configuration Factors, C-41, through formulas_radiation.factor_discs."""
    gap = 0.02
    low = rectangle(np.linspace(0, 0.02, 9), [-0.001, 0.0], "low")
    high = rectangle(np.linspace(0, 0.02, 9), [gap, gap + 0.001], "high")
    model = ThermalModel(
        union([low, high]), (region("low", Plain(eps=1.0)), region("high", Plain(eps=1.0))), 4.0, rays=32768
    )
    stepper = Stepper(model)
    operators = stepper.operators
    view, patches = operators.exchange.views[0], operators.patches
    rows = [k for k in range(patches.count) if patches.region[k] == 0 and _facing(operators, k, 0.0)]
    columns = [k for k in range(patches.count) if patches.region[k] == 1 and _facing(operators, k, gap)]
    total = sum(patches.area[i] * view.between[i, j] for i in rows for j in columns) / (math.pi * 0.02**2)
    assert total == pytest.approx(float(factor_discs(0.02, 0.02, gap)), abs=2e-3)
    assert np.allclose(patches.area[:, None] * view.between, (patches.area[:, None] * view.between).T, atol=1e-12)
    assert np.allclose(view.between.sum(axis=1) + view.outside, 1.0, atol=1e-6)


def test_view_factors_settle_as_more_rays_are_followed():
    """Worst of all pairs of patches of two facing discs against a run with 2^18 rays: from 512 to 32768 rays the error
    falls at least as the root of their number, and the default, 2048, is within 0.005 (0.003 when written)."""
    low = rectangle(np.linspace(0, 0.02, 5), [-0.001, 0.0], "low")
    high = rectangle(np.linspace(0, 0.02, 5), [0.02, 0.021], "high")
    regions = (region("low", Plain(eps=1.0)), region("high", Plain(eps=1.0)))
    patches = Stepper(ThermalModel(union([low, high]), regions, 4.0)).operators.patches

    def between(rays):
        return view_factors(patches, np.zeros((1, patches.count)), rays)[0].between

    settled = between(2**18)
    errors = {rays: np.abs(between(rays) - settled).max() for rays in (512, 2048, 32768)}
    assert errors[2048] < 5e-3
    assert errors[512] > errors[2048] > errors[32768]
    assert errors[512] / errors[32768] > math.sqrt(32768 / 512)


def test_one_set_of_rays_serves_every_wall():
    """A pane that is clear, dim or opaque between two discs: together as one by one."""
    places = {"low": 0.0, "pane": 0.01, "high": 0.02}
    meshes = [rectangle(np.linspace(0, 0.02, 5), [z, z + 0.001], name) for name, z in places.items()]
    regions = tuple(region(name, Plain(eps=0.5)) for name in places)
    patches = Stepper(ThermalModel(union(meshes), regions, 4.0)).operators.patches
    walls = np.outer([0.9, 0.3, 0.0], patches.region == 1)
    together = view_factors(patches, walls)
    low, high = patches.region == 0, patches.region == 2
    for row, view in zip(walls, together, strict=True):
        alone = view_factors(patches, row[None])[0]
        assert np.array_equal(view.between, alone.between) and np.array_equal(view.outside, alone.outside)
    through = [view.between[np.ix_(low, high)].sum() for view in together]
    assert through[0] > through[1] > through[2] == 0.0


@pytest.mark.parametrize(("inner", "outer", "open_share"), [(0.0, 0.06, 0.0), (0.021, 0.06, 1.0)], ids=["shut", "open"])
def test_a_body_between_two_discs_blocks_what_crosses_it(inner, outer, open_share):
    """A shutter between facing discs leaves no direct view; a ring outside every line of sight leaves all of it."""
    gap = 0.02
    low = rectangle(np.linspace(0, 0.02, 9), [-0.001, 0.0], "low")
    high = rectangle(np.linspace(0, 0.02, 9), [gap, gap + 0.001], "high")
    shutter = rectangle(np.linspace(inner, outer, 9), [0.0095, 0.0105], "shutter")
    regions = tuple(region(name, Plain(eps=1.0)) for name in ("low", "high", "shutter"))
    operators = Stepper(ThermalModel(union([low, high, shutter]), regions, 4.0, rays=32768)).operators
    view, patches = operators.exchange.views[0], operators.patches
    rows = [k for k in range(patches.count) if patches.region[k] == 0 and _facing(operators, k, 0.0)]
    columns = [k for k in range(patches.count) if patches.region[k] == 1 and _facing(operators, k, gap)]
    total = sum(patches.area[i] * view.between[i, j] for i in rows for j in columns) / (math.pi * 0.02**2)
    assert total == pytest.approx(open_share * float(factor_discs(0.02, 0.02, gap)), abs=2e-3)


def _facing(operators, patch, z):
    edges = operators.edges.points[operators.patches.of_edge == patch]
    return bool(np.all(np.abs(edges[:, :, 1] - z) < 1e-9))


def test_points_are_read_inside_and_refused_outside():
    stepper = Stepper(ThermalModel(bar(), (region("bar"),), 300.0, exchange=False))
    nodal = 300.0 + 1e3 * stepper.operators.points[:, 0] + 2e3 * stepper.operators.points[:, 1]
    read = stepper.at_points(np.array([[0.0, 0.0], [0.01, 0.02], [0.0033, -0.0071]]))
    assert read(nodal) == pytest.approx([300.0, 350.0, 300 + 3.3 - 14.2])
    with pytest.raises(BadInput, match="must lie inside a body"):
        stepper.at_points(np.array([[0.02, 0.0]]), ("far",))


@pytest.mark.parametrize("tolerance", [2.0, 0.2])
def test_books_close(tolerance):
    mesh = bar()
    model = ThermalModel(
        mesh, (region("bar", Plain(eps=0.8), convection=20.0, support_conductance=0.02),), 300.0, exchange=False
    )
    source = np.full(mesh.gauss.r.shape, 5e6)
    result = solve_heat(model, lambda t: source, 200.0, 300.0, march=March(tolerance=tolerance))
    assert result.energy.relative < 1e-11
    assert np.all(result.regions["bar"][:, 0] >= 300.0 - 1e-6)
