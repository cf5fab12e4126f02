"""Everything a build pack is written from: the job and finished results. Whoever writes paper computes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coilwright.field.look import CheckResult
from coilwright.field.report import FieldReport
from coilwright.heating.electrical import TankReport
from coilwright.heating.hand_sheet import QuickResult
from coilwright.heating.result import ShotResult
from coilwright.job import Job
from coilwright.job.price import PriceSheet
from coilwright.job.schema_documents import Documents
from coilwright.job.schema_workshop import Workshop
from coilwright.line.hand_over import HandOverSheet
from coilwright.safety.cautions import Caution
from coilwright.safety.exposure import ExposureDistance
from coilwright.window.result import WindowResult


@dataclass(frozen=True)
class TitleBlock:
    """What stands in the corner of every sheet. `digest` names what the job says, without [machine] and
    [documents]."""

    title: str
    number: str
    revision: str
    date: str
    customer: str
    shop: str
    drawn_by: str
    checked_by: str
    file: str
    digest: str
    version: str

    @property
    def identity(self) -> str:
        """What the QR code says: the title and the digest."""
        return f"coilwright {self.title} {self.digest}"


@dataclass(frozen=True)
class Cycle:
    """From shot to shot: `shot` s, `handling` s or None when nobody said, parts at once; `wanted` parts per second or None."""

    shot: float
    handling: float | None
    stations: int
    wanted: float | None

    @property
    def per_second(self) -> float | None:
        return None if self.handling is None else self.stations / (self.shot + self.handling)

    @property
    def enough(self) -> bool | None:
        """Whether the wanted rate is met; None when either is not known."""
        rate = self.per_second
        return None if rate is None or self.wanted is None else rate >= self.wanted


@dataclass(frozen=True)
class AcceptanceTest:
    """A row of `parts` good ones shows, with `confidence`, that fewer than `proven` are bad (`allowed` was asked for);
    `chance_wrong` that a batch with `allowed` bad parts passes, `chance` that the forecast yield does, None without one."""

    allowed: float
    confidence: float
    parts: int
    proven: float
    chance_wrong: float
    chance: float | None


@dataclass(frozen=True, eq=False)
class PackContents:
    """The job, its results and what is printed about it. None where the job gives no such result; `missing` then says
    why, by the name of the field."""

    job: Job
    title: TitleBlock
    documents: Documents
    workshop: Workshop
    check: CheckResult
    field: FieldReport
    shot: ShotResult
    quick: QuickResult | None
    tank: TankReport | None
    window: WindowResult | None
    machine: HandOverSheet | None
    price: PriceSheet | None
    cautions: tuple[Caution, ...]
    distances: tuple[ExposureDistance, ...]
    cycle: Cycle
    test: AcceptanceTest
    missing: Mapping[str, str]

    @property
    def passed(self) -> bool:
        """Whether the computed shot meets the acceptance of the job."""
        return self.shot.passed
