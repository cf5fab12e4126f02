"""What the store hands out and takes in: frozen records, SI, times in seconds since 1970 (UTC)."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Literal

from coilwright.errors import BadInput, Fault

State = Literal["empty", "loaded"]
MAX_NAME = 200


@dataclass(frozen=True)
class JobVersion:
    """A job file as it stood: `number` from 1, `text` word for word, `digest` its SHA-256, `figures` to look it up by."""

    job: str
    number: int
    when: float
    note: str
    text: str
    digest: str
    figures: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class JobRecord:
    """A job: its name, when it was first kept, from which file, and how many versions and trials there are."""

    name: str
    when: float
    origin: str
    versions: int
    trials: int


@dataclass(frozen=True)
class JobReading:
    """Readings taken for a job outside a trial: `readings` as of a trial, `source` the file or instrument."""

    job: str
    source: str
    readings: tuple[Mapping[str, Any], ...]
    when: float = field(default_factory=time.time)


@dataclass(frozen=True)
class TrialRecord:
    """The sheet of one run.

    `version` of the job file (None: the newest when it is added); `coil` as built; `gap_m` between part and coil;
    `setting` what the knobs stood at; `readings` tables with at least `what`, `value` and `uncertainty` (SI);
    `events` tables such as {"what": "glow seen", "time_s": 3.1}; `photo` the path of a photograph, `photo_digest` its
    SHA-256 and `photo_content` its bytes (read when the file is there); `trace` the content of the trace file; contents are
    left out of lists; `fit` what was fitted to it. `number` is given by the store.
    """

    job: str
    when: float = field(default_factory=time.time)
    version: int | None = None
    coil: str = ""
    gap_m: float | None = None
    setting: Mapping[str, Any] = field(default_factory=dict)
    readings: tuple[Mapping[str, Any], ...] = ()
    events: tuple[Mapping[str, Any], ...] = ()
    outcome: str = ""
    remark: str = ""
    photo: str = ""
    photo_digest: str = ""
    photo_content: bytes | None = field(default=None, repr=False)
    trace_name: str = ""
    trace: bytes | None = field(default=None, repr=False)
    fit: Mapping[str, Any] | None = None
    number: int | None = None


@dataclass(frozen=True)
class Fitted:
    """A value that a trial taught: `key` of the job file (as Job.with_value takes it), `value` and `uncertainty` as
    written there ("0.72 uohm m"), `written_to` the version of the job that carries it (None: not written yet)."""

    key: str
    value: str
    uncertainty: str = ""
    written_to: int | None = None
    trial: int | None = None


@dataclass(frozen=True)
class CoilReading:
    """L and R of a coil measured at `frequency` (Hz), with one sigma each, beside what the design said there."""

    frequency: float
    inductance: float
    resistance: float
    inductance_sigma: float = 0.0
    resistance_sigma: float = 0.0
    state: State = "empty"
    designed_inductance: float | None = None
    designed_resistance: float | None = None
    how: str = ""
    when: float = field(default_factory=time.time)

    @property
    def inductance_ratio(self) -> float | None:
        """Measured over designed."""
        return None if not self.designed_inductance else self.inductance / self.designed_inductance

    @property
    def resistance_ratio(self) -> float | None:
        """Measured over designed."""
        return None if not self.designed_resistance else self.resistance / self.designed_resistance


@dataclass(frozen=True)
class CoilRecord:
    """A coil as built: the job and version it was built for, its [coil] section as written, readings, oldest first."""

    name: str
    job: str | None = None
    version: int | None = None
    winding: Mapping[str, Any] = field(default_factory=dict)
    notes: str = ""
    readings: tuple[CoilReading, ...] = ()
    when: float = field(default_factory=time.time)


@dataclass(frozen=True)
class CanReading:
    """Capacitance (F) and series resistance (ohm, None when not read) of a can measured at `frequency`, one sigma each."""

    frequency: float
    capacitance: float
    capacitance_sigma: float = 0.0
    resistance: float | None = None
    resistance_sigma: float | None = None
    how: str = ""
    when: float = field(default_factory=time.time)


@dataclass(frozen=True)
class CanRecord:
    """Capacitors of one marking on the shelf: as bought (`ratings`: lists frequency, voltage, current, reactive_power in
    SI, rms) and as measured, oldest first."""

    name: str
    count: int
    capacitance: float
    tolerance: float = 0.0
    loss_tangent: float = 0.0
    price: float = 0.0
    ratings: Mapping[str, Sequence[float]] = field(default_factory=dict)
    temperature_coefficient: float = 0.0
    notes: str = ""
    readings: tuple[CanReading, ...] = ()
    when: float = field(default_factory=time.time)


@dataclass(frozen=True)
class HandOverReading:
    """One reading of a hand-over: `station` 0 is the whole machine; value, one sigma and prediction in SI."""

    what: str
    station: int
    value: float
    sigma: float
    condition: str = "cold"
    state: str = "loaded"
    predicted: float | None = None


@dataclass(frozen=True)
class HandOverRecord:
    """A hand-over of a machine: the section [machine] as written and its readings."""

    machine: str
    record: Mapping[str, Any]
    readings: tuple[HandOverReading, ...] = ()
    job: str | None = None
    version: int | None = None
    when: float = field(default_factory=time.time)


def checked_name(name: str, what: str) -> str:
    """A name fit to be kept: one line of 1 to 200 characters. Raises BadInput."""
    name = name.strip()
    if not name or len(name) > MAX_NAME or not name.isprintable():
        shown = "nothing" if not name else f'"{"".join(c if c.isprintable() else "?" for c in name[:40])}"'
        raise BadInput(Fault(what, f"must have a name of one line, 1 to {MAX_NAME} characters; received {shown}"))
    return name


def checked_text(text: str, what: str) -> str:
    """A text that every database keeps: no zero bytes, no halves of characters. Raises BadInput."""
    try:
        if "\0" in text:
            raise BadInput(Fault(what, "must be text; received a zero byte in it"))
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise BadInput(Fault(what, "must be text in UTF-8; received half a character")) from None
    return text


def plain(value: Any, what: str) -> Any:
    """A table or list as JSON keeps it, numbers of numpy made plain. Raises BadInput for what JSON does not know."""
    if isinstance(value, Mapping):
        return {checked_text(str(k), what): plain(v, f"{what}.{k}") for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v, what) for v in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist(), what)
    if isinstance(value, str):
        return checked_text(value, what)
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float) and math.isfinite(value):
        return value
    shown = value if isinstance(value, float) else type(value).__name__
    raise BadInput(Fault(what, f"must be a finite number, a text, a list or a table; received {shown}"))


def number(value: float | None, what: str, *, above: float = -math.inf) -> float | None:
    """A finite number above a bound, or None. Raises BadInput."""
    if value is None:
        return None
    if isinstance(value, bool) or not math.isfinite(value) or value <= above:
        bound = "" if above == -math.inf else f" above {above:g}"
        raise BadInput(Fault(what, f"must be a finite number{bound}; received {value}"))
    return float(value)


# Units of the fields that have one, for keys outside.
_UNITS = {
    "when": "s", "frequency": "Hz", "inductance": "H", "inductance_sigma": "H", "designed_inductance": "H",
    "resistance": "ohm", "resistance_sigma": "ohm", "designed_resistance": "ohm", "capacitance": "F",
    "capacitance_sigma": "F", "voltage": "V", "current": "A", "reactive_power": "var", "temperature_coefficient": "per_K",
}  # fmt: skip


def as_table(record: Any) -> dict[str, Any]:
    """A record as plain tables and lists, keys ending in their SI unit; the content of files is left out."""
    return {
        f"{f.name}_{_UNITS[f.name]}" if f.name in _UNITS else f.name: _outside(f.name, getattr(record, f.name))
        for f in fields(record)
        if f.name not in ("trace", "photo_content")
    }


def _outside(name: str, value: Any) -> Any:
    if name == "ratings":
        return {f"{k}_{_UNITS[k]}": list(v) for k, v in value.items()}
    if isinstance(value, tuple) and value and is_dataclass(value[0]):
        return [as_table(v) for v in value]
    return json.loads(json.dumps(value))
