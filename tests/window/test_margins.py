"""The sign of every margin is the verdict of the shot itself."""

from itertools import pairwise

import pytest

from coilwright.heating.march import Steps
from coilwright.heating.model import shot_model
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.job import loads
from coilwright.section.scene import scene
from coilwright.window.margins import Runner, limits_of
from tests.heating.jobs import WASHER
from tests.window.jobs import EXAMPLES, single

HELD = '[[accept]]\nbody = "washer"\nabove = "600 degC"\nfor_at_least = "2 s"\n'
CEILING = '[[accept]]\nbody = "washer"\nstays_below = "870 degC"\nat = "hottest"\n'


def jobs():
    return {"held washer": loads(WASHER + HELD + CEILING, "washer.toml"), "charged ring": single()}


@pytest.mark.parametrize("name", ["held washer", "charged ring"])
@pytest.mark.parametrize("level", [0.8, 0.93, 1.0, 1.12])
def test_margins_and_verdicts_agree(name, level):
    job = jobs()[name]
    current = job.drive.coil_current
    outcome = Runner(job, (), "current", current, job.drive.frequency).run({}, level)
    stronger = job.with_value("drive.coil_current", f"{level * current!r} A")
    shot = shoot(shot_model(scene(stronger), job.drive.frequency, "coarse"), drive_of(stronger), steps=Steps(2.0))
    counted = [m for m, x in zip(outcome.margins, limits_of(job), strict=True) if not x.guard]
    assert [m >= 0.0 for m in counted] == [v.met for v in shot.verdicts]
    assert outcome.verdict == shot.passed


def test_margins_are_smooth_where_a_charge_fires_late():
    runner = Runner(single(), (), "current", 132.0, 350e3)
    late = [float(runner.run({}, level).margins[0]) for level in (0.8, 0.85, 0.9, 0.95)]
    steps = [b - a for a, b in pairwise(late)]
    assert late[0] < 0.0 and min(steps) > 0.5 * max(steps)


def test_a_guard_does_not_forbid_what_is_asked():
    hot = single().with_value("accept.1.reaches", "1450 degC")  # above the melting limit of the ring's steel
    assert not any(x.guard and x.body == "ring" for x in limits_of(hot))
    assert any(x.guard and x.body == "ring" for x in limits_of(single()))


def test_what_an_acceptance_keeps_colder_needs_no_guard():
    six = loads((EXAMPLES / "indicator-tube-getter" / "six-stations.toml").read_text(encoding="utf-8"), "six.toml")
    assert not any(x.guard for x in limits_of(six))  # 1200 and 450 degC are asked below 1400 and 490
    lax = six.with_value("accept.3.stays_below", "1450 degC")
    assert [x.name for x in limits_of(lax) if x.guard] == ["ring: melting limit 1400 degC"]
    elsewhere = six.with_value("accept.4.at", "coldest")  # says nothing of the hottest place of the glass
    assert [x.body for x in limits_of(elsewhere) if x.guard] == ["bulb"]
