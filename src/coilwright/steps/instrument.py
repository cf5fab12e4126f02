"""A reading taken from an instrument on the bench, saved, read like any file, and put to a job's record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from coilwright.errors import BadInput, Fault
from coilwright.readings.live import capture, connected, read_meter, save_capture, save_meter
from coilwright.readings.live_driver import LcrDriver, driver
from coilwright.steps.reading import ReadingResult, reading
from coilwright.store.opening import Store
from coilwright.store.records import JobReading


@dataclass(frozen=True)
class LiveOptions:
    """`driver` a built-in name or a file, `save` where to (default: the next free name), `backend` of PyVISA."""

    driver: str | None = None
    save: Path | None = None
    backend: str = ""
    frequency: float | None = None
    channels: Sequence[str] = ()
    modes: int | None = None


def live_reading(address: str, kind: str, options: LiveOptions | None = None) -> ReadingResult:
    """Ask the instrument at `address`, keep the raw answer in a file, and say what it holds.

    `kind` is "lcr" or "scope". Raises BadInput, CoilwrightError when the instrument does not play along, MissingExtra.
    """
    o = options or LiveOptions()
    how = driver(kind, o.driver)
    target = o.save or _free(kind, "csv" if kind == "lcr" else "npz")
    if target.exists():
        raise BadInput(Fault(str(target), "is there already and is not written over; choose another name"))
    with connected(address, how.timeout, o.backend) as instrument:
        if isinstance(how, LcrDriver):
            met = read_meter(instrument, how, o.frequency)
            save_meter(met, target)
            return reading(target, kind="lcr", frequency=met.frequency)
        save_capture(capture(instrument, how, tuple(o.channels)), target)
    return reading(target, kind="scope", modes=o.modes)


def _free(kind: str, ending: str) -> Path:
    """The first of lcr-1.csv, lcr-2.csv ... that is not there yet."""
    number = 1
    while (found := Path(f"{kind}-{number}.{ending}")).exists():
        number += 1
    return found


def record_reading(result: ReadingResult, store: Store, job: str) -> None:
    """Put what a file or an instrument said to the record of a kept job. Raises BadInput for a job that is not kept."""
    rows = tuple({"what": q.key, "value": q.value, "uncertainty": q.sigma} for q in result.quantities)
    store.add_reading(JobReading(job, f"{result.kind}: {result.file}", rows))
