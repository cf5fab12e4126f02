"""What the drive is asked to do over time: a level between 0 and 1 (or above) of its nominal value."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

# Two instants closer than this (s) are the same instant.
SAME_TIME = 1e-9


@dataclass(frozen=True)
class Stage:
    """A constant `level` from `start` to `end` (s)."""

    start: float
    end: float
    level: float


@dataclass(frozen=True)
class Programme:
    """Stages in order of time; between and after them the drive is off.

    The level multiplies what the job sets: coil current, coil voltage or coil power.
    """

    stages: tuple[Stage, ...]
    watched_until: float

    def level(self, time: float) -> float:
        """Level at `time` (s); at a change, the level that begins there."""
        starts = [s.start for s in self.stages]
        k = bisect_right(starts, time + SAME_TIME) - 1
        if k < 0 or time >= self.stages[k].end - SAME_TIME:
            return 0.0
        return self.stages[k].level

    def levels(self, times: Sequence[float]) -> list[float]:
        """Level at every moment of a trace (s, rising), which holds two moments at a change: the first ends the earlier stage."""
        out = []
        for k, t in enumerate(times):
            ends = t > 0.0 and (k + 1 == len(times) or times[k + 1] - t < 2.0 * SAME_TIME)
            out.append(self.level(t - 2.0 * SAME_TIME) if ends else self.level(t))
        return out

    @property
    def last(self) -> float:
        """The level at which heating ends."""
        return next((s.level for s in reversed(self.stages) if s.level > 0.0), 0.0)

    @property
    def changes(self) -> tuple[float, ...]:
        """Instants (s) at which the level changes, with the end of the watch."""
        times = {t for s in self.stages for t in (s.start, s.end) if t > SAME_TIME}
        times.add(self.watched_until)
        return tuple(sorted(t for t in times if t <= self.watched_until + SAME_TIME))

    @property
    def switched_off(self) -> float:
        """The instant (s) at which heating ends for good."""
        return max((s.end for s in self.stages if s.level > 0.0), default=0.0)


def constant(on_time: float, watch_after: float = 0.0) -> Programme:
    """Full level for `on_time` (s), then watched for `watch_after` (s) more."""
    return Programme((Stage(0.0, on_time, 1.0),), on_time + watch_after)
