"""The machine behind the causes: against full fields and shots, against closed forms, and against its own limits."""

import math

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.field.setup import field_model, mesh_scene
from coilwright.field.solve import Field
from coilwright.job import loads, template
from coilwright.line.askew import POWER, askew_curves
from coilwright.line.build import _at, _running, _work_power, build_plant
from coilwright.line.plant import Condition, read_line
from coilwright.section.scene import scene
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from coilwright.window.cell import Cells
from coilwright.window.stations import FixtureModel, Station
from tests.line.machines import board, ring_job


def state(n=6, **changes):
    c = Condition.healthy(1, n)
    for name, (place, value) in changes.items():
        getattr(c, name)[(0, place) if place is not None else 0] = value
    return c


def outcome(b, **changes):
    return b.plant.predict(state(b.plant.line.stations, **changes))


def test_healthy_is_zero_everywhere():
    got = outcome(board())
    for what, ratio in got.ratios.items():
        assert np.all(np.abs(ratio) < 1e-12), what
    assert np.all(np.abs(got.power) < 1e-12)
    assert np.all(got.expected_bad < 0.05)


def test_setback_against_a_fresh_field_of_the_moved_coil():
    """A constant current leaves the part its power per A^2: that of the job with the coil 0.7 mm farther (finer meshes)."""
    job = ring_job(control="current")
    moved = job.with_value("coil.centre", "16.95 mm")
    here, there = field(job, estimate_error=False).result, field(moved, estimate_error=False).result
    wanted = there.body_powers["ring"] / here.body_powers["ring"]
    got = outcome(board(control="current"), coil_back=(2, 0.7e-3))
    assert math.exp(got.power[0, 2]) == pytest.approx(wanted, rel=0.01)
    assert got.ratios["coil-current"][0] == pytest.approx(0.0, abs=1e-12)


def test_what_saturates_is_taken_at_the_current_of_the_machine():
    job = loads(template("pancake-under-disc"), "disc.toml")
    there = field(job, level="coarse", estimate_error=False).result
    frequency, amperes = _running(job, scene(job))
    solver = Field.of(field_model(mesh_scene(scene(job), frequency, "coarse")))
    assert (frequency, amperes) == (there.frequency, pytest.approx(abs(there.coil_current)))
    here, nowhere = (_at(solver, a) for a in (amperes, 1.0))
    assert here.impedance.imag / (2 * math.pi * frequency) == pytest.approx(there.loaded.inductance, rel=1e-4)
    assert _work_power(job, here) * amperes**2 == pytest.approx(there.body_powers["disc"], rel=1e-4)
    assert nowhere.impedance.imag > 1.1 * here.impedance.imag  # at 1 A it is another magnet


def test_totals_of_six_in_series_against_sums_of_fields():
    job = ring_job()
    moved = job.with_value("coil.centre", "17.25 mm")
    here, there = field(job, estimate_error=False), field(moved, estimate_error=False)
    r = [x.result.loaded.resistance + x.leads.resistance for x in (here, there)]
    wanted = math.log(6 * r[0] / (5 * r[0] + r[1]))  # constant volts on a tuned tank: the current goes as one over R
    got = outcome(board(), coil_back=(2, 1e-3))
    assert got.ratios["coil-current"][0] == pytest.approx(wanted, abs=5e-4)
    assert abs(got.ratios["frequency"][0]) < 2e-4  # nothing to see at the counter


def test_start_against_a_full_shot_at_other_power():
    job = ring_job(1, control="current").with_value("drive.coil_current", "130 A")
    healthy = heat(ring_job(1, control="current"), estimate_error=False).verdicts[1].details["start_at_s"]
    weaker = heat(job, estimate_error=False).verdicts[1].details["start_at_s"]
    got = outcome(board(1, control="current"), setting=(None, math.log(130 / 139)))
    assert got.ratios["start"][0, 0] == pytest.approx(math.log(weaker / healthy), abs=0.01)


def test_signatures_of_the_whole_machine():
    b = board()
    assert outcome(b, capacitance=(None, math.log(5 / 6))).ratios["frequency"][0] == pytest.approx(
        0.5 * math.log(6 / 5), abs=1e-6
    )
    low = outcome(b, mains=(None, -0.05))
    assert low.power[0] == pytest.approx(-0.10, abs=1e-9)
    assert low.ratios["q"][0] == pytest.approx(0.0, abs=1e-12)
    joint = outcome(b, joint=(None, 0.05))
    assert joint.ratios["q"][0] == pytest.approx(-math.log(1.05), abs=1e-9)
    gone = outcome(b, absent=(2, 1.0))
    assert gone.power[0, 2] < -10.0
    assert 0.03 < gone.power[0, 0] < 0.12  # the others get more: the tank has lost a load
    short = outcome(b, short=(2, 1.0))
    assert short.ratios["frequency"][0] > 0.03
    assert short.power[0, 2] < -0.5


def test_the_regulated_quantity_hides_the_fault():
    for control, still in (("current", "coil-current"), ("power", "source-power")):
        got = outcome(board(control=control), coil_back=(0, 1e-3))
        assert got.ratios[still][0] == pytest.approx(0.0, abs=1e-9)
        assert got.power[0, 0] < -0.2


def test_parallel_feed_shares_by_impedance():
    b = board(3, feed="parallel")
    got = outcome(b, lead=(0, 0.07))
    assert got.power[0, 0] - got.power[0, 1] == pytest.approx(
        2 * math.log(1 / 1.07), abs=2e-3
    )  # reactance rules a branch
    near = outcome(b, coil_back=(1, 1e-3))
    assert abs(near.ratios["voltage-share"]).max() < 1e-9  # one voltage for all


def test_a_coil_out_of_line_is_what_the_window_says_of_it():
    """Power at its station and current at the terminals of the same fixture: both from the pose engine, on other meshes,
    here without the neighbours (0.1 % of the power)."""
    b, model = board(), FixtureModel(ring_job(), neighbours=False)
    healthy = model.solve()
    for here, there in (
        ({"sideways": (0, 2e-3)}, Station(sideways=2e-3)), ({"tilt": (0, math.radians(10))}, Station(tilt=math.radians(10))),
    ):  # fmt: skip
        got, wanted = outcome(b, **here), model.solve({1: there})
        assert got.power[0, 0] == pytest.approx(math.log(wanted.powers[0] / healthy.powers[0]), abs=2e-3)
        assert got.ratios["coil-current"][0] == pytest.approx(math.log(wanted.current / healthy.current), abs=5e-4)
        assert got.power[0, 0] < -0.005


def test_a_coil_round_its_part_moves_only_as_far_as_there_is_room():
    """Three millimetres of air round the socket: the curves end before coil and part touch; a solid part gains."""
    cell = Cells(loads(template("ferrule-to-braze"), "ferrule.toml"), 1e5, "coarse").at()
    section = scene(cell.job).section
    work = [b.name for b in cell.job.bodies if b.role == "work"]
    aside, tilted = askew_curves(cell.part, work, section, cell.ring, cell.flux)
    for curve, most in ((aside, 3e-3), (tilted, math.radians(20.0))):
        assert 0.2 * most < curve.at[-1] < most
        assert np.all(np.diff(curve.ratios[POWER]) > 0.0)


@pytest.mark.parametrize(("text", "said"), [
    ("stations = 0", "stations"), ("stations = 2\nfeed = \"star\"", "feed"), ("stations = 2\ncontrol = 3", "control"),
])  # fmt: skip
def test_a_faulty_fixture_is_refused(text, said):
    job = loads(template("ring-through-glass") + f'\n[fixture]\nspacing = "80 mm"\n{text}\n', "ring.toml")
    with pytest.raises(BadInput, match=said):
        read_line(job)


def test_a_job_without_a_coil_is_refused():
    job = ring_job()
    with pytest.raises(BadInput, match="coil"):
        build_plant(job.with_value("coil", None).with_value("drive.coil_current", None))
