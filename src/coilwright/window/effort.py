"""How much is spent on a window: full runs, checks, processes."""

from __future__ import annotations

from dataclasses import dataclass

from coilwright.section.sizes import Level
from coilwright.window.surrogate import term_count


@dataclass(frozen=True)
class Effort:
    """Full runs: `runs` of the design (0: as many as the quantities need), `fresh` to measure the error; `reshoot`, at most,
    of drawn parts in doubt (-1: every failure besides), or `refine` near the limit where none are shot (0); on `workers`
    processes; `seed` of everything drawn. `rough`: longer steps, and three fifths of the runs that `runs` 0 stands for."""

    runs: int = 0
    fresh: int = 12
    refine: int = 12
    reshoot: int = 200
    workers: int = 1
    seed: int = 1
    level: Level = "coarse"
    rough: bool = False

    def design(self, d: int) -> int:
        """Runs of the design over `d` quantities."""
        if self.runs:
            return self.runs
        terms = term_count(d)
        return max(32, int(0.9 * terms)) if self.rough else max(48, int(1.5 * terms))

    @classmethod
    def asked(cls, runs: int, reshoot: int, workers: int, seed: int) -> Effort:
        """With so many runs of the design (0: as many as needed) and a sixth of them, at least four, for each check."""
        checks = cls.fresh if runs == 0 else max(4, runs // 6)
        return cls(runs, checks, checks, reshoot, workers, seed)
