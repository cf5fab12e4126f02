"""Yield, causes and limits: closed forms where the margin is linear, full runs where it is not."""

import copy
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from coilwright.errors import BadInput
from coilwright.job import loads
from coilwright.window.effort import Effort
from coilwright.window.limits import joint_share, tolerances
from coilwright.window.margins import Outcome, Runner
from coilwright.window.quantities import quantities
from coilwright.window.stations import FixtureModel, Station
from coilwright.window.study import Study, runner_of
from coilwright.window.yields import (
    SETTING,
    TOO_LITTLE,
    binomial_interval,
    blame,
    centre,
    forecast,
    insensitive,
    proven_share,
    sample_for,
    settled,
    two_quantities,
    variance_shares,
)  # fmt: skip
from tests.heating.jobs import WASHER
from tests.window.jobs import ring_job

LINEAR = """
[[varies]]
what = "coil.centre"
by = "0.2 mm"
[[varies]]
what = "body.washer.centre"
by = "0.1 mm"
[[varies]]
what = "surroundings.temperature"
by = "3 K"
shape = "uniform"
each = "common"
"""
MEAN, A, B, C = (
    0.9,
    0.4,
    -0.2,
    0.3,
)  # margin = MEAN + A per width of the coil + B per width of the washer + C per K width


class Straight(Runner):
    """A shot whose margin is a straight line in the quantities, with the impedances of a real one."""

    def run(self, values, level=1.0):
        z = [(values[q.what] - q.nominal) / q.width for q in self.varied.values()]
        margin = MEAN + A * z[0] + B * z[1] + C * z[2] + 0.5 * math.log(level)
        raw = np.full(len(self.limits), 1.0)
        raw[0] = margin
        return Outcome(
            raw, self.margins(raw, values["drive.on_time"]), raw[0], 8e-3 + 0.4j, 6e-3 + 0.5j, 1e-3, margin > 0
        )


@pytest.fixture(scope="module")
def straight():
    job = loads(WASHER + LINEAR, "washer.toml")
    model = FixtureModel(job, level="coarse")
    varied = quantities(job)
    study = Study(job, varied, model, Straight(job, varied, "current", 1.0, 1e5), Effort(fresh=6, refine=6))
    study._build(lambda share: None)
    return study


def closed_form():
    """P(margin < 0): a normal of A and B spread over the uniform of C."""
    u = np.linspace(-1.0, 1.0, 20001)
    return float(np.mean(stats.norm.cdf(-(MEAN + C * u) / math.hypot(A, B))))


def test_yield_of_a_linear_margin_is_the_closed_form(straight):
    found = forecast(straight, 200_000)
    assert found.parts.low <= 1.0 - closed_form() <= found.parts.high
    assert found.parts.high - found.parts.low < 0.002


def test_variance_shares_of_a_linear_margin_are_the_closed_form(straight):
    parts = np.array([A**2, B**2, C**2 / 3.0])  # the variance of a uniform is a third of its half width squared
    shares = variance_shares(straight)
    assert list(shares.alone.values()) == pytest.approx(parts / parts.sum(), abs=0.02)
    assert list(shares.total.values()) == pytest.approx(parts / parts.sum(), abs=0.02)
    assert shares.deviation == pytest.approx(math.sqrt(parts.sum()), rel=0.05)


def test_limits_of_a_linear_margin_are_the_closed_form(straight):
    coil, washer, air = tolerances(straight)
    assert coil.low == pytest.approx(-7.5e-3 - MEAN / A * 0.2e-3, abs=2e-7) and coil.high is None
    assert washer.high is None and washer.low is None  # 4 widths of the washer take away 0.8 of 0.9
    assert air.low is None
    # all at once: s (4 A + 4 |B| + C) = MEAN
    assert joint_share(straight) == pytest.approx(MEAN / (4 * A + 4 * abs(B) + C), abs=1e-3)


def test_scrap_blamed_on_a_quantity_is_what_it_would_have_saved(straight):
    found = forecast(straight, 50_000)
    saved = blame(straight, found)
    d = found.draws.values
    bad = found.judged.margins[:, 0, 0] < 0.0
    without = MEAN + B * (d["body.washer.centre"] - 3e-3) / 1e-4 + C * (d["surroundings.temperature"] - 293.15) / 3.0
    assert saved["coil.centre"] == pytest.approx(float(np.mean(without[bad, 0] >= 0.0)), abs=0.01)


def test_intervals_cover_as_often_as_they_say(straight):
    # 95 % intervals of repeated forecasts; at least 90 of 100 must hold the truth (chance of fewer: below 3 %)
    true, hits = 1.0 - closed_form(), 0
    quiet = straight
    errors, quiet.errors = quiet.errors, np.zeros((0, 0))  # the sampling alone, without the doubt of the stand-ins
    seed = quiet.effort
    try:
        for k in range(100):
            quiet.effort = Effort(seed=1000 + 7 * k)
            parts = forecast(quiet, 400).parts
            hits += parts.low <= true <= parts.high
    finally:
        quiet.errors, quiet.effort = errors, seed
    assert hits >= 90


def test_binomial_interval_of_the_handbook():
    # Clopper and Pearson 1934 and every table since: 20 of 100 at 95 % is 12.7 to 29.2 %
    low, high = binomial_interval(20, 100)
    assert (low, high) == (pytest.approx(0.1267, abs=1e-4), pytest.approx(0.2918, abs=1e-4))
    assert proven_share(60) == pytest.approx(1 - 0.05 ** (1 / 60)) and proven_share(100) == pytest.approx(
        0.03, rel=0.02
    )
    assert sample_for(0.05) == 59  # 59 of 59: the usual 95/95 sampling plan (Wilks 1941)
    with pytest.raises(BadInput):
        binomial_interval(3, 2)


REAL = """
[[varies]]
what = "coil.centre"
by = "0.25 mm"
[[varies]]
what = "body.ring.emissivity"
by = "8 %"
[[varies]]
what = "mains"
by = "1.5 %"
each = "common"
"""


@pytest.fixture(scope="module")
def real():
    return Study.of(ring_job(2, "60 mm", REAL), Effort(runs=20, fresh=5, refine=5, reshoot=0, seed=3))


def test_surrogate_yield_against_full_runs(real):
    """Draws of both stations, each as a full shot with the exact circuit of its own fixture."""
    found = forecast(real, 20_000)
    draws = real.draw(24, 99)
    told = real.judge(draws)
    model, agree, bad = real.model, 0, []
    for k in range(draws.shots):
        station = k % 2
        value = draws.values
        row = {q.what: float(value[q.what][k, station]) for q in real.in_job}
        outcome = real.runner.run(row, float(told.level[k, station]))
        bad.append(not outcome.verdict)
        agree += outcome.verdict == bool(told.good(real.counts)[k, station])
        if k < 4:
            jobs = [real.runner.job_with({q.what: float(value[q.what][k, s]) for q in real.in_job}) for s in (0, 1)]
            exact = model.solve([Station(variant=j) for j in jobs], setting=float(value["mains"][k, 0]))
            # the study keeps the neighbours' small share as it is between nominal coils: a thousandth
            assert told.level[k] == pytest.approx(exact.heating_current / model.nominal_current, rel=1e-3)
    assert agree >= 23
    low, high = binomial_interval(len(bad) - sum(bad), len(bad))
    assert low <= found.parts.high and found.parts.low <= high  # the intervals overlap
    assert 0.02 < 1.0 - found.parts.share < 0.98
    assert np.sqrt(np.mean(real.errors[:, 0] ** 2)) < 3e-3


def test_full_shots_of_drawn_parts_settle_the_yield(real):
    """Three thousand shots of two stations: a few of them shot in full leave no verdict in doubt, and clear ones are clear."""
    found = forecast(real, 3000)
    known = settled(copy.copy(real), found, 40)
    said = known.settled
    assert said.near > 2 * said.shot and said.left == 0 and said.wrong < 0.2 and said.checked > 0 and said.wrongly == 0
    assert found.parts.low <= known.parts.low <= known.parts.share <= known.parts.high <= found.parts.high


def test_a_station_without_power_makes_scrap_however_much_there_was_in_hand(straight):
    """The runs end at 0.8 of the current; what a fault takes beyond is carried on: 0.5 per ln of the level, as it was made."""
    from coilwright.window.yields import scrap_under

    here, there = straight.draw(300, 5), np.array([0.01])
    told = straight.judge(here, guards=False, factor=there).margins[..., 0]
    whole = straight.judge(here, guards=False).margins[..., 0]
    assert told == pytest.approx(whole + 0.5 * math.log(0.01), abs=0.02)
    assert scrap_under(straight, 1, -0.999, 0.0)[0] > 0.95


def test_map_and_window(real):
    plan = two_quantities(real, "coil.centre", "mains", 20)
    # up is more mains, right is farther from the part: too little heat at the lower right corner only
    assert plan.outcome[0, -1] == TOO_LITTLE and plan.outcome[-1, 0] != TOO_LITTLE
    assert np.all(np.diff(plan.too_little[:, 0]) > 0.0)  # more mains, more heat
    time = two_quantities(real, SETTING, "drive.on_time", 20)
    assert time.outcome[0, 0] == TOO_LITTLE
    middle = centre(real, 500)
    assert middle.yield_there >= middle.yield_now and 0.8 < middle.setting < 1.4
    assert {q.what for q in insensitive(real, variance_shares(real, samples=256))} <= {q.what for q in real.varied}
    with pytest.raises(BadInput, match="twice"):
        two_quantities(real, "mains", "mains")
    with pytest.raises(BadInput, match=r'did you mean "coil\.centre"'):
        two_quantities(real, "coil.center", "mains")


def test_a_limit_beyond_the_usual_range_is_found_by_full_shots(real):
    # a study whose range ends early: the limit must be where full shots with the exact circuit change their verdict
    near = tolerances(real)[0]
    centre_of = real.varied[0]
    narrow = replace(centre_of, width=0.5 * abs(near.high - centre_of.nominal) / 4.0)
    kept = real.varied
    try:
        real.varied = (narrow, *kept[1:])
        beyond = tolerances(real, ["coil.centre"])[0]
    finally:
        real.varied = kept
    assert beyond.high == pytest.approx(near.high, abs=5e-6)  # m: the stand-in of the wide study and full shots agree
    assert beyond.high > narrow.range[1] and beyond.why[1] == near.why[1]


def test_the_level_leans_as_the_power_of_the_cells_does(real):
    """Half the slope of ln of the power per A^2 against the height of the coil, from fields solved at two heights."""
    cells, (low, high) = real.model.cells, real.box[2]
    drawn = 0.5 * (low + high)
    power = [cells.at(z - drawn).power for z in (low, high)]
    assert real.lean[2] == pytest.approx(0.5 * np.log(power[1] / power[0]) / (high - low), rel=0.02)
    assert not real.lean[: len(real.box) - len(real.in_job)].any()  # level and time lean on nothing


def test_a_leaning_level_makes_stand_ins_truer(real):
    """What twenty runs leave of shots at places of their own, with the lean and without it (0.04 and 0.25 % of a time)."""
    x = real.box.mean(axis=1) + np.random.default_rng(5).uniform(-0.4, 0.4, (10, len(real.box))) * np.ptp(real.box, axis=1)
    exact = real._targets(x, [real.runner.run(*real.task(row)) for row in x])
    off = []
    kept = real.lean, real.surrogates
    try:
        for lean in (kept[0], np.zeros_like(kept[0])):
            real.lean = lean
            real.surrogates = tuple(real.stand_in(k, real.x[:20], real.outcomes[:20]) for k in range(len(real.limits)))
            off.append(np.sqrt(np.mean((real._predict(x) - exact)[:, 0] ** 2)))
    finally:
        real.lean, real.surrogates = kept
    assert off[0] < 0.5 * off[1]


def test_a_rough_study_tells_what_full_steps_tell():
    """The stand-ins of a pack's window against shots in the usual steps: 0.5 % of a time, and as much of a temperature."""
    study = Study.of(ring_job(2, "60 mm", REAL), Effort(fresh=0, refine=0, reshoot=1, rough=True))
    assert len(study.x) == Effort(rough=True).design(len(study.box)) < Effort().design(len(study.box))
    usual = runner_of(study.model, study.varied, Effort())
    inside = study.box.mean(axis=1) + 0.5 * np.array([[-1.0], [-0.4], [0.3], [0.9]]) * np.ptp(study.box, axis=1) / 2.0
    told = study._predict(inside)
    exact = study._targets(inside, [usual.run(*study.task(row)) for row in inside])
    assert np.abs(told - exact)[:, study.counts].max() < 5e-3
