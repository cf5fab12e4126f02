"""What varies: from a [[varies]] table to a distribution over values that can be put into the job."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.faults import suggestion
from coilwright.job.lookup import kind_of, numeric_keys, value_at
from coilwright.job.values import as_written
from coilwright.section.quad9 import Array
from coilwright.units import KINDS, UnitFault, parse
from coilwright.window.schema import Shape, Varies, read_varies

# How a quantity reaches the shot: a value of the job file, the setting of the source, the mains behind it, or the pose.
Role = Literal["job", "setting", "mains", "sideways", "tilt", "towards", "time"]
_SPECIAL: dict[str, tuple[Role, str, float]] = {
    "mains": ("mains", "", 1.0),
    "coil.sideways": ("sideways", "length", 0.0),
    "coil.tilt": ("tilt", "angle", 0.0),
    "coil.tilt_towards": ("towards", "angle", 0.0),
}
_SETTINGS = ("drive.coil_current", "drive.coil_voltage", "drive.coil_power")
_FAR = 4.0  # standard deviations of a normal quantity that the study covers


@dataclass(frozen=True)
class VariedQuantity:
    """A quantity with its distribution, SI. `width` is what [[varies]] calls `by`; `kind` a key of units.KINDS or "" for
    a plain number; `values` a measured sample; `per_station` whether every station has its own."""

    what: str
    role: Role
    kind: str
    nominal: float
    width: float
    shape: Shape
    per_station: bool
    values: tuple[float, ...] = ()

    @property
    def unit(self) -> str:
        return KINDS[self.kind][0] if self.kind else ""

    def ppf(self, share: ArrayLike) -> Array:
        """Values (SI) below which these shares of all draws lie; a sample is interpolated between its sorted values."""
        u = np.asarray(share, dtype=float)
        if self.shape == "normal":
            return np.asarray(self.nominal + self.width * ndtri(u))
        if self.shape == "uniform":
            return np.asarray(self.nominal + self.width * (2.0 * u - 1.0))
        if self.shape == "one-sided":
            return np.asarray(self.nominal + self.width * u)
        return np.asarray(np.quantile(np.sort(self.values), np.clip(u, 0.0, 1.0)))

    @property
    def sigma(self) -> float:
        """Standard deviation (SI)."""
        if self.shape == "sample":
            return float(np.std(self.values, ddof=1))
        return abs(self.width) / {"normal": 1.0, "uniform": math.sqrt(3.0), "one-sided": math.sqrt(12.0)}[self.shape]

    @property
    def range(self) -> tuple[float, float]:
        """Values (SI) that the study covers."""
        if self.shape == "sample":
            low, high = min(self.values), max(self.values)
            room = 0.25 * (high - low)
            return min(low - room, self.nominal), max(high + room, self.nominal)
        if self.shape == "one-sided":
            return min(self.nominal, self.nominal + self.width), max(self.nominal, self.nominal + self.width)
        reach = abs(self.width) * (_FAR if self.shape == "normal" else 1.0)
        return self.nominal - reach, self.nominal + reach

    def text(self, value: float) -> Any:
        """A value as the job file takes it."""
        return value if not self.kind else f"{value!r} {self.unit}"

    def shown(self, value: float) -> str:
        """A value for a person, in the units of the trade; a ratio in per cent."""
        if self.role in ("mains", "setting"):
            return f"{100.0 * value / self.nominal:.4g} %"
        if self.kind == "length":
            return f"{value * 1e3:.4g} mm"
        if self.kind == "temperature":
            return f"{value - 273.15:.4g} degC"
        if self.kind == "mass":
            return f"{value * 1e6:.4g} mg" if abs(value) < 1e-3 else f"{value * 1e3:.4g} g"
        if self.kind == "angle":
            return f"{math.degrees(value):.4g} deg"
        return f"{value:.4g} {self.unit}".strip()


def quantities(job: Job) -> tuple[VariedQuantity, ...]:
    """The [[varies]] of a job as distributions. Raises BadInput with a sentence per quantity that cannot be varied."""
    out: list[VariedQuantity] = []
    faults: list[Fault] = []
    for table in read_varies(job):
        where = f'{job.name}: varies "{table.what[:60]}"'
        try:
            out.append(_quantity(job, table, where))
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)
    return tuple(out)


def _quantity(job: Job, table: Varies, where: str) -> VariedQuantity:
    role, kind, nominal = _origin(job, table, where)
    station = table.each == "station"
    if table.shape == "sample":
        values = tuple(_value(text, kind, f"{where}: values") for text in table.values)
        _has_width(max(values) - min(values), table, where)
        if role == "mains":
            values = tuple(v / 100.0 if "%" in t else v for v, t in zip(values, table.values, strict=True))
        return VariedQuantity(table.what, role, kind, nominal, 0.0, "sample", station, values)
    width = _width(table.by or "", kind, nominal, f"{where}: by")
    if (table.shape != "one-sided" and width < 0.0) or width == 0.0:
        raise BadInput(Fault(f"{where}: by", f"must be a width above zero, not {as_written(table.by)}"))
    if role in ("mains", "time", "setting") and station:
        what = 'belongs to all stations at once; write each = "common"'
        raise BadInput(Fault(f"{where}: each", what))
    quantity = VariedQuantity(table.what, role, kind, nominal, width, table.shape, station)
    if role in ("job", "time"):
        _check_ends(job, quantity, where)
    return quantity


def _has_width(width: float, table: Varies, where: str) -> None:
    if width <= 0.0:
        raise BadInput(Fault(f"{where}: values", f"must differ; received {len(table.values)} equal ones"))


def _check_ends(job: Job, quantity: VariedQuantity, where: str) -> None:
    """The values at one standard deviation must be values the job file takes."""
    for value in (quantity.nominal - quantity.sigma, quantity.nominal + quantity.sigma):
        try:
            job.with_value(quantity.what, quantity.text(value))
        except BadInput as error:
            said = "; ".join(f.what for f in error.faults)
            raise BadInput(Fault(where, f"cannot be {quantity.shown(value)}, which the width allows: {said}")) from None


def _origin(job: Job, table: Varies, where: str) -> tuple[Role, str, float]:
    if table.what in _SPECIAL:
        return _SPECIAL[table.what]
    raw = table.about if table.about is not None else value_at(job.document, table.what)
    if raw is None:
        known = [*_SPECIAL, *numeric_keys(job.document)]
        what = "is not a quantity this job file states (to vary what the file leaves out, give its value with about)"
        raise BadInput(Fault(where, f"{what}; {suggestion(table.what, known)}"))
    kind = kind_of(raw, where)
    role: Role = "setting" if table.what in _SETTINGS else "time" if table.what == "drive.on_time" else "job"
    if role == "time" and job.drive.step:
        raise BadInput(Fault(where, "goes with a single on_time, not with steps; vary the steps' own times"))
    nominal = float(raw) if not kind else parse(raw, kind)
    return role, kind, nominal


def _value(text: str, kind: str, where: str) -> float:
    try:
        return float(text.replace("%", "")) if not kind else parse(text, kind)
    except (UnitFault, ValueError) as error:
        said = str(error) if isinstance(error, UnitFault) else f"{as_written(text)} is not a number"
        raise BadInput(Fault(where, said)) from None


def _width(text: str, kind: str, nominal: float, where: str) -> float:
    if text.strip().endswith("%"):
        if nominal == 0.0:
            raise BadInput(
                Fault(where, f"cannot be {as_written(text)} of a nominal value of zero; give it with a unit")
            )
        base = nominal - 0.0
        return _value(text.strip().removesuffix("%").strip(), "", where) / 100.0 * abs(base)
    return _value(text, "temperature_difference" if kind == "temperature" else kind, where)


def named(all_of_them: Sequence[VariedQuantity], what: str) -> VariedQuantity:
    """The quantity of that name; BadInput with the known ones."""
    for q in all_of_them:
        if q.what == what:
            return q
    raise BadInput(
        Fault(f'"{what[:60]}"', f"does not vary in this job; {suggestion(what, [q.what for q in all_of_them])}")
    )
