"""Everything that can go wrong, as one short tree.

CoilwrightError
├── BadInput          the user gave something that cannot be used (exit code 2); carries every fault at once
├── NotConverged      a solver gave up (exit code 3); carries its residual history
└── MissingExtra      an optional package is needed (exit code 3)

A message is one sentence: what must hold, what was received, where it stands, what to do.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass


class CoilwrightError(Exception):
    """Root of all errors this package raises on purpose."""

    exit_code = 3


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    `where` is what a person would point at (`job.toml: body "ring": shape.outer_diameter`);
    `what` says what must hold, what was received and what to write instead.
    """

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}" if self.where else self.what


class BadInput(CoilwrightError):
    """The input cannot be used. `faults` holds one sentence each, in the order they stand in the file."""

    exit_code = 2

    def __init__(self, faults: Iterable[Fault] | Fault | str) -> None:
        if isinstance(faults, str):
            faults = Fault("", faults)
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(f) for f in self.faults))


class NotConverged(CoilwrightError):
    """A solver did not reach its tolerance; nothing it computed may be used."""

    def __init__(self, what: str, residuals: Sequence[float] = (), advice: str = "") -> None:
        self.residuals = tuple(float(r) for r in residuals)
        tail = f" (residuals {', '.join(f'{r:.1e}' for r in self.residuals[-5:])})" if self.residuals else ""
        super().__init__(f"{what}{tail}" + (f". {advice}" if advice else ""))


class MissingExtra(CoilwrightError):
    """An optional package is not installed."""

    def __init__(self, package: str, extra: str, purpose: str) -> None:
        super().__init__(f"{purpose} needs the package {package}: install it with  pip install 'coilwright[{extra}]'")


@contextmanager
def workers_kept() -> Iterator[None]:
    """Turn the loss of a process of a pool (killed by hand, or by a system short of memory) into one sentence."""
    from concurrent.futures import BrokenExecutor  # here, since `import coilwright` stays light

    try:
        yield
    except BrokenExecutor:
        what = "a worker process was ended from outside in the middle of its shots; nothing was written"
        raise CoilwrightError(f"{what}: run it again, with fewer --workers if memory was short") from None
