"""What an instrument's file says: one file in, the quantities it holds with their uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding, Uncertain
from coilwright.readings.binary import read_hdf5, read_npz
from coilwright.readings.impedance import bank_reading, coil_reading, coupling_factor, fit_resonance
from coilwright.readings.lcr import read_lcr
from coilwright.readings.records import Capture, Sweep, Temperatures, TwoPort
from coilwright.readings.ringdown import ring_down
from coilwright.readings.scope import read_scope_csv
from coilwright.readings.signals import dominant_frequency, electrical
from coilwright.readings.temperature import read_temperature
from coilwright.readings.thermal import mask_glitches
from coilwright.readings.touchstone import read_touchstone

Kind = Literal["scope", "lcr", "analyser", "temperature"]
KINDS: tuple[Kind, ...] = ("scope", "lcr", "analyser", "temperature")
_MOST = 2_000_000  # samples of a channel looked at for its frequency
_ZERO = 273.15


@dataclass(frozen=True)
class Quantity:
    """`name` as a person says it, `key` for JSON with the SI unit at its end; `sigma` None where nothing tells it."""

    name: str
    key: str
    value: float
    sigma: float | None
    unit: str


@dataclass(frozen=True)
class ReadingResult:
    """What one file says. `kind` is how it was read."""

    file: str
    kind: str
    quantities: tuple[Quantity, ...]
    findings: tuple[Finding, ...] = ()

    def __getitem__(self, key: str) -> float:
        """A value by its JSON key; KeyError with the keys there are."""
        for q in self.quantities:
            if q.key == key:
                return q.value
        raise KeyError(f"{key}; there are {', '.join(q.key for q in self.quantities)}")

    def to_dict(self) -> dict[str, Any]:
        values = {q.key: {"value": q.value, "sigma": q.sigma} for q in self.quantities}
        return {
            "file": self.file,
            "kind": self.kind,
            "quantities": values,
            "findings": [f.to_dict() for f in self.findings],
        }


def reading(
    file: Path | str,
    *,
    kind: Kind | None = None,
    frequency: float | None = None,
    modes: int | None = None,
    channels: Sequence[str] = (),
    unit: str | None = None,
) -> ReadingResult:
    """Read one instrument file and say what it holds.

    `kind` is found from the file's ending and heading when it is not given. `frequency` (Hz): where L, R and Q of a
    sweep are taken; without it a resonance is fitted. `modes`: fit that many decaying rings to a capture; without it
    a capture is taken as running: power from a voltage and a current channel, else each channel by itself. `channels`:
    names or numbers, voltage before current. `unit` of temperatures where the file does not say. Raises BadInput.
    """
    file = Path(file)
    kind = kind or _kind_of(file)
    if kind == "temperature":
        return _temperature(read_temperature(file, channels or None, unit=unit), file)
    if kind == "lcr":
        return _sweep(read_lcr(file), file, kind, frequency)
    if kind == "analyser":
        record = read_touchstone(file)
        return (
            _coupling(record, file, frequency) if isinstance(record, TwoPort) else _sweep(record, file, kind, frequency)
        )
    capture = _capture(file)
    if modes is not None:
        return _ringing(capture, file, channels, modes)
    return _running(capture, file, channels)


def _kind_of(file: Path) -> Kind:
    ending = file.suffix.lower()
    if ending.startswith(".s") and ending.endswith("p") and ending[2:-1].isdigit():
        return "analyser"
    if ending in (".npz", ".h5", ".hdf5") or not file.is_file():
        return "scope"
    with file.open(encoding="utf-8", errors="replace") as opened:
        heading = opened.read(2000).lower()
    if "degc" in heading or "°c" in heading or "celsius" in heading:
        return "temperature"
    return "lcr" if "freq" in heading and "time" not in heading else "scope"


def _capture(file: Path) -> Capture:
    ending = file.suffix.lower()
    if ending == ".npz":
        return read_npz(file)
    return read_hdf5(file) if ending in (".h5", ".hdf5") else read_scope_csv(file)


def _of(name: str, key: str, value: Uncertain, unit: str) -> Quantity:
    return Quantity(name, key, value.value, value.sigma, unit)


def _plain(name: str, key: str, value: float, unit: str) -> Quantity:
    return Quantity(name, key, float(value), None, unit)


def _sweep(sweep: Sweep, file: Path, kind: str, frequency: float | None) -> ReadingResult:
    if frequency is None:
        found = fit_resonance(sweep)
        quantities = (
            _of(f"{found.kind} resonance", "resonance_Hz", found.frequency, "Hz"),
            _of("Q", "q", found.q, ""),
            _of("inductance", "inductance_H", found.inductance, "H"),
            _of("capacitance", "capacitance_F", found.capacitance, "F"),
            _of("series resistance", "resistance_ohm", found.resistance, "ohm"),
        )
        return ReadingResult(str(file), kind, quantities)
    reactance = float(np.interp(frequency, sweep.frequency, sweep.impedance.imag))
    at = _plain("at frequency", "frequency_Hz", frequency, "Hz")
    if reactance < 0.0:
        bank = bank_reading(sweep, frequency)
        return ReadingResult(
            str(file),
            kind,
            (
                at,
                _of("capacitance", "capacitance_F", bank.capacitance, "F"),
                _of("series resistance", "resistance_ohm", bank.resistance, "ohm"),
                _of("loss tangent", "loss_tangent", bank.loss_tangent, ""),
            ),
        )
    coil = coil_reading(sweep, frequency)
    at_frequency = (
        at,
        _of("inductance", "inductance_H", coil.inductance, "H"),
        _of("series resistance", "resistance_ohm", coil.resistance, "ohm"),
        _of("Q", "q", coil.q, ""),
    )
    return ReadingResult(str(file), kind, at_frequency)


def _coupling(pair: TwoPort, file: Path, frequency: float | None) -> ReadingResult:
    if frequency is None:
        raise BadInput(Fault(str(file), "holds two ports; say at which frequency the coupling is wanted, e.g. 350 kHz"))
    k = coupling_factor(pair, frequency)
    at = _plain("at frequency", "frequency_Hz", frequency, "Hz")
    return ReadingResult(str(file), "analyser", (at, _plain("coupling factor", "coupling", k, "")))


def _ringing(capture: Capture, file: Path, channels: Sequence[str], modes: int) -> ReadingResult:
    found = ring_down(capture, channels[0] if channels else "1", modes)
    quantities: list[Quantity] = []
    for number, mode in enumerate(found.modes, 1):
        of, tail = (f" of ring {number}", f"_{number}") if modes > 1 else ("", "")
        quantities += [
            _of(f"frequency{of}", f"frequency{tail}_Hz", mode.frequency, "Hz"),
            _of(f"Q{of}", f"q{tail}", mode.q, ""),
            _of(f"decay rate{of}", f"decay{tail}_per_s", mode.decay, "1/s"),
        ]
    return ReadingResult(str(file), "ring-down", tuple(quantities), capture.findings + found.findings)


def _running(capture: Capture, file: Path, channels: Sequence[str]) -> ReadingResult:
    named = tuple(channels) or tuple(c.name for c in _first(capture, "V")) + tuple(c.name for c in _first(capture, "A"))
    if len(named) >= 2:
        e = electrical(capture, named[0], named[1])
        quantities = (
            _plain("frequency", "frequency_Hz", e.frequency, "Hz"),
            _plain("voltage, rms", "voltage_V", e.voltage, "V"),
            _plain("current, rms", "current_A", e.current, "A"),
            _plain("current lags by", "phase_deg", math.degrees(e.phase), "deg"),
            _of("power", "power_W", e.power, "W"),
            _plain("apparent power", "apparent_VA", e.apparent, "VA"),
        )
        return ReadingResult(str(file), "voltage and current", quantities, capture.findings + e.findings)
    return ReadingResult(str(file), "scope", tuple(_each(capture, named)), capture.findings)


def _first(capture: Capture, unit: str) -> list[Any]:
    return [c for c in capture.channels if c.unit == unit][:1]


def _each(capture: Capture, named: Sequence[str]) -> Iterator[Quantity]:
    for channel in [capture.channel(n) for n in named] or capture.channels:
        y = channel.values(0, _MOST)
        unit = channel.unit
        yield _plain(
            f"{channel.name}: frequency", f"{channel.name}_frequency_Hz", dominant_frequency(y, capture.step), "Hz"
        )
        yield _plain(f"{channel.name}: rms", f"{channel.name}_rms_{unit}".rstrip("_"), float(np.std(y)), unit)
        yield _plain(
            f"{channel.name}: largest", f"{channel.name}_peak_{unit}".rstrip("_"), float(np.abs(y).max()), unit
        )


def _temperature(trace: Temperatures, file: Path) -> ReadingResult:
    quantities: list[Quantity] = []
    findings: list[Finding] = []
    for name in trace.channels:
        clean = mask_glitches(trace, name)
        t, kelvin = clean.time[clean.good], clean.temperature[clean.good]
        rate = np.gradient(kelvin, t)
        top = int(np.argmax(kelvin))
        quantities += [
            Quantity(f"{name}: highest", f"{name}_highest_degC", float(kelvin[top]) - _ZERO, clean.noise, "degC"),
            _plain(f"{name}: highest at", f"{name}_highest_at_s", float(t[top]), "s"),
            _plain(f"{name}: steepest rise", f"{name}_rise_K_per_s", float(rate.max()), "K/s"),
            _plain(f"{name}: steepest fall", f"{name}_fall_K_per_s", float(-rate.min()), "K/s"),
        ]
        findings += clean.findings
    return ReadingResult(str(file), "temperature", tuple(quantities), tuple(findings))
