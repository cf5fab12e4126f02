"""The water circuit: energy, equal pressure of parallel paths, pump, feedback of copper temperature, findings."""

import itertools
import math
from dataclasses import replace

import pytest

from coilwright.cooling.formulas import (
    helix_friction,
    helix_nusselt,
    straight_friction,
    straight_nusselt,
    water_column_current,
)
from coilwright.cooling.inputs import (
    Circuit,
    Element,
    Path,
    Pump,
    RatedDrop,
    Room,
    SetFlow,
    SetPressure,
    SetRise,
    Wall,
    rectangular_bore,
    round_bore,
)
from coilwright.cooling.solve import metal_temperature, pressure_drop, settle_losses, solve_cooling
from coilwright.cooling.water import water
from coilwright.errors import BadInput, NotConverged

LITRE_PER_MINUTE = 1e-3 / 60.0
COIL = Element("coil", round_bore(2.5e-3, 0.4, coil_diameter=0.024), 400.0, Wall(0.75e-3))
LEADS = Element("leads", round_bore(2.5e-3, 0.3, bends=2, bend_radius=0.01), 120.0, Wall(0.75e-3))
CAPACITORS = Element("capacitors", RatedDrop(2 * LITRE_PER_MINUTE, 0.3e5), 150.0)
HOSE = round_bore(8e-3, 3.0)


def series(supply, **more):
    return Circuit(supply, (Path("all", (COIL, LEADS, CAPACITORS)),), **more)


def parallel(supply):
    return Circuit(
        supply,
        (Path("coil", (COIL, LEADS)), Path("bank", (CAPACITORS,))),
        feed=(Element("feed", HOSE),),
        back=(Element("back", HOSE),),
    )


@pytest.mark.parametrize("build", [series, parallel])
def test_water_takes_up_exactly_the_losses(build):
    result = solve_cooling(build(SetFlow(1.5 * LITRE_PER_MINUTE)))
    density = water(293.15).density
    carried = 0.0
    for state in result.elements:
        at = water(0.5 * (state.inlet_temperature + state.outlet_temperature))
        mass_flow = state.flow * water(state.inlet_temperature).density
        carried += mass_flow * at.specific_heat * (state.outlet_temperature - state.inlet_temperature)
    assert carried == pytest.approx(670.0, rel=1e-9)
    assert result.heat == 670.0
    assert sum(p.flow for p in result.paths) * density == pytest.approx(result.flow * density, rel=1e-8)


def test_parallel_paths_have_the_same_drop_and_the_drops_add_up():
    result = solve_cooling(parallel(SetFlow(2 * LITRE_PER_MINUTE)))
    drops = [p.pressure_drop for p in result.paths]
    assert drops[0] == pytest.approx(drops[1], rel=1e-7)
    total = result.feed[0].pressure_drop + drops[0] + result.back[0].pressure_drop
    assert result.pressure_drop == pytest.approx(total, rel=1e-7)
    assert result.element("coil").outlet_pressure == pytest.approx(
        101325.0 + result.back[0].pressure_drop + result.element("leads").pressure_drop, rel=1e-9
    )


def test_identical_paths_share_evenly():
    paths = tuple(Path(f"p{i}", (replace(COIL, name=f"c{i}"),)) for i in range(3))
    result = solve_cooling(Circuit(SetFlow(3 * LITRE_PER_MINUTE), paths))
    assert [p.flow / LITRE_PER_MINUTE for p in result.paths] == pytest.approx([1.0] * 3, rel=1e-8)


@pytest.mark.parametrize("build", [series, parallel])
def test_set_pressure_and_set_flow_are_inverse(build):
    first = solve_cooling(build(SetPressure(2e5)))
    assert first.pressure_drop == pytest.approx(2e5, rel=1e-6)
    assert solve_cooling(build(SetFlow(first.flow))).pressure_drop == pytest.approx(2e5, rel=1e-6)


def test_pump_curve_and_circuit_cross():
    pump = Pump((0.0, 2 * LITRE_PER_MINUTE, 4 * LITRE_PER_MINUTE), (4e5, 3e5, 0.0))
    result = solve_cooling(series(pump))
    litres = result.flow / LITRE_PER_MINUTE
    on_curve = 4e5 - 0.5e5 * litres if litres < 2 else 3e5 - 1.5e5 * (litres - 2)
    assert result.pressure_drop == pytest.approx(on_curve, rel=1e-6)


def test_set_rise_gives_that_rise():
    result = solve_cooling(series(SetRise(12.0)))
    assert result.outlet_temperature - 293.15 == pytest.approx(12.0, rel=1e-6)


@pytest.mark.parametrize("coil_diameter", [None, 0.024])
def test_drop_rises_with_flow_without_a_step_back(coil_diameter):
    run = round_bore(2.5e-3, 1.0, coil_diameter=coil_diameter)
    flows = [1e-4 * 1.03**i for i in range(250)]
    drops = [pressure_drop(run, m, 300.0) for m in flows]
    assert all(b > a for a, b in itertools.pairwise(drops))


def test_correlations_have_no_jump():
    for re in (2300.0, 4000.0, 7400.0, 2.2e4):
        low, high = re * (1 - 1e-9), re * (1 + 1e-9)
        assert straight_friction(low, 1e-4) == pytest.approx(straight_friction(high, 1e-4), rel=1e-6)
        assert straight_nusselt(low, 5.0, 0.04) == pytest.approx(straight_nusselt(high, 5.0, 0.04), rel=1e-6)
        assert helix_friction(low, 0.05, 1.0) == pytest.approx(helix_friction(high, 0.05, 1.0), rel=1e-6)
        assert helix_nusselt(low, 5.0, 0.05, 1.0) == pytest.approx(helix_nusselt(high, 5.0, 0.05, 1.0), rel=1e-6)


def test_helix_tends_to_straight_for_a_wide_coil():
    assert helix_friction(3e4, 1e-5, 1.0) == pytest.approx(straight_friction(3e4), rel=0.01)
    assert helix_friction(500.0, 1e-6, 1.0) == pytest.approx(straight_friction(500.0), rel=1e-6)


def test_square_bore_has_its_side_as_hydraulic_diameter():
    run = rectangular_bore(3e-3, 3e-3, 1.0)
    assert run.hydraulic_diameter == pytest.approx(3e-3)
    assert run.wetted_surface == pytest.approx(12e-3)
    assert round_bore(3e-3, 1.0).wetted_surface == pytest.approx(math.pi * 3e-3)


def test_metal_is_hotter_than_the_wall_and_the_wall_hotter_than_the_water():
    state = solve_cooling(series(SetFlow(LITRE_PER_MINUTE))).element("coil")
    water_mean = 0.5 * (state.inlet_temperature + state.outlet_temperature)
    flux = 400.0 / COIL.hydraulics.wetted_surface
    through = flux * 1.25e-3 * math.log(2.0 / 1.25) / 390.0
    assert state.metal_temperature == pytest.approx(water_mean + flux / state.film_coefficient + through, rel=1e-12)
    assert state.wall_temperature > state.outlet_temperature
    alone = metal_temperature(COIL, 400.0, state.flow, state.inlet_temperature)
    assert alone == pytest.approx(state.metal_temperature, rel=1e-9)


def test_hot_copper_settles_at_its_own_loss():
    def loss(kelvin):
        return 400.0 * math.sqrt(1.0 + 0.0039 * (kelvin - 293.15))  # skin loss follows the root of resistivity

    result = settle_losses(series(SetFlow(0.8 * LITRE_PER_MINUTE)), {"coil": loss})
    state = result.element("coil")
    assert state.loss == pytest.approx(loss(state.metal_temperature), rel=1e-5)
    assert state.loss > 405.0


def test_runaway_says_so():
    with pytest.raises(NotConverged, match="run away"):
        settle_losses(series(SetFlow(0.2 * LITRE_PER_MINUTE)), {"coil": lambda t: 400.0 * (t / 293.15) ** 8})


def codes(result):
    return {f.code for f in result.findings}


def test_findings_come_when_they_should_and_not_before():
    easy = solve_cooling(series(SetFlow(0.85 * LITRE_PER_MINUTE), room=Room(298.15, 0.4)))
    assert codes(easy) == set()
    starved = solve_cooling(series(SetFlow(0.15 * LITRE_PER_MINUTE)))
    assert {"water-hot", "flow-laminar"} <= codes(starved)
    assert next(f.severity for f in starved.findings if f.code == "water-hot") == "serious"
    boiling = solve_cooling(series(SetFlow(0.09 * LITRE_PER_MINUTE)))
    assert next(f.severity for f in boiling.findings if f.code == "boiling-margin") == "serious"
    assert "velocity-high" in codes(solve_cooling(series(SetFlow(1.5 * LITRE_PER_MINUTE))))


def test_sweating_coil_is_found():
    damp = Room(303.15, 0.8)  # dew point 26 degC
    cold = solve_cooling(series(SetFlow(LITRE_PER_MINUTE), inlet_temperature=288.15, room=damp))
    assert "below-dew-point" in codes(cold)
    warm = solve_cooling(series(SetFlow(LITRE_PER_MINUTE), inlet_temperature=301.15, room=damp))
    assert "below-dew-point" not in codes(warm)


def test_back_pressure_raises_the_boiling_margin():
    low = solve_cooling(series(SetFlow(0.5 * LITRE_PER_MINUTE)))
    high = solve_cooling(series(SetFlow(0.5 * LITRE_PER_MINUTE), outlet_pressure=4e5))
    assert high.element("coil").boiling_margin > low.element("coil").boiling_margin + 25.0


def test_current_through_a_hose():
    """1 kV rms over 1 m of 10 mm hose filled with 100 uS/cm water: R = l/(sigma A) = 1.273 Mohm."""
    assert 1000.0 / water_column_current(1000.0, 1.0, 0.01, 0.01) == pytest.approx(1.2732e6, rel=1e-4)


def test_result_reads_and_lists():
    result = solve_cooling(series(SetFlow(LITRE_PER_MINUTE)))
    assert "L/min" in repr(result)
    record = result.to_dict()
    assert record["flow_L_per_min"] == pytest.approx(1.0)
    assert [e["name"] for e in record["elements"]] == ["coil", "leads", "capacitors"]
    assert record["elements"][2]["wall_degC"] is None


@pytest.mark.parametrize(
    ("build", "part"),
    [
        (lambda: round_bore(0.0, 1.0), "greater than zero"),
        (lambda: round_bore(3e-3, 1.0, coil_diameter=2e-3), "larger than the bore"),
        (lambda: round_bore(3e-3, 1.0, bends=2), "bend_radius"),
        (lambda: RatedDrop(0.0, 1e4), "rated drop"),
        (lambda: Element("coil", HOSE, -1.0), "must not be negative"),
        (lambda: Path("empty", ()), "at least one element"),
        (lambda: Pump((0.0, 1e-5), (1e5, 2e5)), "must fall"),
        (lambda: Pump((0.0,), (1e5,)), "two points"),
        (lambda: Room(293.15, 60.0), "60 % is 0.6"),
        (lambda: series(SetFlow(0.0)), "cooling.flow"),
        (lambda: series(SetFlow(1e-5), inlet_temperature=263.15), "liquid water"),
        (lambda: Circuit(SetFlow(1e-5), ()), "at least one path"),
        (lambda: Circuit(SetFlow(1e-5), (Path("a", (COIL, COIL)),)), "own name"),
        (lambda: Circuit(SetRise(10.0), (Path("a", (Element("hose", HOSE),)),)), "no heat"),
    ],
)
def test_bad_input_is_one_sentence(build, part):
    with pytest.raises(BadInput, match=part) as caught:
        build()
    assert len(caught.value.faults) == 1
    assert "\n" not in str(caught.value)
