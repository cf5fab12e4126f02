"""What a source that decides current and frequency adds to a shot, against the same shot at a set current."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

import coilwright as cw

EXAMPLES = Path(__file__).parents[1] / "examples"
CASES = ("indicator-tube-getter", "graphite-susceptor", "brazed-ferrule", "disc-over-pancake")


def processor_time(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def share_added(name: str, times: int = 5) -> tuple[float, float, float]:
    """(s with the source, s at a set current, relative change): medians of interleaved runs, in processor time."""
    driven = cw.load(EXAMPLES / name / "with-tank.toml")
    shot = cw.heat(driven, estimate_error=False)
    coil = shot.trace.coil
    on = coil.current > 0.0
    level = max(float(np.max(coil.current)), 1.0)
    plain = (
        cw.load(EXAMPLES / name / "job.toml")
        .with_value("drive.coil_current", f"{level:.4f} A")
        .with_value("drive.frequency", f"{float(np.median(coil.frequency[on])):.3f} Hz")
    )
    check = cw.heat(plain, estimate_error=False)
    assert abs(check.trace.time[-1] - shot.trace.time[-1]) < 1e-6
    pairs = [
        (processor_time(lambda: cw.heat(driven, estimate_error=False)),
         processor_time(lambda: cw.heat(plain, estimate_error=False)))
        for _ in range(times)
    ]  # fmt: skip
    ours, theirs = (statistics.median(column) for column in zip(*pairs, strict=True))
    return ours, theirs, statistics.median(a / b for a, b in pairs) - 1.0


if __name__ == "__main__":
    for case in CASES:
        ours, theirs, added = share_added(case)
        print(f"{case}: {ours:.3f} s with the source, {theirs:.3f} s at a set current, {100 * added:+.0f} %")
