"""Coils out of line in a fixture: what the window takes from the field of the pose, and the sides of the part."""

import math

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.pose import PosePart
from coilwright.field.pose_incident import Pose
from coilwright.job import loads
from coilwright.window.askew import side_heat, sides_of
from coilwright.window.collisions import check_draws
from coilwright.window.effort import Effort
from coilwright.window.margins import limits_of
from coilwright.window.quantities import quantities
from coilwright.window.stations import FixtureModel, Station
from coilwright.window.study import Study, runner_of
from coilwright.window.yields import forecast
from tests.heating.jobs import WASHER
from tests.window.jobs import ring_job, ring_model

POSES = """
[[varies]]
what = "coil.centre"
by = "0.1 mm"
[[varies]]
what = "coil.sideways"
by = "0.4 mm"
[[varies]]
what = "coil.tilt"
by = "0.5 deg"
[[varies]]
what = "coil.tilt_towards"
by = "180 deg"
shape = "uniform"
"""
CROOKED = Station(sideways=1.5e-3, tilt=0.06, across=-0.04)
COLDEST = WASHER.replace('at = "mean"', 'at = "coldest"')
# a coil round its part with a gap of 1.5 mm, a turn at the height of the part
TIGHT = COLDEST.replace('mean_diameter = "24 mm"', 'mean_diameter = "16 mm"').replace('"-7.5 mm"', '"5.5 mm"')


def unbuilt(job, effort=None):
    """A study before its first full shot."""
    model = FixtureModel(job, level="coarse")
    varied = quantities(job)
    study = Study(job, varied, model, runner_of(model, varied, Effort()), effort or Effort())
    study.sides = sides_of(model.cells.at().part, model.cells.scene, study.limits, study.on_time)
    study.askew = study._askew_table()
    return study


@pytest.fixture(scope="module")
def study():
    return unbuilt(ring_job(2, "60 mm", POSES))


def direct(cells, pose):
    """The pose engine asked without the window: power over that in line."""
    solver = cells.field.at(coil=0.0)
    part = PosePart.of(solver, {b.name: 293.15 for b in solver.model.bodies})
    work = part.power(pose)[0][0] / part.power(Pose())[0][0]
    return work, part.reading(pose)


def test_a_station_out_of_line_is_the_pose_engine():
    model = ring_model(2, "100 m", control="current")
    ring = model.cells.at().ring[1]
    result, healthy = model.solve({2: CROOKED}), model.solve()
    power, reading = direct(model.cells, CROOKED.pose(ring))
    assert result.powers[1] / healthy.powers[1] == pytest.approx(power, rel=1e-9)
    assert result.powers[0] == pytest.approx(healthy.powers[0], rel=1e-9)
    # the terminals see what the part adds to the crooked coil
    _, straight = direct(model.cells, Pose())
    added = result.impedance - healthy.impedance
    assert added.real == pytest.approx(reading.resistance_change - straight.resistance_change, rel=0.05)
    change = reading.inductance_change - straight.inductance_change
    assert added.imag == pytest.approx(2 * math.pi * model.frequency * change, rel=0.05)


def test_draws_are_the_pose_engine(study):
    """Power, R, L and sides of random poses: the table against the engine at every one of them."""
    assert study.askew.error < 2e-4
    rng = np.random.default_rng(5)
    at = rng.uniform(-0.75, 0.75, (12, 4)) * study.askew.half
    told = study.askew(*at.T)
    cell = study.model.cells.at()
    for n, (axial, sideways, tilt, across) in enumerate(at):
        pose = Pose(sideways, 0.0, axial, across, tilt, cell.ring[1])
        (power,), (added,) = cell.part.answers(pose, cell.work)
        (line,), (straight,) = cell.part.answers(Pose(axial=axial), cell.work)
        assert told.coupling[n] ** 2 == pytest.approx(power / line, rel=3e-4)
        assert told.resistance[n] == pytest.approx(added.real / straight.real, rel=3e-4)
        assert told.inductance[n] == pytest.approx(added.imag / straight.imag, rel=3e-4)
        assert told.heat[n] == pytest.approx(side_heat(cell.part, study.sides, pose), rel=3e-4)


def test_opposite_poses_are_the_same(study):
    there = study.askew(*np.array([[0.1e-3, 0.8e-3, 0.01, 0.005]]).T)
    back = study.askew(*np.array([[0.1e-3, -0.8e-3, -0.01, -0.005]]).T)
    assert back.coupling == pytest.approx(there.coupling, rel=2e-4)
    assert back.heat == pytest.approx(there.heat, rel=2e-4)


def test_offset_and_tilt_are_drawn_with_their_direction(study):
    """Without `coil.tilt_towards` both lie in one plane; with it the tilt goes round."""
    draws = study.draw(4000, 3)
    at = study.poses(draws)
    tilt = np.hypot(at[..., 2], at[..., 3])
    assert tilt == pytest.approx(np.abs(draws.values["coil.tilt"]))
    assert abs(np.mean(at[..., 2] * at[..., 1])) < 0.05 * np.std(at[..., 2]) * np.std(at[..., 1])
    assert np.std(at[..., 3]) == pytest.approx(np.std(at[..., 2]), rel=0.05)


def test_the_cold_side_decides_what_must_be_reached_and_the_hot_side_what_must_not(study):
    heat = study.askew(*np.array([[0.0, 1.2e-3, 0.03, 0.0]]).T).heat[0]
    for k, x in enumerate(study.limits):
        if x.body == "bulb":
            assert heat[k] == 1.0  # no eddy currents flow in glass
        else:
            assert heat[k] > 1.0 if x.too_much else heat[k] < 1.0
    straight = study.askew(*np.zeros((4, 1))).heat[0]
    assert straight == pytest.approx(np.ones(len(heat)), abs=2e-4)


def test_what_conduction_leaves_of_a_side():
    """Harmonic n goes as 1 - exp(-n^2 a t / R^2) while the mean goes as t (without losses, which leave a little more); and a
    place reads its own loss at once, the mean of the section later."""
    job = loads(COLDEST, "washer.toml")
    model = FixtureModel(job, level="coarse")
    part, limits = model.cells.at().part, limits_of(job)
    pose = Pose(offset_x=1e-3)
    reading = part.reading(pose)
    for time in (1e-3, 100.0):
        sides = sides_of(part, model.cells.scene, limits, time)
        at = next(k for k, s in enumerate(sides) if s is not None and s.cold)
        q = part.side_harmonics(pose, np.array([sides[at].weights]))[0]
        section = part.side_harmonics(pose, np.array([part.state.reduced.live.interior.ring]))[0]
        if time > 1.0:
            assert abs(q[0] - section[0]) < 0.1 * abs(section[0])
            # by 5.5 s, the deadline: a at 435 degC from the job's own curves
            gone = np.array([1, 4, 9]) * 20.7 / (7900.0 * 556.6) * 5.5 / model.cells.at().ring[0] ** 2
            assert sides[at].left == pytest.approx(-np.expm1(-gone) / gone, rel=0.15)
            assert np.all(sides[at].left > -np.expm1(-gone) / gone)
        else:
            assert sides[at].left == pytest.approx(np.ones(3), abs=0.05)
    ratio = (1 + abs(section[0])) / (1 - abs(section[0]))
    assert ratio == pytest.approx(max(reading.section_ratio, 1 / reading.section_ratio), abs=5e-3)


def test_margins_of_a_crooked_part_are_those_of_its_sides():
    """A study built on full shots: the margin of what must be reached is that of its cold side."""
    job = ring_job(2, "60 mm", POSES)
    built = Study.of(job, Effort(runs=10, fresh=0, refine=0))
    draws = built.draw(300, 4)
    judged = built.judge(draws)
    cold = next(k for k, s in enumerate(built.sides) if s is not None and s.cold)
    hot = next(k for k, s in enumerate(built.sides) if s is not None and not s.cold)
    assert judged.side[..., cold].max() < 1e-4 < judged.side[..., hot].max()
    points = built.points(draws, judged.level)
    worst = np.unravel_index(np.argmin(judged.side[..., cold]), judged.level.shape)
    row = points[worst].copy()
    row[0] += judged.side[(*worst, cold)]
    outcome = built.runner.run(*built.task(row))
    assert judged.margins[(*worst, cold)] == pytest.approx(outcome.margins[cold], abs=0.02)


def test_a_draw_whose_coil_stands_in_the_glass_is_named(study):
    wide = unbuilt(ring_job(2, "60 mm", POSES.replace('by = "0.5 deg"', 'by = "3 deg"')))
    study.check_clearances(study.draw(2000, 1))
    with pytest.raises(BadInput, match=r'varies: shot \d+, station [12]: .*"bulb" overlap by .* tilt \(.*narrow'):
        forecast(wide, 2000)
    with pytest.raises(BadInput, match=r'station 2: .*"bulb" overlap'):
        study.model.solve({2: Station(sideways=-2e-3, tilt=math.radians(10.0))})


def test_every_collision_is_found_that_looking_at_each_draw_finds(study):
    """The farthest draws in many directions against the clearance of all of them."""
    from coilwright.field.pose_clearance import pose_clearance

    section, rng = study.model.cells.scene.section, np.random.default_rng(11)
    for scale in (0.6, 1.0):
        rows = np.zeros((30, 6))
        rows[:, :5] = rng.normal(size=(30, 5)) * scale * np.array([3e-4, 0, 2e-4, 0.02, 0.02])
        hits = any(pose_clearance(section, Pose(*row)) <= 0.0 for row in rows)
        try:
            check_draws(section, rows, 2)
        except BadInput:
            assert hits
        else:
            assert not hits


def test_widths_that_put_the_coil_into_the_part_are_refused():
    job = loads(TIGHT + '\n[[varies]]\nwhat = "coil.sideways"\nby = "2 mm"\n', "tight.toml")
    with pytest.raises(BadInput, match="the coil would mostly stand in the part"):
        unbuilt(job)
