"""Refusals that every reader shares: not finite, time backwards, gaps."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.readings.records import Floats


def finite_columns(numbers: Floats, names: Sequence[str], first_line: int, where: str) -> None:
    """Raise BadInput when any cell is NaN or infinite, naming column, count and the first line."""
    for k, name in enumerate(names):
        bad = np.flatnonzero(~np.isfinite(numbers[:, k]))
        if len(bad):
            count = f"{len(bad)} values that are no number" if len(bad) > 1 else "a value that is no number"
            raise BadInput(
                Fault(
                    where,
                    f'column "{name}" has {count} (first in line {first_line + bad[0]}); mend the gap or cut it off',
                )
            )


def rising_time(time: Floats, first_line: int, where: str, strictly: bool = True) -> None:
    """Raise BadInput when the time runs backwards (or stands still, if `strictly`)."""
    steps = np.diff(time)
    bad = np.flatnonzero(steps <= 0.0 if strictly else steps < 0.0)
    if len(bad):
        k = int(bad[0])
        how = "runs backwards" if steps[k] < 0.0 else "stands still"
        raise BadInput(
            Fault(
                where,
                f"time must rise from line to line, but it {how} from {time[k]:.9g} s to {time[k + 1]:.9g} s "
                f"in line {first_line + k + 1}; is the time column the right one?",
            )
        )


def even_step(time: Floats, first_line: int, where: str) -> tuple[float, float]:
    """(first time, step) of an evenly sampled time column; the rounding of a printed time is allowed for.

    Raises BadInput when time runs backwards, stands still throughout or has gaps.
    """
    if len(time) < 2:
        raise BadInput(Fault(where, f"needs at least two samples, has {len(time)}"))
    rising_time(time, first_line, where, strictly=False)
    step = float(time[-1] - time[0]) / (len(time) - 1)
    if not step > 0.0:
        raise BadInput(Fault(where, "time stands still in every line; is the time column the right one?"))
    changes = np.diff(time)
    jump = int(np.argmax(changes))
    if changes[jump] > step + max(0.5 * step, 1.1 * _rounding(changes)):
        raise BadInput(
            Fault(
                where,
                f"samples must be evenly spaced, but the usual step of {np.median(changes):.4g} s becomes "
                f"{changes[jump]:.4g} s in line {first_line + jump + 1}; samples are missing there",
            )
        )
    return float(time[0]), step


def _rounding(changes: Floats) -> float:
    """How much the steps of a printed time scatter through rounding to its last digit."""
    if bool(np.any(changes == 0.0)):
        return float(changes[changes > 0.0].min())
    low, high = np.percentile(changes, (1.0, 99.0))
    return float(high - low)
