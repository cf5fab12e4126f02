"""Stations of a fixture: what each gets, what the source shows.

The coils are coupled by the mutual inductance of their turns as thin loops on parallel axes, the parts by the flux that
every coil sends through them: with m_kj the flux through part k per ampere of coil j and F_kj = m_kj / m_kk,

    Z_ij = (Z_i empty + leads_i) [i = j]  +  jw M_ij [i != j]  +  sum_k  zeta_k F_ki F_kj
    P_k  = p_k |sum_j F_kj i_j|^2

where zeta_k F_kk^2 is what part k adds to its own coil. F_kk is 1 in line; with a coil out of line F_kk^2 is the ratio of
powers in the field of `coilwright.field.pose`, and zeta_k F_kk^2 what that field says the part adds.
Z is symmetric (reciprocity) and Re(i^H Z i) is the sum of all powers.
Currents that neighbours' parts send through other parts directly are of second order and left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.field.formulas_inductance import tilted_loop_mutual
from coilwright.field.pose_clearance import check_poses
from coilwright.field.pose_incident import Pose
from coilwright.heating.drive import Answer, Drive
from coilwright.heating.setup import fixed_drive
from coilwright.job import Job
from coilwright.job.schema_fixture import Fixture, read_fixture
from coilwright.section.quad9 import Array
from coilwright.section.sizes import Level
from coilwright.window.cell import Cell, Cells, moved_scene
from coilwright.window.circuit import Complex, Terminals, drive, shares, strength
from coilwright.window.source import FixtureSource, decides

_SAME_FIELD = 1e-4  # a shift of the frequency by this much moves resistances by half of it and is let pass


@dataclass(frozen=True)
class Station:
    """How one station differs from the drawing, SI: coil `up` the axis (m), `sideways` (m), `tilt` (rad, > 0 lowers the
    side the coil is pushed to) and tilt `across` that (rad), both about the middle of the part, the part in
    place or not, extra resistance (ohm) and inductance (H) in its leads, or a whole other job (`variant`: a cracked ring,
    another coil) with the same frequency."""

    up: float = 0.0
    sideways: float = 0.0
    tilt: float = 0.0
    across: float = 0.0
    part: bool = True
    extra_resistance: float = 0.0
    extra_inductance: float = 0.0
    variant: Job | None = None

    def pose(self, pivot: float) -> Pose:
        """How the coil stands out of line; `pivot` (m) is the height of the middle of the part."""
        return Pose(self.sideways, 0.0, 0.0, self.across, self.tilt, pivot)


@dataclass(frozen=True, eq=False)
class StationsResult:
    """Powers (n,) W in the parts, coil currents (n,) A rms, share of the source's volts (n,), the current (n,) A that
    would give the same power to a part alone (`heating_current`), and the terminals: frequency Hz (capacitors as they
    are for the healthy fixture), current A, voltage V, power W, Q."""

    powers: Array
    currents: Array
    voltage_shares: Array
    heating_current: Array
    coil_powers: Array
    frequency: float
    current: float
    voltage: float
    power: float
    q: float
    impedance: complex
    network: Network = field(repr=False)
    start_times: tuple[float | None, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        stations = [
            {
                "station": k + 1,
                "power_W": float(self.powers[k]),
                "current_A": float(self.currents[k]),
                "voltage_share": float(self.voltage_shares[k]),
                **({"start_time_s": self.start_times[k]} if self.start_times else {}),
            }
            for k in range(len(self.powers))
        ]
        terminals = {
            "frequency_Hz": self.frequency,
            "current_A": self.current,
            "voltage_V": self.voltage,
            "power_W": self.power,
            "q": self.q,
        }
        return {"stations": stations, "terminals": terminals}

    def __repr__(self) -> str:
        each = ", ".join(f"{p:.4g}" for p in self.powers)
        return (
            f"<{len(self.powers)} stations: {each} W; terminals {self.frequency / 1e3:.5g} kHz, {self.current:.4g} A, "
            f"{self.power:.4g} W, Q {self.q:.4g}>"
        )


def positions(fixture: Fixture) -> Array:
    """(n, 2) places of the station axes, m."""
    n, spacing = fixture.stations, fixture.spacing or 0.0
    k = np.arange(n)
    if fixture.arrangement == "circle" and n > 1:
        radius = spacing / (2.0 * math.sin(math.pi / n))
        return radius * np.column_stack([np.cos(2 * np.pi * k / n), np.sin(2 * np.pi * k / n)])
    if fixture.arrangement == "grid":
        columns = fixture.columns or math.ceil(math.sqrt(n))
        return spacing * np.column_stack([k % columns, k // columns]).astype(float)
    return np.column_stack([spacing * k, np.zeros(n)])


class FixtureModel:
    """The stations of a job ready for many questions. `neighbours=False` leaves out all coupling between stations."""

    def __init__(
        self, job: Job, *, level: Level = "normal", moves: Sequence[float] = (0.0,), neighbours: bool = True
    ) -> None:
        self.job, self.fixture, self.level = job, read_fixture(job), level
        self.source = FixtureSource(job, self.fixture.stations, self.fixture.feed) if decides(job) else None
        self.drive: Drive = fixed_drive(job) if self.source is None else self.source.usual
        self.places = positions(self.fixture)
        self.neighbours = neighbours
        self.cells = self._settled(Cells(job, self.drive.frequency, level, moves), moves)
        self.frequency = self.cells.frequency
        self._check_room(self.cells.at().turns)
        self._variants: dict[int, Cells] = {}
        self._mutual: dict[tuple[float, ...], float] = {}
        self._cleared: dict[tuple[int, Pose], Cell] = {}

    def _settled(self, cells: Cells, moves: Sequence[float]) -> Cells:
        """Cells at the frequency the source chooses, and at the current the coil has where a part saturates."""
        for _ in range(3):
            cold = cells.at().loaded
            found = self._respond(cold, cells.frequency)
            frequency = found.frequency if self.source is not None else cells.frequency
            amperes = found.current if cells.saturating else 1.0
            if abs(frequency / cells.frequency - 1.0) < _SAME_FIELD and abs(amperes / cells.amperes - 1.0) < 0.01:
                break
            cells = Cells(self.job, frequency, self.level, moves, amperes)
        return cells

    def _respond(self, cold: complex, frequency: float) -> Answer:
        """Current of one coil (A) and frequency when every coil has this impedance (ohm)."""
        if self.source is None:
            alone: Answer = self.drive.respond(1.0, cold, frequency)
            return alone
        found = self.source.answer(self.source.common(cold), frequency)
        each = found.current / (self.fixture.stations if self.fixture.feed == "parallel" else 1)
        return replace(found, current=each)

    def _check_room(self, turns: Array) -> None:
        n = self.fixture.stations
        if n < 2:
            return
        gaps = [float(np.hypot(*(self.places[i] - self.places[j]))) for i in range(n) for j in range(i)]
        across = 2.0 * float(turns[:, 0].max())
        if min(gaps) <= across:
            what = (
                f"must be larger than the coil, whose turns measure {across * 1e3:.4g} mm across their centre lines; "
                f"received {min(gaps) * 1e3:.4g} mm between two stations"
            )
            raise BadInput(Fault(f"{self.job.name}: fixture.spacing", what))

    @cached_property
    def healthy(self) -> tuple[Station, ...]:
        """Every station as drawn, its own extra leads in place."""
        extra = self.fixture.lead_inductance or (0.0,) * self.fixture.stations
        return tuple(Station(extra_inductance=value) for value in extra)

    @cached_property
    def nominal_current(self) -> float:
        """Coil current (A) that [drive] or the source sets for one station as drawn."""
        return self._respond(self.cells.at().loaded, self.frequency).current

    @cached_property
    def network(self) -> Network:
        """The healthy fixture."""
        return self.network_of(self.healthy)

    @cached_property
    def setting(self) -> float:
        """What the source holds (A, V, sqrt(W)) so that the healthy fixture has the nominal current, on the average."""
        f = self.fixture
        if self.source is not None:
            return self.nominal_current * (f.stations if f.feed == "parallel" else 1)
        per_ampere, total = shares(self.network.matrix, f.feed)
        if f.feed == "separate":
            own = complex(np.mean(self.network.matrix.sum(axis=1)))
            return self.nominal_current / float(strength(np.asarray(own), f.control))
        mean = float(np.mean(np.abs(per_ampere)))
        return self.nominal_current / mean / float(strength(np.asarray(total), f.control))

    def cell(self, station: Station, frequency: float | None = None) -> Cell:
        """The cell of a station."""
        if station.variant is None:
            return self.cells.at(station.up, frequency)
        key = id(station.variant)
        if key not in self._variants:
            self._variants[key] = Cells(station.variant, self.frequency, self.level, amperes=self.cells.amperes)
        return self._variants[key].at(station.up, frequency)

    def network_of(self, stations: Sequence[Station], frequency: float | None = None) -> Network:
        """Impedance matrix and flux ratios of stations in these states."""
        f = self.frequency if frequency is None else frequency
        cells = [self.cell(s, f) for s in stations]
        n = len(cells)
        own = np.array([c.flux() for c in cells])
        askew = [self._askew(k, c, s) for k, (c, s) in enumerate(zip(cells, stations, strict=True), 1)]
        flux = np.diag([coupling for coupling, _ in askew])
        mutual = np.zeros((n, n))
        if self.neighbours:
            for i in range(n):
                for j in range(n):
                    if i != j:
                        flux[i, j] = self._sense(i, j) * self._part_flux(cells[i], cells[j], i, j) / own[i]
                    if j > i:
                        mutual[i, j] = mutual[j, i] = self._sense(i, j) * self._coil_mutual(cells[i], cells[j], i, j)
        there = np.array([s.part for s in stations], dtype=float)
        added = np.array([z / coupling**2 for coupling, z in askew]) * there
        power = np.array([c.power for c in cells]) * there
        omega = 2.0 * math.pi * f
        series = [complex(s.extra_resistance, omega * s.extra_inductance) for s in stations]
        empty = np.array([c.empty for c in cells], dtype=np.complex128) + np.array(series, dtype=np.complex128)
        return Network(f, empty, np.asarray(1j * omega * mutual, dtype=np.complex128), flux, added, power)

    def _askew(self, number: int, cell: Cell, station: Station) -> tuple[float, complex]:
        pose = station.pose(cell.ring[1])
        if pose != Pose(pivot=pose.pivot):
            key = (id(cell), pose)
            if key not in self._cleared:
                check_poses(moved_scene(cell.job, station.up).section, pose, where=f"station {number}")
                self._cleared[key] = cell
        return cell.askew(pose)

    def _sense(self, i: int, j: int) -> float:
        return -1.0 if self.fixture.windings == "alternate" and (i - j) % 2 else 1.0

    def _loops(self, r1: float, r2: float, i: int, j: int, up: float) -> float:
        x, y = self.places[j] - self.places[i]
        key = (r1, r2, round(math.hypot(x, y), 9), round(up, 12))
        if key not in self._mutual:
            self._mutual[key] = tilted_loop_mutual(r1, r2, (x, y, up), (0.0, 0.0, 1.0), 128)
        return self._mutual[key]

    def _part_flux(self, part: Cell, coil: Cell, i: int, j: int) -> float:
        radius, height = part.ring
        return math.fsum(share * self._loops(radius, r, i, j, z - height) for r, z, share in coil.turns)

    def _coil_mutual(self, a: Cell, b: Cell, i: int, j: int) -> float:
        return math.fsum(s * t * self._loops(r, q, i, j, w - z) for r, z, s in a.turns for q, w, t in b.turns)

    def solve(
        self,
        stations: Sequence[Station] | Mapping[int, Station] | None = None,
        *,
        setting: float = 1.0,
        capacitance: float = 1.0,
    ) -> StationsResult:
        """The fixture with stations in these states (a mapping counts them from 1), the source at `setting` times its
        healthy value (the real one of a job: its supply) and its capacitors at `capacitance` times theirs. The frequency
        follows the resonance or what the real source follows; the fields are solved anew there when it moves."""
        states = self.states(stations)
        network = self.network_of(states)
        if self.source is not None:
            return self._behind_source(states, network, setting, capacitance)
        at = self._resonance(network, capacitance)
        if abs(at / self.frequency - 1.0) > _SAME_FIELD:
            network = self.network_of(states, at)
            at = self._resonance(network, capacitance)
        return network.result(self.fixture, setting * self.setting, at)

    def _behind_source(
        self, states: Sequence[Station], network: Network, mains: float, capacitance: float
    ) -> StationsResult:
        source, fixture = self.source, self.fixture.model_copy(update={"control": "current"})
        if source is None:
            raise BadInput(Fault(f"{self.job.name}: source", "is missing"))
        for _ in range(4):
            if fixture.feed == "separate":
                own = network.matrix.sum(axis=1)
                each = [source.answer(complex(z), network.frequency, mains, capacitance) for z in own]
                currents = np.array([a.current for a in each])
                frequency = float(np.mean([a.frequency for a in each]))
            else:
                _, total = shares(network.matrix, fixture.feed)
                found = source.answer(complex(total), network.frequency, mains, capacitance)
                currents, frequency = np.asarray(found.current), found.frequency
            if abs(frequency / network.frequency - 1.0) < _SAME_FIELD:
                break
            network = self.network_of(states, frequency)
        return network.result(fixture, currents, frequency)

    def states(self, stations: Sequence[Station] | Mapping[int, Station] | None) -> tuple[Station, ...]:
        """States of all stations, healthy where nothing is said."""
        if stations is None:
            return self.healthy
        if not isinstance(stations, Mapping):
            if len(stations) != self.fixture.stations:
                what = f"must be one per station ({self.fixture.stations}); received {len(stations)}"
                raise BadInput(Fault("stations", what))
            return tuple(stations)
        wrong = [k for k in stations if not 1 <= k <= self.fixture.stations]
        if wrong:
            raise BadInput(Fault("stations", f"are numbered 1 to {self.fixture.stations}; received {wrong[0]}"))
        extra = [s.extra_inductance for s in self.healthy]
        out = list(self.healthy)
        for k, s in stations.items():
            out[k - 1] = replace(s, extra_inductance=s.extra_inductance + extra[k - 1])
        return tuple(out)

    def _resonance(self, network: Network, capacitance: float) -> float:
        """Frequency (Hz) at which the total inductance rings with the bank of the healthy fixture."""
        _, total = shares(network.matrix, self.fixture.feed)
        _, healthy = shares(self.network.matrix, self.fixture.feed)
        ratio = (complex(total).imag / network.frequency) / (complex(healthy).imag / self.frequency)
        return self.frequency / math.sqrt(ratio * capacitance)


@dataclass(frozen=True, eq=False)
class Network:
    """`empty` (n,) ohm with leads, `mutual` (n, n) ohm, `flux` (n, n) F_kj, `reflected` (n,) ohm, `power` (n,) W/A^2."""

    frequency: float
    empty: Complex
    mutual: Complex
    flux: Array
    reflected: Complex
    power: Array

    @cached_property
    def matrix(self) -> Complex:
        """(n, n) ohm."""
        return np.asarray(np.diag(self.empty) + self.mutual + (self.flux.T * self.reflected) @ self.flux)

    def heating_currents(self, currents: Complex) -> Array:
        """(..., n) A: the current that would give every part as much alone."""
        return np.abs(currents @ self.flux.T)

    def result(self, fixture: Fixture, setting: Array | float, frequency: float) -> StationsResult:
        """Currents and powers when the source holds `setting`."""
        t: Terminals = drive(self.matrix, fixture.feed, fixture.control, setting)
        heating = self.heating_currents(t.currents)
        powers = self.power * heating**2
        volts = self.matrix @ t.currents
        real = (np.conj(t.currents) * volts).real
        whole = abs(complex(np.sum(volts))) if fixture.feed == "series" else float(np.mean(np.abs(volts)))
        impedance = complex(t.impedance)
        return StationsResult(
            powers, np.abs(t.currents), np.abs(volts) / whole, heating,
            real - powers, frequency, float(t.current), float(t.voltage), float(t.power), float(t.q), impedance, self,
        )  # fmt: skip
