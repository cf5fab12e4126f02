"""When to look again: a reading is taken at least twice while it wanders from healthy to amber."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source
from coilwright.job import Job
from coilwright.job.schema_documents import read_documents
from coilwright.line.limits import Limit
from coilwright.line.machine import READINGS, amount

_TWICE = 2.0  # looks while a reading wanders to amber (common practice, no source)


@dataclass(frozen=True)
class Drift:
    """`rate`: change of a reading per hour of running, ln ratio (m for setback)."""

    what: str
    rate: float
    source: Source


@dataclass(frozen=True)
class Upkeep:
    """Look at `what` every `hours` of running at the latest, in practice at the next shorter usual `turn` ("" when even
    the shortest is too long). `room`: what it may wander to amber (ln ratio; m for setback), `rate` how fast it does;
    `seen`: whether the reading shows the change before parts are lost."""

    what: str
    asked: str
    driven_by: str
    room: float
    rate: float
    hours: float
    turn: str
    turn_hours: float
    seen: bool
    source: Source

    @property
    def relative(self) -> bool:
        """Whether room and rate are ratios rather than lengths."""
        return READINGS[self.what].ratio

    @property
    def room_share(self) -> float:
        """The room as a share of the reading."""
        return abs(math.expm1(self.room))

    @property
    def rate_per_1000(self) -> float:
        """What it wanders in a thousand hours of running: a share, or m."""
        return 1000.0 * self.rate

    def to_dict(self) -> dict[str, Any]:
        return {"reading": self.what, "every_h": self.hours, "turn": self.turn, "driven_by": self.driven_by}


def upkeep(found: tuple[Limit, ...], job: Job) -> tuple[Upkeep, ...]:
    """For every kind of reading with limits: the tightest of its stations and sides, and when to look. Shortest first.

    hours = room to amber / rate / 2.
    """
    tightest: dict[str, Limit] = {}
    for limit in found:
        known = tightest.get(limit.what)
        if known is None or abs(limit.amber) < abs(known.amber):
            tightest[limit.what] = limit
    rates = drifts(job)
    out = [_of(limit, rates[what]) for what, limit in tightest.items() if what in rates]
    return tuple(sorted(out, key=lambda u: (not u.seen, u.hours)))


def _of(limit: Limit, drift: Drift) -> Upkeep:
    hours = abs(limit.amber) / drift.rate / _TWICE
    turn, turn_hours = next(((n, h) for n, h in _turns() if h <= hours), ("", 0.0))
    return Upkeep(limit.what, READINGS[limit.what].asked, limit.driven_by, limit.amber, drift.rate, hours, turn,
                  turn_hours, limit.seen, drift.source)  # fmt: skip


def drifts(job: Job) -> dict[str, Drift]:
    """How fast each reading wanders: the shop's own figures before the usual ones. Raises BadInput."""
    usual = _data()
    source = Source(usual["source"], "memory")
    out = {d["what"]: Drift(d["what"], _rate(d, "upkeep.toml"), source) for d in usual["drift"]}
    own = Source(f"{job.name}: documents.drift", "user")
    for n, d in enumerate(read_documents(job).drift, 1):
        where = f"{job.name}: documents.drift {n}"
        if d.what not in READINGS:
            raise BadInput(Fault(f"{where}.what", f'must be one of {", ".join(READINGS)}; received "{d.what[:40]}"'))
        out[d.what] = Drift(d.what, _rate(d.model_dump(), where), own)
    return out


def _rate(d: Mapping[str, Any], where: str) -> float:
    """Per hour, ln ratio or m."""
    by = d["by"]
    if not READINGS[d["what"]].ratio:
        value = amount(by, d["what"], where)
    elif isinstance(by, bool) or not isinstance(by, int | float):
        raise BadInput(Fault(f"{where}.by", f'{d["what"]} wanders by a share; write e.g. by = 0.01, not "{by}"'))
    else:
        value = math.log1p(float(by))
    if not value > 0.0:
        raise BadInput(Fault(f"{where}.by", f"must be greater than zero; received {by}"))
    return value / float(d["hours"])


def _turns() -> list[tuple[str, float]]:
    return [(t["name"], float(t["hours"])) for t in _data()["turn"]]


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads((files("coilwright.line") / "data" / "upkeep.toml").read_text(encoding="utf-8"))
