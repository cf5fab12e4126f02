"""The intervals hold what they promise: truths drawn from the priors, traces with noise, the truth inside 90 % of the time."""

import numpy as np
import pytest
from scipy import stats

from coilwright.trials.calibrate import Effort, TrialModel
from coilwright.trials.fit import Group, fit_map
from coilwright.trials.measured import TraceOptions, measured
from coilwright.trials.runs import run
from coilwright.trials.unknowns import unknowns
from tests.trials.jobs import coloured, ring_job, sheet, trace_of_job

NORMAL_90 = 1.6448536269514722


def plausible(hits, of, share=0.9, risk=1e-3):
    """Whether the count of intervals that hold the truth may come from so many draws."""
    return stats.binomtest(hits, of, share).pvalue > risk


def lump(rows, t, area=4e-3, capacity=25.0, watts=120.0):
    """Closed form of a lump with a linear loss: power exp(0.1 u0), conductance exp(0.4 u1). (m, n) K above the room."""
    power, loss = watts * np.exp(0.1 * rows[:, :1]), 0.25 * np.exp(0.4 * rows[:, 1:2])
    rate = loss / capacity
    on = power / loss * -np.expm1(-rate * np.minimum(t, 60.0))
    return on * np.exp(-rate * np.maximum(t - 60.0, 0.0))


@pytest.mark.parametrize(("memory", "sigma"), [(0.0, 2.0), (0.5, 2.0), (0.9, 2.0)])
def test_closed_form_lump_is_covered(memory, sigma):
    """400 trials of a lump: white noise, and noise that hangs together although only its sigma is told."""
    t, rng, of = np.linspace(0.0, 180.0, 240), np.random.default_rng(4), 400
    groups = (Group("TC", 0, len(t), True),)
    hits = np.zeros(2, dtype=int)
    for _ in range(of):
        truth = rng.standard_normal(2)
        y = lump(truth[None], t)[0] + coloured(rng, len(t), sigma, memory)
        fit = fit_map(lambda rows: lump(rows, t), y, np.full(len(t), sigma), groups, 2)
        hits += np.abs(fit.u - truth) < NORMAL_90 * fit.spread
    assert all(plausible(int(h), of) for h in hits), hits / of


def test_blind_intervals_would_be_too_narrow_for_noise_that_hangs_together():
    """The counter-proof: without the correlation time the same noise is not covered."""
    t, rng, of = np.linspace(0.0, 180.0, 240), np.random.default_rng(4), 100
    groups = tuple(Group(str(k), k, k + 1, False) for k in range(len(t)))  # every sample counts in full
    hits = np.zeros(2, dtype=int)
    for _ in range(of):
        truth = rng.standard_normal(2)
        y = lump(truth[None], t)[0] + coloured(rng, len(t), 2.0, 0.8)
        fit = fit_map(lambda rows: lump(rows, t), y, np.full(len(t), 2.0), groups, 2)
        hits += np.abs(fit.u - truth) < NORMAL_90 * fit.spread
    assert np.all(hits / of < 0.7), hits / of


def cover(trials, seed, noise=1.5, memory=0.5):
    """(hits per quantity, number) of full shots of the plain ring: everything drawn from its prior, even the reading error."""
    job, rng = ring_job(), np.random.default_rng(seed)
    asked = unknowns(job, ())
    nominal = run(job, 20.0)
    hits = np.zeros(len(asked), dtype=int)
    for _ in range(trials):
        truth = rng.standard_normal(len(asked))
        made = job.with_values({x.key: x.text(x.value(u)) for x, u in zip(asked, truth, strict=True)})
        trace = trace_of_job(made, rng, noise=noise, memory=memory, error=3.0 * rng.standard_normal())
        seen = measured(trace, job, sheet(), list(nominal.places), TraceOptions())
        model = TrialModel(job, asked, seen, Effort())
        fit = model.fit()
        hits += np.abs(fit.u[: len(asked)] - truth) < NORMAL_90 * fit.spread[: len(asked)]
    return dict(zip([x.name for x in asked], hits, strict=True)), trials


def test_full_shots_are_covered_sample():
    hits, of = cover(1, seed=11)
    assert sum(hits.values()) >= 0.6 * of * len(hits), hits


@pytest.mark.slow
def test_full_shots_are_covered():
    hits, of = cover(40, seed=12)
    assert all(plausible(int(h), of) or h / of > 0.9 for h in hits.values()), hits
