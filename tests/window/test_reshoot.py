"""Full shots of drawn parts: they put right a stand-in that is off, and say how sure they are."""

import numpy as np
import pytest

from coilwright.window.reshoot import ALL, reshoot
from coilwright.window.study import Judged
from coilwright.window.yields import doubt, forecast
from tests.window.test_yields import straight  # noqa: F401 - the study whose margins are known in closed form

SHOTS = 4000


def off_by(judged, shift):
    return Judged(judged.margins + shift, judged.level, judged.start, judged.side)


def truth(found):
    return float(np.mean(found.judged.margins[..., 0] >= 0.0))


def test_a_stand_in_that_is_right_stays(straight):  # noqa: F811
    found = forecast(straight, SHOTS)
    again = reshoot(straight, found.draws, found.judged, np.maximum(doubt(straight), 0.03), 60)
    assert again.changed == 0 and 50 <= again.shot <= 60
    assert again.share == pytest.approx(truth(found), abs=1e-12)
    assert again.low < again.share < again.high
    assert "0 verdicts changed" in again.said


@pytest.mark.parametrize("shift", [0.04, -0.04])
def test_every_failure_shot_puts_a_shifted_stand_in_right(straight, shift):  # noqa: F811
    """The stand-in is off by less than its stated error: all failures and all in doubt are looked at, and nothing is left."""
    found = forecast(straight, SHOTS)
    wrong = off_by(found.judged, shift)
    again = reshoot(straight, found.draws, wrong, np.full(1, 0.05), ALL)
    assert again.share == pytest.approx(truth(found), abs=1e-12)
    moved = int(np.count_nonzero((wrong.margins[..., 0] >= 0.0) != (found.judged.margins[..., 0] >= 0.0)))
    assert again.changed == moved > 15


def test_a_sample_covers_the_truth_as_often_as_it_says(straight):  # noqa: F811
    """Sixty shots of a shifted stand-in, twenty times: the interval holds the true share of the draws."""
    found = forecast(straight, SHOTS)
    wrong = off_by(found.judged, 0.03)
    kept, hits = straight.effort, 0
    try:
        for seed in range(20):
            straight.effort = type(kept)(seed=seed)
            again = reshoot(straight, found.draws, wrong, np.full(1, 0.05), 60)
            hits += again.low <= truth(found) <= again.high
    finally:
        straight.effort = kept
    assert hits >= 17  # fewer than 17 of 20 at 95 %: chance below 2 %
    biased = float(np.mean(wrong.margins >= 0.0))
    assert abs(again.share - truth(found)) < abs(biased - truth(found))
