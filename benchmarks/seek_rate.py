"""`python -m benchmarks.seek_rate`: points of a search per second on the getter through the glass, one process against a pool.

The points are those of `examples/indicator-tube-getter/seek.toml`, the same for both; their outcomes must be the same, too.
"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter
from pathlib import Path

from coilwright.job import load
from coilwright.seek.evaluate import Evaluator
from coilwright.seek.schema import objectives_of, read_seek
from coilwright.seek.search import scan
from coilwright.seek.space import space_of
from coilwright.seek.workers import workers_for

EXAMPLE = Path(__file__).parents[1] / "examples" / "indicator-tube-getter" / "seek.toml"


def main(count=64):
    """Print one line per way."""
    job = load(EXAMPLE)
    asked = read_seek(job)
    space = space_of(job, asked)
    evaluator = Evaluator(job, objectives_of(asked), ())
    tasks = [(space.values(p), "coarse") for p in scan(space, count, 1)]
    evaluator(*tasks[0])  # compiled and loaded
    told, base = [], 0.0
    for processes in dict.fromkeys((1, 2, os.cpu_count() or 1)):
        begin = time.perf_counter()
        with workers_for(evaluator, processes, None) as workers:
            found = dict(workers(tasks))
        span = time.perf_counter() - begin
        told.append([found[n].to_dict() for n in range(len(tasks))])
        assert told[-1] == told[0]
        base = base or span
        stages = ", ".join(f"{n} {stage}" for stage, n in Counter(o.stage for o in found.values()).most_common())
        shots = sum(o.shots for o in found.values())
        sys.stdout.write(
            f"{processes} process{'es' if processes > 1 else ''}: {len(tasks) / span:.3g} points/s, {shots / span:.3g} shots/s "
            f"({base / span:.2f} times one process; {stages})\n"
        )


if __name__ == "__main__":
    main(8 if "--quick" in sys.argv else 64)
