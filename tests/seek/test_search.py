"""Where the search looks, on a made problem whose front is known in closed form."""

import sys

import numpy as np
import pytest

from coilwright.seek.evaluate import Outcome
from coilwright.seek.figures import FIGURES
from coilwright.seek.front import undominated
from coilwright.seek.search import costs_of, scan, search
from coilwright.seek.space import Axis, Range, Space

AIMS = (FIGURES["time"], FIGURES["coil kVA"])
SPACE = Space(tuple(Axis(f"x{k}", Range(0.0, 0.01, 101, "")) for k in range(4)))


def made(values):
    """f1 = x0, f2 = g (1 - sqrt(f1 / g)), g = 1 + 3 mean of the rest: the front is f2 = 1 - sqrt(f1), reached where the rest
    is 0 (the first problem of Zitzler, Deb & Thiele, Evolutionary Computation 8 (2000) 173, with 3 for 9, from memory).
    Points with x0 + x1 > 1.5 fail."""
    x = [values[f"x{k}"] for k in range(4)]
    if x[0] + x[1] > 1.5:
        return Outcome(values, {}, "shot", {"too far": (x[0] + x[1] - 1.5, "too far")})
    g = 1.0 + 3.0 * sum(x[1:]) / 3.0
    return Outcome(values, {}, "passed", figures={"time": x[0], "coil kVA": g * (1.0 - np.sqrt(x[0] / g))})


class Asker:
    def __init__(self, space=SPACE, stop_after=10**9):
        self.space, self.asked, self.stop_after = space, [], stop_after

    def __call__(self, places):
        self.asked += places
        if len(self.asked) > self.stop_after:
            raise KeyboardInterrupt
        return [made(self.space.values(p)) for p in places]


def away(asked):
    """Mean distance of the found front, over f1, above the true one."""
    good = [o for o in asked.found.values() if o.passes]
    front = costs_of(good, AIMS)
    front = front[undominated(front)]
    return float(np.mean(front[:, 1] - (1.0 - np.sqrt(front[:, 0]))))


def test_breeding_comes_near_the_known_front_and_nearer_than_a_scan(monkeypatch):
    bred = search(SPACE, AIMS, Asker(), 400, 1)
    assert not bred.without_pymoo
    assert "NSGA-II" in bred.method
    assert len(bred.found) == 400
    monkeypatch.setitem(sys.modules, "pymoo.config", None)
    plain = search(SPACE, AIMS, Asker(), 400, 1)
    assert plain.without_pymoo
    assert len(plain.found) == 400
    assert away(bred) < 0.06
    assert away(bred) < 0.25 * away(plain)


def test_the_same_seed_asks_for_the_same_points_and_another_for_others():
    first, second, third = Asker(), Asker(), Asker()
    search(SPACE, AIMS, first, 120, 7)
    search(SPACE, AIMS, second, 120, 7)
    search(SPACE, AIMS, third, 120, 8)
    assert first.asked == second.asked
    assert first.asked != third.asked


def test_nothing_is_asked_twice_and_the_first_places_come_first():
    asker = Asker()
    search(SPACE, AIMS, asker, 150, 3, [(50, 50, 50, 50)])
    assert asker.asked[0] == (50, 50, 50, 50)
    assert len(set(asker.asked)) == len(asker.asked) == 150


def test_a_small_space_is_looked_at_whole():
    small = Space((Axis("x0", [0.0, 0.5, 1.0]), Axis("x1", [0.0, 1.0]), Axis("x2", [0.0]), Axis("x3", [0.0, 0.2])))
    found = search(small, AIMS, Asker(small), 100, 1)
    assert len(found.found) == small.size == 12
    assert found.method == "all 12 combinations"


def test_a_search_of_which_nothing_passes_ends():
    space = Space((Axis("x0", Range(0.8, 0.002, 101, "")), Axis("x1", Range(0.8, 0.002, 101, "")), *SPACE.axes[2:]))
    found = search(space, AIMS, Asker(space), 120, 1)
    assert len(found.found) == 120
    assert not found.passing()
    # what is nearest to passing was bred from
    assert min(o.violation for o in found.found.values()) < 0.15


@pytest.mark.parametrize("most", [8, 33, 100])
def test_the_scan_is_even(most):
    places = np.array(scan(SPACE, most, 5))
    assert len({tuple(p) for p in places}) == most
    quarters = np.bincount(places[:, 0] // 26, minlength=4)
    assert quarters.min() >= most // 4 - 3
