"""`python -m benchmarks.window_yield`: what virtual shots and poses cost against full ones, as ratios in one run.

The reference of a judged part is a full shot of it; that of a pose is the field of a coil at a new height. Answers are asserted:
the margin a stand-in tells against full shots, the power of a pose against the engine asked by itself.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np
from tests.window.jobs import ring_job

from coilwright.field.pose_incident import Pose
from coilwright.window.effort import Effort
from coilwright.window.study import Study
from coilwright.window.yields import forecast, settled, two_quantities

VARIES = """
[[varies]]
what = "coil.centre"
by = "0.15 mm"
[[varies]]
what = "coil.sideways"
by = "0.3 mm"
[[varies]]
what = "coil.tilt"
by = "0.5 deg"
[[varies]]
what = "mains"
by = "1 %"
each = "common"
"""


def spent(work, times=1):
    """Least processor time (s) of one of several runs."""
    out = []
    for _ in range(times):
        start = time.process_time()
        work()
        out.append(time.process_time() - start)
    return min(out)


SETTLED = "every verdict in doubt settled"


@dataclass(frozen=True)
class Compared:
    """`ours` and `reference` in s of the processor; `unit` names one of the reference, `target` what ours should cost."""

    what: str
    ours: float
    reference: float
    unit: str
    target: str = "-"


def compare(shots=100_000):
    """(processor time of building the study in s, the comparisons)."""
    begin = time.process_time()
    study = Study.of(ring_job(6, "80 mm", VARIES), Effort(runs=24, fresh=4, refine=4))
    build = time.process_time() - begin
    draws = study.draw(4, 7)
    judged = study.judge(draws)
    points = study.points(draws, judged.level)
    cold = next(k for k, s in enumerate(study.sides) if s is not None and s.cold)
    tasks = []
    for k in range(4):
        row = points[k, 0].copy()
        row[0] += judged.side[k, 0, cold]
        tasks.append(study.task(row))
    outcomes = []
    shot = spent(lambda: outcomes.extend(study.runner.run(*task) for task in tasks)) / len(tasks)
    for k, outcome in enumerate(outcomes):
        assert abs(judged.margins[k, 0, cold] - outcome.margins[cold]) < 0.02

    found = []
    part = spent(lambda: found.append(forecast(study, shots))) / (6 * shots)
    plan = spent(lambda: two_quantities(study, "coil.centre", "mains", 60), 3)
    cell = study.model.cells.at()
    rows = np.zeros((64, 6))
    rows[:, 0], rows[:, 4], rows[:, 5] = np.linspace(-1e-3, 1e-3, 64), 0.01, cell.ring[1]
    pose = spent(lambda: cell.part.power(rows), 5) / 64
    thin = cell.part.with_filaments()
    fast = spent(lambda: thin.power(rows), 5) / 64
    single = [Pose(*row) for row in rows]
    one = spent(lambda: [thin.power(p) for p in single], 5) / 64
    told = study.askew(np.zeros(64), rows[:, 0], rows[:, 4], np.zeros(64)).coupling ** 2
    asked = cell.part.power(rows)[0] / cell.part.power(Pose(pivot=cell.ring[1]))[0][0]
    assert np.abs(told / asked - 1.0).max() < 5e-4
    height = iter(1e-3 * np.linspace(0.1, 0.2, 6))
    move = spent(lambda: study.model.cells.field.at(coil=float(next(height))).state(), 5)
    known = []
    settling = spent(lambda: known.append(settled(study, found[0], 200)))
    said = known[0].settled
    assert said.left == 0 and said.wrongly == 0 and said.wrong < 0.5, said
    new_height = "coil at a new height"
    return build, (
        Compared("a judged part", part, shot, "full shot"),
        Compared(SETTLED, settling, said.near * shot, f"full shot of each of the {said.near} near a limit"),
        Compared("a map of 60 x 60", plan, shot, "full shot"),
        Compared("a pose, the coil's surface rings", pose, move, new_height, "2 ms"),
        Compared("a pose, one filament a turn", fast, move, new_height, "0.1 ms"),
        Compared("a pose asked by itself, one filament a turn", one, move, new_height, "0.1 ms"),
    )


def main(shots=100_000):
    """Print one line per comparison."""
    _, compared = compare(shots)
    for c in compared:
        ratio, reference = c.reference / c.ours, 1e3 * c.reference
        sys.stdout.write(
            f"{c.what}: {1e3 * c.ours:.4g} ms, {ratio:.3g} times faster than a {c.unit} ({reference:.3g} ms)\n"
        )


if __name__ == "__main__":
    main(2000 if "--quick" in sys.argv else 100_000)
