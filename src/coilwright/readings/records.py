"""What every reader returns: plain frozen records, SI units, nothing that remembers the file format."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class Channel:
    """One recorded quantity. Samples stay in the type of the file (8-bit, 16-bit, float); value = offset + scale *
    sample.

    `unit` is the text of the file ("V", "A"), empty when it does not say.
    """

    name: str
    samples: NDArray[np.generic]
    unit: str = ""
    scale: float = 1.0
    offset: float = 0.0

    def __len__(self) -> int:
        return len(self.samples)

    def values(self, start: int = 0, stop: int | None = None) -> Floats:
        """The samples from `start` to `stop` as float64 in the channel's unit (a copy; ask for the part you need)."""
        part = np.asarray(self.samples[start:stop], dtype=np.float64)
        if self.scale != 1.0:
            part = part * self.scale
        return part + self.offset if self.offset != 0.0 else part


@dataclass(frozen=True)
class Capture:
    """Channels sampled together at a constant step. `start` s is the time of the first sample, `step` s between
    samples.
    """

    channels: tuple[Channel, ...]
    step: float
    start: float = 0.0
    origin: str = ""
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        return len(self.channels[0]) if self.channels else 0

    @property
    def duration(self) -> float:
        """From the first to the last sample, s."""
        return (len(self) - 1) * self.step

    def time(self, start: int = 0, stop: int | None = None) -> Floats:
        """Times of the samples `start` to `stop`, s."""
        first, last, _ = slice(start, stop).indices(len(self))
        return self.start + self.step * np.arange(first, last, dtype=np.float64)

    def channel(self, name: str) -> Channel:
        """The channel of that name, or by its number as text counted from 1; BadInput names what is there."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        if name.isdigit() and 1 <= int(name) <= len(self.channels):
            return self.channels[int(name) - 1]
        known = ", ".join(c.name for c in self.channels)
        raise BadInput(Fault(self.origin, f'has no channel "{name}"; it has {known}'))

    def __repr__(self) -> str:
        names = ", ".join(f"{c.name} [{c.unit}]" if c.unit else c.name for c in self.channels)
        return f"Capture({names}: {len(self)} samples, step {self.step:.4g} s, from {self.origin or 'memory'})"


@dataclass(frozen=True)
class Sweep:
    """Impedance (ohm, complex) against frequency (Hz, rising), one port."""

    frequency: Floats
    impedance: Complexes
    origin: str = ""

    def __len__(self) -> int:
        return len(self.frequency)


@dataclass(frozen=True)
class TwoPort:
    """Impedance matrix (n x 2 x 2, ohm) against frequency (Hz, rising)."""

    frequency: Floats
    impedance: Complexes
    origin: str = ""


@dataclass(frozen=True)
class Temperatures:
    """Temperatures (K) against time (s, rising, any spacing), one array per channel name."""

    time: Floats
    channels: dict[str, Floats]
    origin: str = ""

    def channel(self, name: str | None = None) -> Floats:
        """The channel of that name; without a name the only one."""
        if name is None and len(self.channels) == 1:
            return next(iter(self.channels.values()))
        if name in self.channels:
            return self.channels[name]
        known = ", ".join(self.channels)
        asked = "needs a channel name" if name is None else f'has no channel "{name}"'
        raise BadInput(Fault(self.origin, f"{asked}; it has {known}"))


@dataclass(frozen=True)
class Event:
    """One line of stopwatch notes: `time` s after the start, what happened, at which station (None when not said)."""

    time: float
    what: str
    station: int | None = None


@dataclass(frozen=True)
class Notes:
    """Stopwatch notes in the order of the file. `sigma` s is the standard uncertainty of a hand-stopped time."""

    events: tuple[Event, ...]
    sigma: float
    origin: str = ""


@dataclass(frozen=True)
class Table:
    """A text table as found: header cells per column, numbers, first data line (counted from 1), lines above it,
    its separators.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    numbers: Floats
    first_line: int
    preamble: tuple[tuple[str, ...], ...]
    delimiter: str
    decimal: str
    origin: str = field(default="")
