"""The fitter: linear problems have an exact answer; priors are respected; correlations and repeats are told."""

import numpy as np
import pytest

from coilwright.errors import BadInput, NotConverged
from coilwright.trials.fit import Group, correlation_time, fit_map, posterior
from coilwright.trials.further import Candidate, further, reduced
from tests.trials.jobs import coloured

A = np.array([[1.0, 0.5], [0.2, 2.0], [1.5, -1.0], [0.3, 0.3]])


def single(n):
    return tuple(Group(str(k), k, k + 1, False) for k in range(n))


def test_a_linear_problem_is_solved_exactly():
    """Posterior of a linear model with normal noise and prior: (A^T A/s^2 + 1)^-1 A^T y/s^2 (textbook)."""
    y, s = np.array([1.0, -2.0, 0.5, 0.1]), 0.7
    fit = fit_map(lambda rows: rows @ A.T, y, np.full(4, s), single(4), 2)
    covariance = np.linalg.inv(A.T @ A / s**2 + np.eye(2))
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-9)
    np.testing.assert_allclose(fit.u, covariance @ A.T @ y / s**2, rtol=0.02, atol=2e-3)
    np.testing.assert_allclose(posterior(A, np.full(4, s)), covariance, rtol=1e-12)


def test_without_news_the_prior_stays():
    fit = fit_map(lambda rows: 0.0 * rows @ A.T, np.array([0.1, 0.2, 0.0, 0.0]), np.ones(4), single(4), 2)
    np.testing.assert_allclose(fit.u, 0.0, atol=1e-12)
    np.testing.assert_allclose(fit.spread, 1.0)


def test_a_far_truth_is_pulled_towards_the_prior():
    """One reading of u with the prior's own width: half way."""
    fit = fit_map(lambda rows: rows[:, :1], np.array([2.0]), np.ones(1), single(1), 1)
    assert fit.u[0] == pytest.approx(1.0, abs=0.02)
    assert fit.spread[0] == pytest.approx(np.sqrt(0.5))


def test_two_that_act_alike_are_correlated():
    t = np.linspace(0.0, 1.0, 50)
    y = np.zeros(50)
    fit = fit_map(lambda rows: (rows[:, :1] - rows[:, 1:2]) * t, y, np.full(50, 0.05), (Group("a", 0, 50, True),), 2)
    assert fit.correlation[0, 1] > 0.99
    assert np.all(fit.spread > 0.7)  # neither is known


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.9])
def test_correlation_time_of_known_noise(memory):
    """AR(1) noise has tau = (1 + a)/(1 - a) (textbook)."""
    rng = np.random.default_rng(2)
    found = np.mean([correlation_time(coloured(rng, 2000, 1.0, memory)) for _ in range(20)])
    assert found == pytest.approx((1.0 + memory) / (1.0 - memory), rel=0.2)


def test_copies_of_a_sample_tell_nothing_more():
    """A logger that writes every reading ten times must not look ten times surer than the readings."""
    rng = np.random.default_rng(5)
    t = np.linspace(0.0, 1.0, 60)
    y = 3.0 * t + 0.5 * rng.standard_normal(60)
    plain = fit_map(lambda rows: 3.0 * t + rows[:, :1], y, np.full(60, 0.5), (Group("a", 0, 60, True),), 1)
    t10, y10 = np.repeat(t, 10), np.repeat(y, 10)
    often = fit_map(lambda rows: 3.0 * t10 + rows[:, :1], y10, np.full(600, 0.5), (Group("a", 0, 600, True),), 1)
    assert 0.9 < often.spread[0] / plain.spread[0] < 1.6  # a little wider is the honest side


def test_noise_beyond_what_was_said_widens_the_interval():
    rng = np.random.default_rng(6)
    y = 1.0 + 3.0 * rng.standard_normal(200)
    fit = fit_map(lambda rows: rows[:, :1] + np.zeros(200), y, np.ones(200), (Group("a", 0, 200, True),), 1)
    assert fit.inflation["a"] == pytest.approx(9.0, rel=0.3)


def test_a_curved_problem_is_found():
    t = np.linspace(0.0, 2.0, 40)
    truth = np.array([1.7, -1.2])
    model = lambda rows: np.exp(0.3 * rows[:, :1]) * np.exp(-np.exp(0.5 * rows[:, 1:2]) * t)  # noqa: E731
    fit = fit_map(model, model(truth[None])[0], np.full(40, 1e-3), (Group("a", 0, 40, True),), 2)
    np.testing.assert_allclose(fit.u, truth, atol=0.05)


def test_refuses_what_cannot_be_fitted():
    with pytest.raises(BadInput, match="needs unknowns"):
        fit_map(lambda rows: rows, np.ones(3), np.ones(3), single(3), 0)
    rng = np.random.default_rng(1)
    with pytest.raises(NotConverged, match="did not settle"):
        fit_map(lambda rows: rng.standard_normal((len(rows), 3)) * 1e6, np.ones(3), np.full(3, 1e-3), single(3), 1)


def test_the_best_further_reading_is_the_one_that_parts_them():
    """Only u0 - u1 is known; a reading of u0 alone parts them, one of u0 - u1 does not."""
    now = posterior(np.array([[1.0, -1.0]]), np.array([0.05]))
    same = Candidate("the same again", np.array([[1.0, -1.0]]), np.array([0.05]))
    alone = Candidate("u0 alone", np.array([[1.0, 0.0]]), np.array([0.1]))
    found = further(now, ("u0", "u1"), (same, alone))
    assert found[0].what == "u0 alone"
    assert found[0].left["u0"] == pytest.approx(np.sqrt(reduced(now, alone)[0, 0] / now[0, 0]))
    assert found[0].left["u0"] < 0.2 < 0.9 < found[1].left["u0"]
    # a reading with an unknown offset of its own tells nothing
    blind = Candidate("blind", np.array([[1.0, 0.0]]), np.array([0.01]), own=np.array([[50.0]]))
    assert further(now, ("u0", "u1"), (blind,)) == ()
