"""What a tank is made of: frozen dataclasses in SI, rms. `schema.py` fills them from the job file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np

Arrangement = Literal["series", "parallel", "inductor-coupled"]
Side = Literal["source", "coil"]
Place = Literal["tank", "tap", "block"]
SourceKind = Literal["voltage-fed full bridge", "voltage-fed half bridge", "current-fed bridge"]
Follow = Literal["phase", "frequency"]
Regulate = Literal["amplitude", "frequency"]
Hold = Literal["level", "power", "coil current", "coil voltage"]

# The band scanned when the source states no window: the trade's 10 kHz to 1 MHz with room on both sides.
WIDEST_WINDOW = (1e3, 5e6)


@dataclass(frozen=True)
class RatingCurve:
    """A rating against frequency: straight between the points in log-log, constant outside them.

    `frequency` (Hz, rising) and `value` (V, A or var, > 0) have the same length >= 1.
    """

    frequency: tuple[float, ...]
    value: tuple[float, ...]

    @classmethod
    def constant(cls, value: float) -> RatingCurve:
        return cls((1.0,), (value,))

    def at(self, frequency: Any) -> Any:
        """Rating at `frequency` (Hz, scalar or array)."""
        if len(self.value) == 1:
            return self.value[0] if np.ndim(frequency) == 0 else np.full(np.shape(frequency), self.value[0])
        return np.exp(np.interp(np.log(frequency), np.log(self.frequency), np.log(self.value)))

    def covers(self, frequency: float) -> bool:
        """Whether the frequency lies inside the points (a single figure covers everything)."""
        return len(self.value) == 1 or self.frequency[0] <= frequency <= self.frequency[-1]


@dataclass(frozen=True)
class Can:
    """One capacitor as bought.

    capacitance F; tolerance as a fraction; loss_tangent at the working frequency; series_resistance ohm and
    series_inductance H of its own terminals; ratings (rms) or None where the maker states none;
    temperature_coefficient 1/K about reference_temperature K; outside width (along the bars), depth and height (from bar
    to bar) in m, or None.
    """

    name: str
    capacitance: float
    tolerance: float = 0.0
    loss_tangent: float = 0.0
    series_resistance: float = 0.0
    series_inductance: float = 0.0
    voltage: RatingCurve | None = None
    current: RatingCurve | None = None
    reactive_power: RatingCurve | None = None
    temperature_coefficient: float = 0.0
    reference_temperature: float = 293.15
    size: tuple[float, float, float] | None = None

    def capacitance_at(self, temperature: float) -> float:
        return self.capacitance * (1.0 + self.temperature_coefficient * (temperature - self.reference_temperature))


@dataclass(frozen=True)
class BankGroup:
    """`parallel` strings of `series` equal cans, with the resistance and inductance of the bars that feed the group."""

    can: Can
    series: int = 1
    parallel: int = 1
    bar_resistance: float = 0.0
    bar_inductance: float = 0.0

    @property
    def cans(self) -> int:
        return self.series * self.parallel

    @property
    def capacitance(self) -> float:
        return self.can.capacitance * self.parallel / self.series


@dataclass(frozen=True)
class Bank:
    """Groups in parallel, all at one temperature (K)."""

    groups: tuple[BankGroup, ...]
    temperature: float = 293.15

    @cached_property
    def branch_terms(self) -> tuple[tuple[float, float, float, float], ...]:
        """Per group (R, L, C, tan delta) as one series branch."""
        rows = []
        for g in self.groups:
            share = g.series / g.parallel
            rows.append(
                (
                    g.can.series_resistance * share + g.bar_resistance,
                    g.can.series_inductance * share + g.bar_inductance,
                    g.can.capacitance_at(self.temperature) / share,
                    g.can.loss_tangent,
                )
            )
        return tuple(rows)

    @property
    def capacitance(self) -> float:
        """Total (F) at the bank's temperature."""
        return sum(row[2] for row in self.branch_terms)

    def group_impedances(self, omega: Any) -> list[Any]:
        """Impedance (ohm) of each group, bars included; omega rad/s scalar or array. ESR = tan delta/(omega C) + R."""
        return [r + tan / (omega * c) + 1j * (omega * ind - 1.0 / (omega * c)) for r, ind, c, tan in self.branch_terms]

    def impedance(self, omega: Any) -> Any:
        """Impedance of the whole bank, ohm."""
        impedances = self.group_impedances(omega)
        if len(impedances) == 1:
            return impedances[0]
        return 1.0 / sum(1.0 / z for z in impedances)


@dataclass(frozen=True)
class Transformer:
    """Matching transformer, T equivalent; `ratio` = turns on the source side over turns on the coil side.

    Source-side leakage and resistance belong to the source-side winding, the coil-side ones to the other.
    magnetising_inductance (H) and core_resistance (ohm) stand in parallel on the source side; infinite = left out.
    """

    ratio: float
    source_leakage: float = 0.0
    source_resistance: float = 0.0
    coil_leakage: float = 0.0
    coil_resistance: float = 0.0
    magnetising_inductance: float = math.inf
    core_resistance: float = math.inf


@dataclass(frozen=True)
class Cable:
    """Cable to a remote work head: length m; R' ohm/m, L' H/m, C' F/m, go and return together."""

    length: float
    resistance: float = 0.0
    inductance: float = 0.0
    capacitance: float = 0.0
    place: Side = "source"


@dataclass(frozen=True)
class SourceLimits:
    """What the source can stand at its output, rms; None or infinite where nothing is stated. Angles in rad."""

    current: float = math.inf
    voltage: float = math.inf
    power: float = math.inf
    lowest_frequency: float | None = None
    highest_frequency: float | None = None
    least_phase: float = 0.0
    duty: float = 1.0
    duty_period: float = math.inf

    @property
    def window(self) -> tuple[float, float]:
        return (self.lowest_frequency or WIDEST_WINDOW[0], self.highest_frequency or WIDEST_WINDOW[1])

    @property
    def longest_on_time(self) -> float:
        """Seconds the source may stay on in one go."""
        return math.inf if self.duty >= 1.0 else self.duty * self.duty_period


@dataclass(frozen=True)
class SourceInput:
    """The bridge: `supply` is its dc voltage (V) when voltage-fed, its dc current (A) when current-fed.

    phase (rad) is how far above resonance the source is told to stay: the lag of the current when voltage-fed,
    its lead when current-fed (what soft switching asks of either). `held` is the value of `hold` in W, A, V or as a
    fraction (level). regulate: how the output is brought down, by the amplitude (dc link or pulse width) at the
    followed phase, or by raising the frequency at full amplitude. resistance (ohm) stands for the closed switches;
    dead_time s; choke (H) of a current-fed bridge.
    """

    kind: SourceKind
    supply: float
    follow: Follow = "phase"
    phase: float = 0.0
    frequency: float | None = None
    hold: Hold = "level"
    held: float = 1.0
    regulate: Regulate = "amplitude"
    resistance: float = 0.0
    dead_time: float = 0.0
    choke: float = 0.0
    choke_resistance: float = 0.0
    limits: SourceLimits = field(default_factory=SourceLimits)

    @property
    def current_fed(self) -> bool:
        return self.kind == "current-fed bridge"

    @property
    def swing(self) -> float:
        """Half the peak-to-peak of the square the bridge makes: V or A."""
        return self.supply * (0.5 if self.kind == "voltage-fed half bridge" else 1.0)

    @property
    def full_amplitude(self) -> float:
        """Rms of the fundamental at full drive: 2 sqrt(2)/pi of the swing (Fourier series of a square)."""
        return 2.0 * math.sqrt(2.0) / math.pi * self.swing

    @property
    def target_angle(self) -> float:
        """Angle (rad) of the source-side impedance that tracking seeks, soft-switching margin included."""
        margin = max(self.phase, self.limits.least_phase)
        return -margin if self.current_fed else margin


@dataclass(frozen=True)
class Derating:
    """Shares of the maker's ratings this shop allows itself (common practice 0.7 to 0.8 of V and I, no source)."""

    voltage: float = 0.8
    current: float = 0.7
    reactive_power: float = 1.0


@dataclass(frozen=True)
class TankInput:
    """Everything between the source's terminals and the coil's.

    bank: the tank capacitors; tap: lower half of tapped capacitors (inductor-coupled only); block: in series with
    the source. bank_side: which side of the transformer the bank is on. Leads and inductor: ohm and H, go and return.
    """

    arrangement: Arrangement
    bank: Bank
    source: SourceInput | None = None
    tap: Bank | None = None
    block: Bank | None = None
    bank_side: Side = "coil"
    transformer: Transformer | None = None
    cable: Cable | None = None
    inductor_inductance: float = 0.0
    inductor_resistance: float = 0.0
    lead_inductance: float = 0.0
    lead_resistance: float = 0.0
    derating: Derating = field(default_factory=Derating)
    stock: str | None = None

    def banks(self) -> Sequence[tuple[Place, Bank]]:
        """Every bank with the place it stands at."""
        places: tuple[tuple[Place, Bank | None], ...] = (("tank", self.bank), ("tap", self.tap), ("block", self.block))
        return tuple((place, bank) for place, bank in places if bank is not None)
