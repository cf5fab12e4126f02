"""Green, amber, red: where parts begin to fail, and only where a reading can show it."""

import math

import numpy as np
import pytest

from coilwright.line.limits import limits, missing
from coilwright.line.plant import Condition
from tests.line.machines import board, ring_job


@pytest.fixture(scope="module")
def found():
    return limits(board(), ring_job())


def one(found, what, driven_by, station=0):
    (got,) = [x for x in found if (x.what, x.driven_by, x.station) == (what, driven_by, station)]
    return got


def test_red_is_where_one_piece_in_twenty_more_fails(found):
    gap = one(found, "setback", "coil moves back", 3)
    assert 0.1e-3 < gap.amber < gap.red < 2e-3
    c = Condition.healthy(2, 6)
    c.coil_back[1, 2] = gap.red
    bad = board().plant.predict(c).expected_bad[:, 2]
    assert bad[1] - bad[0] == pytest.approx(0.05, abs=0.01)


def test_a_loop_sees_what_the_totals_cannot(found):
    loop = one(found, "pick-up", "coil moves back", 1)
    assert loop.seen
    assert loop.red < -0.03
    assert (loop.state(0.0), loop.state(loop.red * 1.01), loop.state(0.5 * (loop.amber + loop.red))) == (
        "green",
        "red",
        "amber",
    )
    share = one(found, "voltage-share", "coil moves back", 1)
    assert not share.seen  # a coil set back hardly changes its volts


def test_limits_of_the_whole_machine(found):
    power = one(found, "source-power", "power falls")
    assert power.red == pytest.approx(
        2.0 * one(found, "coil-current", "power falls").red, rel=1e-6
    )  # P goes as I squared
    assert one(found, "on-time", "on-time falls").red < one(found, "on-time", "on-time falls").amber < 0
    assert all(np.isfinite(x.red) for x in found)


def test_recorded_values_become_limits_in_their_own_unit():
    more = '\n[machine]\n[[machine.reading]]\nwhat = "pick-up"\nstation = 1\nvalue = "1.50 V"\nuncertainty = "0.01 V"\n'
    got = one(limits(board(), ring_job(more=more)), "pick-up", "coil moves back", 1)
    assert got.sigma == pytest.approx(0.01 / 1.5)
    assert got.absolute(got.red) == pytest.approx(1.5 * math.exp(got.red))
    assert got.to_dict()["red"] < 1.5


def test_a_record_says_what_it_lacks():
    bare = missing(ring_job(), 6)
    assert any("signature" in m for m in bare)
    more = '\n[machine]\n[[machine.reading]]\nwhat = "q"\nvalue = 55\n'
    assert len(missing(ring_job(more=more), 6)) == len(bare) - 1
