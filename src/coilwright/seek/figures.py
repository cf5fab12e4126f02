"""The figures a search can make better or hold: names, units, which way is better, what they cost to find."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.job.values import as_written
from coilwright.units import ZERO_CELSIUS, UnitFault, parse

# What must be computed for a figure: the cold field, one shot, or a row of shots that looks for the edge of the acceptance.
Cost = Literal["field", "shot", "edge"]
Need = Literal["source", "bystander", "timed", "stock", "centre", "accept", "ceiling"]


@dataclass(frozen=True)
class Figure:
    """`key`: name in JSON, ending in its SI unit; `kind`: key of units.KINDS, "" for a share; `shown` unit and `scale`
    (shown = SI * scale) for people; `more`: the larger the better; `needs` what the job must have."""

    name: str
    key: str
    kind: str
    unit: str
    scale: float
    more: bool
    cost: Cost
    said: str
    needs: tuple[Need, ...] = ()

    @property
    def sign(self) -> float:
        """What makes less better."""
        return -1.0 if self.more else 1.0

    def in_json(self, value: float) -> float:
        """As it stands in JSON: SI, temperatures in degC."""
        return value - ZERO_CELSIUS if self.kind == "temperature" else value

    def in_unit(self, value: float) -> float:
        """As a person reads it."""
        return (value - ZERO_CELSIUS if self.kind == "temperature" else value) * self.scale

    def shown(self, value: float) -> str:
        return f"{self.in_unit(value):.4g} {self.unit}".strip()

    def read(self, bound: object, where: str) -> float:
        """A bound as written (text with a unit, a number or per cent for a share) in SI. Raises BadInput."""
        try:
            if self.kind:
                return parse(bound, self.kind)
            if isinstance(bound, str) and bound.strip().endswith("%"):
                return float(bound.strip()[:-1]) / 100.0
            return float(bound)  # type: ignore[arg-type]
        except UnitFault as fault:
            raise BadInput(Fault(where, str(fault))) from None
        except (TypeError, ValueError):
            raise BadInput(
                Fault(where, f'must be a number or per cent such as "20 %", not {as_written(bound)}')
            ) from None


_ALL: Final = (
    Figure("power margin", "power_margin", "", "%", 100.0, True, "edge",
           "share of the part's power that may be lost before an acceptance fails", ("accept",)),
    Figure("setback", "setback_m", "length", "mm", 1e3, True, "edge",
           "how far the coil may be set back along its axis before an acceptance fails", ("accept", "centre")),
    Figure("setback loss", "setback_loss_per_m", "", "%/mm", 0.1, False, "field",
           "share of the part's power, cold, that is lost by the first millimetre of setback", ("centre",)),
    Figure("coil current", "coil_current_A", "current", "A", 1.0, False, "shot", "largest rms current of the coil"),
    Figure("coil voltage", "coil_voltage_V", "voltage", "V", 1.0, False, "shot", "largest rms voltage at the coil"),
    Figure("coil kVA", "coil_apparent_power_VA", "apparent_power", "kVA", 1e-3, False, "shot",
           "largest apparent power of the coil"),
    Figure("source current", "source_current_A", "current", "A", 1.0, False, "shot",
           "largest rms current of the source", ("source",)),
    Figure("source kVA", "source_apparent_power_VA", "apparent_power", "kVA", 1e-3, False, "shot",
           "largest apparent power of the source", ("source",)),
    Figure("efficiency", "efficiency", "", "%", 100.0, True, "shot",
           "energy into the work over energy supplied: by the source if there is one, else at the coil"),
    Figure("bystander temperature", "bystander_temperature_degC", "temperature", "degC", 1.0, False, "shot",
           "hottest place of any bystander through the shot", ("bystander",)),
    Figure("headroom", "headroom_K", "temperature_difference", "K", 1.0, True, "shot",
           "least that is in hand below what any body must stay below", ("ceiling",)),
    Figure("time", "time_s", "time", "s", 1.0, False, "shot",
           "until everything asked is reached and fired", ("timed",)),
    Figure("capacitor use", "capacitor_use", "", "%", 100.0, False, "shot",
           "most used rating of any capacitor, as a share of what the shop allows", ("source",)),
    Figure("bank price", "bank_price", "", "", 1.0, False, "field",
           "price of the tank's capacitors by the stock list", ("source", "stock")),
)  # fmt: skip
FIGURES: Final[dict[str, Figure]] = {f.name: f for f in _ALL}

_MISSING: Final[dict[Need, str]] = {
    "source": "needs a [source] with its [tank]",
    "bystander": 'needs a body with role = "bystander"',
    "timed": "needs an [[accept]] with reaches or charge_fired",
    "ceiling": "needs an [[accept]] with stays_below",
    "accept": "needs an [[accept]] that can fail",
    "stock": 'needs [tank] stock = "shelf.csv"',
    "centre": "needs a coil with a centre (helix or spiral)",
}


def check_needs(job: Job, figure: Figure, where: str) -> list[Fault]:
    """What the job lacks for a figure, one sentence each."""
    has: dict[Need, bool] = {
        "source": "source" in job.later,
        "bystander": any(b.role == "bystander" for b in job.bodies),
        "timed": any(a.kind in ("reaches", "charge_fired") for a in job.accept),
        "ceiling": any(a.kind == "stays_below" for a in job.accept),
        "accept": bool(job.accept),
        "stock": isinstance(job.later.get("tank"), dict) and "stock" in job.later["tank"],
        "centre": hasattr(job.coil, "centre"),
    }
    return [
        Fault(where, f'"{figure.name}" {_MISSING[n]}; add it or leave the figure out')
        for n in figure.needs
        if not has[n]
    ]


@dataclass(frozen=True)
class Requirement:
    """A figure with its bounds (SI); None where there is none."""

    figure: Figure
    least: float | None
    most: float | None

    @property
    def name(self) -> str:
        parts = []
        if self.least is not None:
            parts.append(f"at least {self.figure.shown(self.least)}")
        if self.most is not None:
            parts.append(f"at most {self.figure.shown(self.most)}")
        return f"{self.figure.name} {' and '.join(parts)}"

    def miss(self, value: float) -> float:
        """By how much a value misses, as a share of the bound (of 1 K for temperatures near zero); 0 when it holds."""
        out = 0.0
        if self.least is not None:
            out = max(out, (self.least - value) / max(abs(self.least), 1e-9))
        if self.most is not None:
            out = max(out, (value - self.most) / max(abs(self.most), 1e-9))
        return out
