"""The stand-in for full runs against functions that are known."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.window.surrogate import filling, fit, least_certain

BOX = np.array([[0.0, 2.0], [-1.0, 1.0], [5.0, 9.0]])


def curved(x):
    return np.log(1.5 + x[:, 0]) + 0.3 * np.sin(2.0 * x[:, 1]) + 0.02 * (x[:, 2] - 7.0) ** 2 * x[:, 0]


def design(n, box, seed):
    """Places that fill a box."""
    return box[:, 0] + filling(n, len(box), seed) * np.ptp(box, axis=1)


def test_a_quadratic_is_exact():
    def square(x):
        return 1.0 + x[:, 0] - 2.0 * x[:, 1] * x[:, 2] + 0.5 * x[:, 2] ** 2

    x = design(20, BOX, 1)
    told = fit(x, square(x), BOX)
    new = design(50, BOX, 2)
    assert told(new) == pytest.approx(square(new), abs=1e-9)
    assert told.scale == 0.0


def test_a_curve_is_met_and_its_doubt_is_honest():
    x = design(40, BOX, 1)
    told = fit(x, curved(x), BOX)
    new = design(200, BOX, 2)
    error = told(new) - curved(new)
    assert np.sqrt(np.mean(error**2)) < 5e-3
    assert told(x) == pytest.approx(curved(x), abs=5e-3)
    # about two thirds of the errors within one deviation; a process of its own kind would have exactly 68 %
    assert 0.5 < np.mean(np.abs(error) < 2.0 * np.maximum(told.deviation(new), 1e-6)) <= 1.0
    assert told.deviation(x).max() < told.deviation(new).mean()


def test_more_runs_less_error():
    def worst(n):
        x = design(n, BOX, 3)
        new = design(300, BOX, 4)
        return np.sqrt(np.mean((fit(x, curved(x), BOX)(new) - curved(new)) ** 2))

    assert worst(64) < 0.5 * worst(20)


def test_designs_fill_the_box_and_repeat():
    x = design(64, BOX, 5)
    assert np.all((x >= BOX[:, 0]) & (x <= BOX[:, 1]))
    assert np.array_equal(x, design(64, BOX, 5)) and not np.array_equal(x, design(64, BOX, 6))
    halves = (x < BOX.mean(axis=1)).mean(axis=0)
    assert halves == pytest.approx(0.5)  # a Sobol net halves every axis evenly


def test_the_next_run_is_where_the_sign_is_in_doubt():
    x = design(256, BOX, 1)
    margin = x[:, 0] - 1.0
    chosen = least_certain(margin, np.full(256, 0.1), x, np.array([1.0, 1.0, 2.0]), 5)
    assert len(set(chosen)) == 5 and np.all(np.abs(margin[chosen]) < 0.2)


def test_too_few_runs_are_refused():
    with pytest.raises(BadInput, match="needs at least 6 runs for 3 quantities; received 4"):
        fit(design(4, BOX, 1), np.zeros(4), BOX)
