"""Where a line of shots begins to fail: known functions."""

import math

import pytest

from coilwright.seek.edge import find_edge


class Counted:
    def __init__(self, function):
        self.function, self.asked = function, []

    def __call__(self, x):
        self.asked.append(x)
        return self.function(x)


@pytest.mark.parametrize("root", [0.002, 0.03, 0.4, 0.73])
@pytest.mark.parametrize("guess", [0.01, 0.2, 0.75])
def test_a_smooth_margin_is_met_in_few_shots(root, guess):
    shapes = (
        lambda x: root - x,
        lambda x: math.log((1.0 - x) / (1.0 - root)),
        lambda x: (1.0 - x) ** 2 - (1.0 - root) ** 2,
        lambda x: 3.0 * (root - x) if x < root else 0.2 * (root - x),
    )
    for shape in shapes:
        margin = Counted(shape)
        edge = find_edge(margin, shape(0.0), 0.75, guess, 1e-3)
        assert not edge.beyond
        assert abs(shape(edge.place)) <= 1e-3
        assert len(margin.asked) <= 10


def test_a_jump_is_closed_in_upon_from_the_side_that_passes():
    edge = find_edge(lambda x: 0.3 if x < 0.2 else -0.9, 0.3, 1.0, 0.05, 1e-3)
    assert 0.0 <= 0.2 - edge.place < 2e-3


def test_nothing_is_looked_at_beyond_the_end():
    margin = Counted(lambda x: 1.0 - 0.1 * x)
    edge = find_edge(margin, 1.0, 0.75, 0.1, 1e-3)
    assert edge.beyond
    assert edge.place == 0.75
    assert max(margin.asked) == 0.75
    assert find_edge(margin, math.inf, 0.75, 0.1, 1e-3).beyond
