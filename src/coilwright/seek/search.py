"""Where to look: everything when that is little, else an even seeded scan and from its best NSGA-II.

The search asks for points in an order that depends on the seed and the answers alone, so that one which is stopped and
carried on from its record asks for the same points and ends at the same front.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.stats import qmc

from coilwright.section.quad9 import Array
from coilwright.seek.evaluate import Outcome
from coilwright.seek.figures import Figure
from coilwright.seek.front import spread_out, undominated
from coilwright.seek.space import Place, Space

# Of the evaluations, when a search from its best follows; and how many points it breeds from. Tried on a made problem whose
# front is known, 150 to 300 evaluations: more scan or a larger population ends up to three times as far from it.
_SCAN_SHARE = 0.3
_POPULATION, _FEWEST, _MOST = 20, 12, 40  # one for so many evaluations, at least, at most
_IDLE = 25  # rounds that ask for nothing new after which all there is has been found
_MOST_DRAWS = 1 << 17
_WORSE = 1e6  # stands for the objectives of a point that does not pass; how far it is from passing decides about those

Ask = Callable[[list[Place]], list[Outcome]]


@dataclass
class Asked:
    """Every place looked at with its outcome, in the order asked for, and how it was searched."""

    found: dict[Place, Outcome] = field(default_factory=dict)
    method: str = ""
    without_pymoo: bool = False

    def passing(self) -> list[Place]:
        return [p for p, o in self.found.items() if o.passes]


def costs_of(outcomes: Sequence[Outcome], objectives: Sequence[Figure]) -> Array:
    """(n, m) objectives with less being better."""
    rows = [[f.sign * o.figures[f.name] for f in objectives] for o in outcomes]
    return np.array(rows, dtype=float).reshape(len(outcomes), len(objectives))


def search(
    space: Space, objectives: Sequence[Figure], ask: Ask, evaluations: int, seed: int, first: Sequence[Place] = ()
) -> Asked:
    """Look at up to `evaluations` different places of the space, `first` before any other."""
    asked = Asked()
    if space.size <= evaluations:
        counts = [range(len(a.values)) for a in space.axes]
        places = [tuple(int(k) for k in row) for row in np.ndindex(*(len(c) for c in counts))]
        _put(asked, places, ask)
        asked.method = f"all {space.size} combinations"
        return asked
    genetic = _pymoo()
    asked.without_pymoo = genetic is None
    scanned = evaluations if genetic is None else max(int(_SCAN_SHARE * evaluations), 8)
    _put(asked, list(dict.fromkeys([*first, *scan(space, scanned, seed)]))[:scanned], ask)
    asked.method = f"an even scan of {len(asked.found)} points"
    if genetic is not None:
        before = len(asked.found)
        _evolve(genetic, space, objectives, ask, asked, evaluations, seed)
        asked.method += f", then {len(asked.found) - before} by NSGA-II from the best of them"
    return asked


def scan(space: Space, most: int, seed: int) -> list[Place]:
    """Up to `most` different places from a scrambled Sobol sequence; what it doubles is drawn again farther on."""
    sobol = qmc.Sobol(len(space.axes), scramble=True, rng=seed)
    places: dict[Place, None] = {}
    draws = 1 << max(int(most - 1).bit_length(), 3)
    drawn = 0
    while len(places) < most and drawn < _MOST_DRAWS:
        for x in sobol.random(draws):
            if len(places) < most:
                places.setdefault(space.place(x))
        drawn += draws
        draws = drawn  # so that the total stays a power of two, which keeps the sequence even
    return list(places)


def _put(asked: Asked, places: list[Place], ask: Ask) -> None:
    new = [p for p in dict.fromkeys(places) if p not in asked.found]
    asked.found.update(zip(new, ask(new), strict=True))


def _pymoo() -> Any:
    """The parts of pymoo that are used, or None when it is not installed."""
    try:
        from pymoo.config import Config

        Config.warnings["not_compiled"] = False  # it would speak on stdout, which belongs to --json
        from pymoo.algorithms.moo import nsga2
    except ImportError:
        return None
    return nsga2


def _evolve(
    nsga2: Any, space: Space, objectives: Sequence[Figure], ask: Ask, asked: Asked, evaluations: int, seed: int
) -> None:
    """NSGA-II on the unit cube, each point falling on its place of the grid; nothing is looked at twice."""
    from pymoo.core.problem import Problem

    d, m = len(space.axes), len(objectives)
    population = min(max(evaluations // _POPULATION, _FEWEST), _MOST)
    begin = np.array([space.middle(p) for p in _best(asked, objectives, population)])
    algorithm = nsga2.NSGA2(pop_size=population, sampling=begin)
    problem = Problem(n_var=d, n_obj=m, n_ieq_constr=1, xl=0.0, xu=1.0)
    algorithm.setup(problem, seed=seed, verbose=False, termination=("n_gen", 1_000_000))
    idle = 0
    while len(asked.found) < evaluations and idle < _IDLE:
        young = algorithm.ask()
        places = [space.place(x) for x in young.get("X")]
        new = [p for p in dict.fromkeys(places) if p not in asked.found]
        idle = 0 if new else idle + 1
        _put(asked, new[: evaluations - len(asked.found)], ask)
        f, g = np.full((len(places), m), _WORSE), np.full((len(places), 1), 1e3)
        for n, place in enumerate(places):
            outcome = asked.found.get(place)  # None for what the last round had no evaluations left for
            if outcome is not None:
                g[n, 0] = outcome.violation
                if outcome.passes:
                    f[n] = costs_of([outcome], objectives)[0]
        young.set("F", f, "G", g)
        algorithm.tell(infills=young)


def _best(asked: Asked, objectives: Sequence[Figure], most: int) -> list[Place]:
    """The places to begin from: the front of those that pass, the next front, ..., then those nearest to passing."""
    left = asked.passing()
    out: list[Place] = []
    while left and len(out) < most:
        costs = costs_of([asked.found[p] for p in left], objectives)
        front = undominated(costs)
        pick = front[spread_out(costs[front], most - len(out))]
        out += [left[k] for k in pick]
        left = [p for k, p in enumerate(left) if k not in set(front.tolist())]
    failing = sorted((p for p, o in asked.found.items() if not o.passes), key=lambda p: asked.found[p].violation)
    return (out + failing)[:most]
