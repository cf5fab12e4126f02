"""Verdicts in doubt settled by full shots: against the truth of margins that are known, and what is said of the rest."""

import copy
import math

import numpy as np
import pytest

from coilwright.window.effort import Effort
from coilwright.window.margins import Outcome, Runner
from coilwright.window.quantities import quantities
from coilwright.window.settle import ALL
from coilwright.window.stations import FixtureModel
from coilwright.window.study import Study
from coilwright.window.yields import doubt, forecast, settled
from tests.heating.jobs import WASHER
from tests.window.test_yields import LINEAR

from coilwright.job import loads  # isort: skip

SHOTS = 6000


def wavy(z, level):
    """A margin no quadratic follows: waves a tenth as high as the width of the scrap."""
    return 0.75 + 0.4 * z[0] - 0.2 * z[1] + 0.3 * z[2] + 0.06 * np.sin(2.0 * z[0] + z[1]) + 0.5 * np.log(level)


class Wavy(Runner):
    """A shot of that margin, with the impedances of a real one."""

    def run(self, values, level=1.0):
        z = [(values[q.what] - q.nominal) / q.width for q in self.varied.values()]
        raw = np.full(len(self.limits), 1.0)
        raw[0] = wavy(z, level)
        margins = self.margins(raw, values["drive.on_time"])
        return Outcome(raw, margins, raw[0], 8e-3 + 0.4j, 6e-3 + 0.5j, 1e-3, raw[0] > 0)


@pytest.fixture(scope="module")
def built():
    job = loads(WASHER + LINEAR, "washer.toml")
    varied = quantities(job)
    runner = Wavy(job, varied, "current", 1.0, 1e5)
    study = Study(job, varied, FixtureModel(job, level="coarse"), runner, Effort(runs=40, fresh=30))
    study._build(lambda share: None)
    return study


@pytest.fixture
def study(built):
    return copy.copy(built)  # what it learns is its own


def truth(study, found):
    """(parts,) margins as the shots would have them."""
    z = [(np.broadcast_to(found.draws.values[q.what], (SHOTS, 1)) - q.nominal) / q.width for q in study.varied]
    return wavy(z, found.judged.level)[:, 0]


def test_every_verdict_in_doubt_is_settled_by_far_fewer_shots(study):
    found = forecast(study, SHOTS)
    true = truth(study, found)
    wrong = np.count_nonzero((found.judged.margins[:, 0, 0] >= 0.0) != (true >= 0.0))
    assert wrong >= 10  # without settling
    known = settled(study, found, 200)
    said = known.settled
    assert said.left == 0 and said.wrong < 0.5 and said.wrongly == 0 and said.checked == 10
    assert said.near > 5 * said.shot and said.changed > 0
    assert np.count_nonzero((known.judged.margins[:, 0, 0] >= 0.0) != (true >= 0.0)) <= 1
    # the interval is that of the drawing again
    assert known.parts.low <= np.mean(true >= 0.0) <= known.parts.high
    assert known.parts.high - known.parts.low < 0.5 * (found.parts.high - found.parts.low)
    assert "no verdict is left in doubt" in said.said and said.to_dict()["left_in_doubt"] == 0
    # and the stand-in is better for whatever is asked next
    assert len(study.outcomes) == len(study.x) > 70
    again = study.judge(found.draws, guards=False).margins[:, 0, 0]
    near = np.abs(true) < 0.1
    assert np.std((again - true)[near]) < 0.3 * np.std((found.judged.margins[:, 0, 0] - true)[near])


def test_the_number_of_wrong_verdicts_left_is_as_said(built):
    """Stopped early, eight times: the wrong verdicts among those not shot add up to what was expected of them."""
    expected, wrong, shot = 0.0, 0, 0
    for seed in range(8):
        study = copy.copy(built)
        study.effort = Effort(runs=40, fresh=30, seed=100 + seed)
        known = settled(study, forecast(study, SHOTS), 24)
        true = truth(study, known)
        expected += known.settled.wrong
        wrong += int(np.count_nonzero((known.judged.margins[:, 0, 0] >= 0.0) != (true >= 0.0)))
        shot += known.settled.shot
        low, high = known.parts.low, known.parts.high
        assert low <= np.mean(true >= 0.0) <= high
    assert shot == 8 * 24
    assert 0.25 * expected - 3.0 * math.sqrt(expected) <= wrong <= expected + 3.0 * math.sqrt(expected)


def test_every_failure_shot_if_asked(study):
    found = forecast(study, SHOTS)
    shots = []
    run = study.runner.run
    study.runner = copy.copy(study.runner)
    study.runner.run = lambda *task: shots.append(task) or run(*task)
    known = settled(study, found, ALL)
    true = truth(study, found)
    margins = known.judged.margins[:, 0, 0]
    failures = np.count_nonzero(margins < 0.0)
    assert known.settled.shot + known.settled.checked == len(shots) >= failures > 100
    assert margins[margins < 0.0] == pytest.approx(true[margins < 0.0], abs=1e-9)


def test_nothing_near_a_limit_costs_nothing(study):
    study.errors = np.full_like(study.errors, 1e-9)
    found = forecast(study, 40)
    known = settled(study, found, 50)
    assert known.settled.shot == 0 and known.parts == found.parts
    assert doubt(study)[0] == pytest.approx(2e-9)
    assert "none was shot in full" in known.settled.said
