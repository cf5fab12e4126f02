"""The shots behind the limits (coarse, long steps, most of them carried over) against shots coupled in full on normal meshes."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import coilwright as cw
from coilwright.heating.drive import FixedCurrent
from coilwright.heating.march import Steps
from coilwright.heating.model import shot_model
from coilwright.heating.rough import rough_shot
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.line.build import build_plant
from coilwright.line.kept import encoded
from coilwright.line.limits import limits
from coilwright.line.posterior import build_board
from coilwright.line.shots import _all_seen
from coilwright.section.scene import scene

EXAMPLES = Path(__file__).parents[2] / "examples"
SHARE = 0.02  # of a time, and of ln power at which the part is just done, against shots in full
HOT = 0.05  # of ln power, where the limit is passed: 20 K or so of the coarser meshes


def plant_and_full(name, levels):
    """The plant of an example, and level -> shot in full."""
    job = cw.load(EXAMPLES / name / "job.toml")
    plant = build_plant(job)
    model = shot_model(scene(job), drive_of(job).frequency, "normal")

    def full(level):
        longer = job if job.drive.step else job.with_value("drive.on_time", f"{2.0 * job.drive.shot_time} s")
        drive = FixedCurrent(level * plant.current, plant.frequency)
        return shoot(model.for_job(longer), drive, steps=Steps(tolerance=1.0))

    return job, plant, {level: full(level) for level in levels}


def done_at(result, k):
    found = result.verdicts[k].details
    return found.get("reached_at_s", found.get("fired_at_s"))


def with_full_times(plant, full):
    """The plant with the times of its first acceptance taken from shots in full."""
    levels = sorted(full)
    ln_power = np.array([2.0 * math.log(level) for level in levels])
    times = np.log([done_at(full[level], 0) for level in levels])
    (_, limit, by_timer), curve = plant.shot.late[0], plant.shot
    warm = np.interp(ln_power, curve.ln_power, curve.warm.real) + 1j * np.interp(
        ln_power, curve.ln_power, curve.warm.imag
    )
    return replace(
        plant, shot=replace(curve, ln_power=ln_power, ln_start=times, late=((times, limit, by_timer),), warm=warm)
    )


def test_times_are_those_of_shots_in_full():
    _, plant, full = plant_and_full("indicator-tube-getter", (0.85, 1.0, 1.2))
    for level, result in full.items():
        at = np.array([2.0 * math.log(level)])
        assert plant.shot.start(at)[0] == pytest.approx(math.log(result.verdicts[1].details["start_at_s"]), abs=SHARE)
        last = max(done_at(result, 0), done_at(result, 1))
        assert plant.shot.total(at)[0] == pytest.approx(math.log(last), abs=SHARE)


def test_joined_bodies_have_a_machine_too():
    plant = build_plant(cw.load(EXAMPLES / "brazed-ferrule/job.toml"))
    assert plant.shot.hot > 0.0 > plant.shot.least_power(np.zeros(1))[0]


def test_a_shot_ends_when_all_is_seen_and_not_before():
    """No sooner than the on-time, nor than the last thing that is waited for; from there the rest of it is left out."""
    job = cw.load(EXAMPLES / "indicator-tube-getter/job.toml")
    model = shot_model(scene(job), drive_of(job).frequency, "coarse")
    longer = model.for_job(job.with_value("drive.on_time", f"{3.0 * job.drive.shot_time} s"))
    drive = drive_of(job)
    seen = _all_seen(longer, job.drive.shot_time)
    whole, cut = (shoot(longer, drive, steps=Steps(4.0, burnt=0.12), enough=x) for x in (None, seen))
    assert whole.trace.time[-1] == pytest.approx(3.0 * job.drive.shot_time)
    kept = len(cut.trace.time)
    assert np.array_equal(whole.trace.time[:kept], cut.trace.time)
    last = max(job.drive.shot_time, done_at(cut, 0), done_at(cut, 1))
    assert cut.trace.time[-2] < last <= cut.trace.time[-1] < whole.trace.time[-1]
    assert [done_at(cut, k) for k in (0, 1)] == [done_at(whole, k) for k in (0, 1)]


@pytest.mark.slow
def test_a_rough_shot_at_hand_gives_the_same_machine():
    """Machines are kept by their job alone, so that a pack and a question must come to the very same one."""
    job = cw.load(EXAMPLES / "hardened-pin/job.toml")
    shot = rough_shot(scene(job))
    one, other = build_plant(job), build_plant(job, rough=(shot.trace, shot.verdicts))
    assert encoded(one) == encoded(other)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "levels"),
    [
        ("disc-over-pancake", (0.9, 1.0, 1.1)),
        ("graphite-susceptor", (0.93, 1.0, 1.15)),
        ("brazed-ferrule", (0.9, 1.0, 1.1)),
        ("hardened-pin", (0.95, 1.0)),
    ],
)
def test_limits_are_those_of_shots_in_full(name, levels):
    """Every limit of a reading, amber and red, moves by less than the stated share of itself plus half its own doubt."""
    job, plant, full = plant_and_full(name, levels)
    for level, result in full.items():
        assert plant.shot.total(np.array([2.0 * math.log(level)]))[0] == pytest.approx(
            math.log(done_at(result, 0)), abs=SHARE
        )
    exact = with_full_times(plant, full)
    nothing = np.zeros(1)
    assert plant.shot.least_power(nothing)[0] == pytest.approx(exact.shot.least_power(nothing)[0], abs=SHARE)
    told, wanted = (limits(build_board(p, None), job) for p in (plant, exact))
    assert [(a.what, a.station, a.driven_by) for a in told] == [(b.what, b.station, b.driven_by) for b in wanted]
    for a, b in zip(told, wanted, strict=True):
        for mine, its in ((a.red, b.red), (a.amber, b.amber)):
            assert abs(mine - its) <= 0.1 * abs(its) + 0.5 * b.sigma, (a.what, a.driven_by, mine, its)


@pytest.mark.slow
def test_the_power_at_which_a_part_is_too_hot():
    _, plant, _ = plant_and_full("brazed-ferrule", ())
    job = cw.load(EXAMPLES / "brazed-ferrule/job.toml")
    model = shot_model(scene(job), plant.frequency, "normal")
    level = math.exp(0.5 * plant.shot.hot)
    below, above = (
        shoot(model, FixedCurrent(level * f * plant.current, plant.frequency), steps=Steps(tolerance=1.0)).verdicts[-1]
        for f in (math.exp(-0.5 * HOT), math.exp(0.5 * HOT))
    )
    assert below.met and not above.met
