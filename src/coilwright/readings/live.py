"""Instruments on the bench over PyVISA (extra `instruments`): who answers, one reading of an LCR meter, one capture.

Everything an instrument says goes through `Line`, three verbs that a test or another bus can stand in for. What goes wrong
on the way is one sentence with the address in it.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from coilwright.errors import BadInput, CoilwrightError, Fault, MissingExtra
from coilwright.readings.live_driver import LcrDriver, ScopeDriver
from coilwright.readings.records import Capture, Channel

_SAMPLES: Mapping[str, str] = {
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "real32": "f4", "real64": "f8",
}  # fmt: skip
_LONGEST = 2_000_000_000  # bytes of a block: more is a broken length
_HEADS = {
    "Ls": "Ls [H]", "Rs": "Rs [ohm]", "Lp": "Lp [H]", "Rp": "Rp [ohm]", "Cs": "Cs [F]", "Cp": "Cp [F]", "Q": "Q", "D": "D",
    "Z": "Z [ohm]", "phase": "phase [deg]", "X": "X [ohm]",
}  # fmt: skip
# IEEE 488.2 and SCPI instruments answer this instead of a number that they do not have (SCPI-99, 7.2.1.4 and 7.2.1.5).
_NOT_A_NUMBER, _INFINITE = 9.91e37, 9.9e37


class Line(Protocol):
    """One open instrument. Errors of the bus may be any exception; `Instrument` turns them into sentences."""

    def write(self, text: str) -> None: ...
    def read_line(self) -> str: ...
    def read_exactly(self, count: int) -> bytes: ...


@dataclass(frozen=True)
class Answering:
    """An instrument found: its address, and what it says of itself ("" when it does not say)."""

    address: str
    says: str


@dataclass(frozen=True)
class LcrReading:
    """One reading: frequency (Hz) and the quantities by name (SI, phase in degrees)."""

    frequency: float
    values: Mapping[str, float]
    says: str


class Instrument:
    """Questions and answers of one instrument over a Line. Raises CoilwrightError with one sentence."""

    def __init__(self, line: Line, address: str) -> None:
        self._line, self.address = line, address

    def tell(self, command: str) -> None:
        self._guard(lambda: self._line.write(command), f"does not take {command}")

    def ask(self, query: str) -> str:
        """The answer as one line of text."""
        self.tell(query)
        return str(self._guard(self._line.read_line, f"does not answer {query}")).strip()

    def number(self, query: str) -> float:
        values = self.numbers(query)
        if len(values) != 1:
            raise CoilwrightError(f"{self.address}: {query} must bring one number, it brought {len(values)}")
        return values[0]

    def numbers(self, query: str) -> list[float]:
        """The answer as numbers with commas between them."""
        text = self.ask(query)
        try:
            values = [float(part) for part in text.split(",")]
        except ValueError:
            what = f'answered "{text[:40]}" to {query}, which is no number; is it the right driver?'
            raise CoilwrightError(f"{self.address}: {what}") from None
        wrong = [v for v in values if not math.isfinite(v) or abs(v) in (_NOT_A_NUMBER, _INFINITE)]
        if wrong:
            what = f"answered {query} with its sign for no reading; check range, connection and trigger on its panel"
            raise CoilwrightError(f"{self.address}: {what}")
        return values

    def block(self, query: str) -> bytes:
        """The data of a definite-length block (IEEE 488.2, 8.7.9): #<n><n digits of length><data>, then the line end."""
        self.tell(query)
        head = self._exactly(2, query)
        if head[:1] != b"#" or not head[1:].isdigit() or head == b"#0":
            what = f'answered {query} with "{_shown(head)}" where a block #<digits><length> must begin'
            raise CoilwrightError(f"{self.address}: {what}; is sample in the driver right?")
        digits = self._exactly(int(head[1:]), query)
        if not digits.isdigit() or int(digits) > _LONGEST:
            raise CoilwrightError(
                f'{self.address}: the length of its block reads "{_shown(digits)}", which is no length'
            )
        data = self._exactly(int(digits), query)
        self._guard(self._line.read_line, f"does not end its block after {query}")
        return data

    def _exactly(self, count: int, query: str) -> bytes:
        data: bytes = self._guard(
            lambda: self._line.read_exactly(count),
            f"stopped in the middle of its block after {query}: {count} bytes wanted",
        )
        if len(data) != count:
            what = f"sent {len(data)} of {count} bytes of its block after {query}; the connection broke or the time is too short"
            raise CoilwrightError(f"{self.address}: {what}")
        return data

    def _guard(self, work: Callable[[], Any], said: str) -> Any:
        try:
            return work()
        except CoilwrightError:
            raise
        except Exception as error:  # every bus has exceptions of its own
            short = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
            what = f"{said} ({short}); is it on, connected, and not held by another program?"
            raise CoilwrightError(f"{self.address}: {what}") from None

    def prepare(self, driver: LcrDriver | ScopeDriver) -> str:
        """Who it is, after the commands that set it up."""
        says = self.ask("*IDN?")
        for command in driver.prepare:
            self.tell(command)
        return says

    def check(self, driver: LcrDriver | ScopeDriver) -> None:
        """Raise what the instrument itself complains of."""
        if driver.error:
            complaint = self.ask(driver.error)
            if complaint.split(",")[0].strip().lstrip("+-0") != "":
                what = f'complains "{complaint[:80]}"; change the commands in a driver file of your own'
                raise CoilwrightError(f"{self.address}: {what}")


def _shown(data: bytes) -> str:
    return data[:20].decode("ascii", errors="replace")


def read_meter(instrument: Instrument, driver: LcrDriver, frequency: float | None = None) -> LcrReading:
    """One reading of an LCR meter. `frequency` (Hz) is needed when the driver has no query for it.

    Raises BadInput when no frequency is to be had, CoilwrightError when the instrument does not play along.
    """
    says = instrument.prepare(driver)
    if driver.frequency:
        frequency = instrument.number(driver.frequency)
    values = instrument.numbers(driver.measure)
    if len(values) < len(driver.answer):
        what = f"answered {driver.measure} with {len(values)} numbers, the driver expects {', '.join(driver.answer)}"
        raise CoilwrightError(f"{instrument.address}: {what}")
    found: dict[str, float] = {n: v for n, v in zip(driver.answer, values, strict=False) if n != "-"}
    frequency = found.pop("f", frequency)
    instrument.check(driver)
    if frequency is None or not frequency > 0.0:
        raise BadInput(
            Fault(instrument.address, 'the driver does not ask for the frequency; say --frequency "100 kHz"')
        )
    return LcrReading(frequency, found, says)


def capture(instrument: Instrument, driver: ScopeDriver, channels: tuple[str, ...] = ()) -> Capture:
    """What stands on a scope's screen, all channels of the driver or those named. Raises CoilwrightError."""
    instrument.prepare(driver)
    step = instrument.number(driver.step)
    if not step > 0.0:
        raise CoilwrightError(f"{instrument.address}: the time between samples must be above zero, it says {step:g} s")
    start = instrument.number(driver.start) if driver.start else 0.0
    taken = tuple(_channel(instrument, driver, name) for name in channels or driver.channels)
    instrument.check(driver)
    lengths = {len(c) for c in taken}
    if len(lengths) > 1 or lengths == {0}:
        counts = ", ".join(f"{c.name}: {len(c)}" for c in taken)
        raise CoilwrightError(f"{instrument.address}: channels must hold equally many samples, they hold {counts}")
    return Capture(taken, step, start, instrument.address)


def _channel(instrument: Instrument, driver: ScopeDriver, name: str) -> Channel:
    query = driver.data.replace("{channel}", name)
    if driver.sample == "text":
        samples: np.ndarray[Any, Any] = np.array(instrument.numbers(query))
    else:
        kind = np.dtype(_SAMPLES[driver.sample]).newbyteorder(">" if driver.order == "big" else "<")
        data = instrument.block(query)
        if len(data) % kind.itemsize:
            what = (
                f"sent {len(data)} bytes, which is no whole number of {driver.sample} samples; see sample in the driver"
            )
            raise CoilwrightError(f"{instrument.address}: {what}")
        samples = np.frombuffer(data, kind).astype(kind.newbyteorder("="))
        if samples.dtype.kind == "f" and not np.all(np.isfinite(samples)):
            what = (
                f'sent samples that are no numbers; order = "{driver.order}" in the driver may be the wrong way round'
            )
            raise CoilwrightError(f"{instrument.address}: {what}")
    scale, offset = (
        value if isinstance(value, float) else instrument.number(value.replace("{channel}", name))
        for value in (driver.scale, driver.offset)
    )
    return Channel(name, samples, driver.unit, scale, offset)


# saving in the forms that `coilwright reading` reads ------------------------------------------------------------------


def save_meter(reading: LcrReading, path: Path) -> Path:
    """One row with its heads; a file that is there stays as it is (BadInput)."""
    heads = ["f [Hz]", *(_HEADS[n] for n in reading.values)]
    row = [f"{v:.9g}" for v in (reading.frequency, *reading.values.values())]
    _new(path).write_text(f"{','.join(heads)}\n{','.join(row)}\n", encoding="utf-8")
    return path


def save_capture(record: Capture, path: Path) -> Path:
    """Samples as they came with their scales, as NPZ; a file that is there stays as it is (BadInput)."""
    told: dict[str, Any] = {"step": record.step, "start": record.start}
    for c in record.channels:
        told |= {c.name: c.samples, f"{c.name}_scale": c.scale, f"{c.name}_offset": c.offset, f"{c.name}_unit": c.unit}
    with _new(path).open("wb") as file:
        np.savez(file, **told)
    return path


def _new(path: Path) -> Path:
    if path.exists():
        raise BadInput(Fault(str(path), "is there already and is not written over; choose another name"))
    return path


# PyVISA ---------------------------------------------------------------------------------------------------------------


class _Visa:
    """A Line over PyVISA."""

    def __init__(self, resource: Any) -> None:
        self._resource = resource

    def write(self, text: str) -> None:
        self._resource.write(text)

    def read_line(self) -> str:
        return str(self._resource.read())

    def read_exactly(self, count: int) -> bytes:
        return bytes(self._resource.read_bytes(count, break_on_termchar=False)) if count else b""


@contextmanager
def _manager(backend: str) -> Iterator[Any]:
    try:
        import pyvisa
    except ImportError:
        raise MissingExtra("pyvisa", "instruments", "reading an instrument") from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about optional buses that this machine does not have
            manager = pyvisa.ResourceManager(backend)
    except Exception as error:  # no backend, or one that cannot be loaded
        short = str(error).splitlines()[0][:160]
        raise CoilwrightError(f'PyVISA cannot be used with "{backend or "its default library"}": {short}') from None
    try:
        yield manager
    finally:
        manager.close()


def instruments(backend: str = "") -> tuple[Answering, ...]:
    """Who answers on the buses that PyVISA sees. `backend` as PyVISA names it ("@py", "file.yaml@sim"). Raises MissingExtra."""
    out = []
    with _manager(backend) as manager:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            addresses = manager.list_resources()
        for address in addresses:
            try:
                with _open(manager, address, 1.0) as line:
                    out.append(Answering(address, Instrument(line, address).ask("*IDN?")))
            except CoilwrightError:
                out.append(Answering(address, ""))
    return tuple(out)


@contextmanager
def connected(address: str, timeout: float = 5.0, backend: str = "") -> Iterator[Instrument]:
    """An open instrument at a VISA address, closed at the end. Raises CoilwrightError, MissingExtra."""
    with _manager(backend) as manager, _open(manager, address, timeout) as line:
        yield Instrument(line, address)


@contextmanager
def _open(manager: Any, address: str, timeout: float) -> Iterator[Line]:
    try:
        resource = manager.open_resource(address, read_termination="\n", write_termination="\n")
        resource.timeout = 1000.0 * timeout
    except Exception as error:  # of PyVISA or of the bus below it
        short = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        what = f"cannot be opened ({short}); coilwright reading --instruments lists who answers"
        raise CoilwrightError(f"{address}: {what}") from None
    try:
        yield _Visa(resource)
    finally:
        resource.close()
