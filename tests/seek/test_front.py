"""Dominance as defined, against a plain reading of the definition."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from coilwright.seek.front import balanced, scaled, spread_out, undominated

rows = st.lists(st.tuples(*[st.integers(0, 4)] * 3), min_size=1, max_size=25)


def beats(a, b):
    return all(x <= y for x, y in zip(a, b, strict=True)) and any(x < y for x, y in zip(a, b, strict=True))


@given(rows)
@settings(max_examples=200, deadline=None)
def test_the_front_is_what_nothing_beats(points):
    front = undominated(np.array(points, dtype=float))
    expected = {p for p in points if not any(beats(q, p) for q in points)}
    assert {points[k] for k in front} == expected
    assert len(front) == len(expected)  # equal rows stand once


def test_spread_out_keeps_the_ends_and_leaves_no_hole():
    t = np.linspace(0.0, 1.0, 101)
    costs = np.column_stack([t, 1.0 - t])
    chosen = spread_out(costs, 5)
    assert {0, 100} <= set(chosen.tolist())
    assert max(np.diff(t[chosen])) <= 0.26
    assert list(spread_out(costs[:3], 5)) == [0, 1, 2]


def test_the_balanced_point_gives_up_equally():
    costs = np.array([[0.0, 10.0], [1.0, 4.0], [9.0, 1.0], [10.0, 0.0]])
    assert balanced(costs) == 1
    assert scaled(np.array([[2.0, 5.0], [2.0, 7.0]])).tolist() == [[0.0, 0.0], [0.0, 1.0]]
