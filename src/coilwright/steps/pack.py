"""The build pack: every verb run once for one job, its results gathered, paper written from them."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from coilwright.beside import processors
from coilwright.collector import held_still
from coilwright.errors import BadInput
from coilwright.field.look import CheckResult
from coilwright.heating.electrical import TankReport
from coilwright.heating.hand_sheet import QuickResult
from coilwright.heating.hazards import facts_of
from coilwright.heating.result import ShotResult
from coilwright.job import Job
from coilwright.job.price import PriceSheet, price, read_rates
from coilwright.job.schema_documents import read_documents
from coilwright.job.schema_workshop import read_workshop
from coilwright.line.form import read_form
from coilwright.line.hand_over import HandOverSheet, hand_over_sheet
from coilwright.line.machine import baseline, read_machine
from coilwright.line.posterior import Board
from coilwright.pack.build import PackResult, write_pack
from coilwright.pack.contents import AcceptanceTest, Cycle, PackContents, TitleBlock
from coilwright.pack.pack_pictures import Early
from coilwright.safety.cautions import cautions
from coilwright.steps.check import check
from coilwright.steps.pack_solved import Solved, solved
from coilwright.steps.quick import quick
from coilwright.steps.window import window
from coilwright.window.effort import Effort
from coilwright.window.result import WindowResult
from coilwright.window.yields import proven_share, sample_for

Report = Callable[[float], None]
Priced = Callable[[Mapping[str, float]], PriceSheet]
# Enough for a forecast on paper; `coilwright window` builds on more. The bytes do not hang on the workers, of which more than
# these would mostly wait.
_SHOTS = 20_000
_EFFORT = Effort(runs=0, fresh=4, refine=4, reshoot=0, workers=min(max(processors(), 2), 6), rough=True)
_CONFIDENCE = 0.95
_DIGEST = 12  # hexadecimal digits printed: two jobs of one shop meet by chance once in 10^14


@dataclass(frozen=True)
class PackWishes:
    """What is asked of a pack besides the job: `date` and `language` in place of the job's, `rates` a file of prices,
    `limits` whether readings get limits (some seconds of shots), `effort` of the window."""

    date: str | None = None
    language: str | None = None
    rates: Path | None = None
    limits: bool = True
    effort: Effort = _EFFORT
    shots: int = _SHOTS


@held_still()
def pack(
    job: Job,
    folder: Path | str,
    *,
    date: str | None = None,
    language: str | None = None,
    rates: Path | str | None = None,
    limits: bool = True,
    effort: Effort | None = None,
    shots: int = _SHOTS,
    report: Report | None = None,
) -> PackResult:
    """Write the build pack of a job into `folder` (made when it is not there): one PDF and its parts as files.

    `date` ("2025-03-31") and `language` of the operator's card stand in for the job's own; `rates` is a file of prices;
    without `limits` no reading gets limits, which saves some seconds of shots; `effort` and `shots` are the window's.
    A job that fails its acceptance is packed too, and says so on its first page. The same job gives the same bytes.
    Raises BadInput, NotConverged.
    """
    wishes = PackWishes(date, language, None if rates is None else Path(rates), limits, effort or _EFFORT, shots)
    with _gathered(job, wishes, report) as (found, early):
        target = Path(folder)
        target.mkdir(parents=True, exist_ok=True)
        written = write_pack(found, target, wishes.effort.workers, early)
    if report is not None:
        report(1.0)
    return written


def with_record(job: Job, form: Path | str) -> Job:
    """The job with the readings of a filled hand-over form as its [machine]. Raises BadInput."""
    record = read_form(Path(form), digest(job))
    changed = job.with_value("machine", {**job.to_dict().get("machine", {}), **record})
    read_machine(changed)
    baseline(changed)
    return changed


def contents(job: Job, wishes: PackWishes | None = None, report: Report | None = None) -> PackContents:
    """Run the verbs and gather their results. Raises BadInput, NotConverged; what a job cannot give is named in `missing`."""
    with _gathered(job, wishes or PackWishes(), report) as (found, _):
        return found


@contextmanager
def _gathered(job: Job, wishes: PackWishes, report: Report | None) -> Iterator[tuple[PackContents, Early]]:
    """The contents of a pack, and the pictures that are drawn beside it meanwhile."""
    told = report or (lambda share: None)
    for key, value in (("date", wishes.date), ("language", wishes.language)):
        if value is not None:
            job = job.with_value(f"documents.{key}", value)
    priced = None if wishes.rates is None else partial(price, read_rates(wishes.rates), where=wishes.rates.name)
    read_documents(job)
    baseline(job)  # what is faulty is told before anything is solved
    looked = check(job)
    with solved(job, looked, wishes.limits, wishes.effort.workers, lambda x: told(0.5 * x)) as solution:
        told(0.5)
        missing: dict[str, str] = {}
        seen = _window(job, wishes, missing, lambda x: told(0.5 + 0.4 * x))
        told(0.9)
        found, early = solution()
        yield _contents(job, looked, found, seen, priced, missing), early


def _contents(
    job: Job, looked: CheckResult, found: Solved, seen: WindowResult | None, priced: Priced | None, missing: dict[str, str]
) -> PackContents:
    documents, tank = read_documents(job), found.tank
    machine = _machine(found.board, job, looked, tank, seen, missing)
    facts = facts_of(found.shot.model.scene.job, found.shot, found.cold.result, found.cold.result.frequency)
    sheet = None if priced is None else priced(counted(job, found.shot, tank))
    if sheet is None:
        missing["price"] = "no file of rates was given (--rates FILE)"
    if tank is None:
        missing["tank"] = "the job has no [source] and [tank]"
    elif tank.cooling is None:
        missing["cooling"] = "the job has no [cooling]"
    return PackContents(
        job, title_block(job), documents, read_workshop(job), looked, found.cold, found.shot, _quick(job, missing), tank,
        seen, machine, sheet, tuple(cautions(facts)) if tank is None else tank.cautions, facts.distances,
        Cycle(job.drive.shot_time or 0.0, documents.handling, _stations(job), documents.rate),
        acceptance_test(documents.allowed_bad, seen), missing,
    )  # fmt: skip


def _quick(job: Job, missing: dict[str, str]) -> QuickResult | None:
    try:
        return quick(job)
    except BadInput as fault:
        missing["quick"] = str(fault)
        return None


def _window(job: Job, wishes: PackWishes, missing: dict[str, str], report: Report) -> WindowResult | None:
    if "varies" not in job.later:
        missing["window"] = "the job does not say what varies ([[varies]])"
        return None
    return window(job, shots=wishes.shots, effort=wishes.effort, observe=False, report=report)


def _machine(board: Board | str, job: Job, looked: CheckResult, tank: TankReport | None, seen: WindowResult | None,
             missing: dict[str, str]) -> HandOverSheet | None:  # fmt: skip
    if isinstance(board, str):
        missing["machine"] = board
        return None
    return hand_over_sheet(board, job, looked, tank, () if seen is None else seen.stations.start_times)


def acceptance_test(allowed: float, seen: WindowResult | None) -> AcceptanceTest:
    """The shortest row of good parts that rules out `allowed` bad ones, with what it proves."""
    parts = sample_for(allowed, _CONFIDENCE)
    chance = None if seen is None else seen.forecast.parts.share**parts
    proven = proven_share(parts, confidence=_CONFIDENCE)
    return AcceptanceTest(allowed, _CONFIDENCE, parts, proven, (1.0 - allowed) ** parts, chance)


def title_block(job: Job) -> TitleBlock:
    """The corner of every sheet; no clock is read: a job without a date stays undated."""
    import coilwright

    d = read_documents(job)
    return TitleBlock(job.title, d.number, d.revision, d.date, d.customer, d.shop, d.drawn_by, d.checked_by, job.name,
                      digest(job), coilwright.__version__)  # fmt: skip


def digest(job: Job) -> str:
    """Names what the job says, wherever its file stands: the hand-over record and what only stands on
    paper may change without changing it."""
    kept = {k: v for k, v in job.to_dict().items() if k not in ("machine", "documents")}
    text = json.dumps(kept, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:_DIGEST]


def counted(job: Job, shot: ShotResult, tank: TankReport | None) -> Mapping[str, float]:
    """What a file of rates may count with `of`."""
    turns = shot.model.scene.section.turns
    out = {
        "stations": float(_stations(job)),
        "hours of shots per thousand parts": 1000.0 * (job.drive.shot_time or 0.0) / 3600.0,
    }
    if turns:
        out["coil turns"] = math.fsum(t.weight for t in turns)
        out["coil conductor, m"] = math.fsum(2.0 * math.pi * t.r * t.weight for t in turns)
    if job.coil is not None and job.coil.leads is not None:
        out["lead conductor, m"] = 2.0 * job.coil.leads.length
    if tank is not None:
        out["capacitors"] = float(sum(g.parallel * g.series for g in tank.tank.bank.groups))
        out["source power, kW"] = float(tank.shot.trace.source.power.max()) / 1e3 if tank.shot.trace.source else 0.0
    return out


def _stations(job: Job) -> int:
    fixture = job.later.get("fixture", {})
    return int(fixture.get("stations", 1)) if isinstance(fixture, Mapping) else 1
