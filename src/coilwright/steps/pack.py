"""The build pack: every verb run once for one job, its results gathered, paper written from them."""

from __future__ import annotations

import hashlib
import json
import math
import multiprocessing
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from coilwright.collector import held_still
from coilwright.errors import BadInput, CoilwrightError, workers_kept
from coilwright.field.look import CheckResult
from coilwright.field.report import FieldReport
from coilwright.heating.electrical import TankReport, electrical_report
from coilwright.heating.hand_sheet import QuickResult
from coilwright.heating.hazards import facts_of
from coilwright.heating.result import ShotResult
from coilwright.heating.rough import rough_shot
from coilwright.heating.tank_source import has_source, tank_source
from coilwright.job import Job
from coilwright.job.price import price, read_rates
from coilwright.job.schema_documents import read_documents
from coilwright.job.schema_workshop import read_workshop
from coilwright.line.form import read_form
from coilwright.line.hand_over import HandOverSheet, hand_over_sheet
from coilwright.line.machine import baseline, read_machine
from coilwright.line.posterior import Board
from coilwright.line.shots import Rough
from coilwright.line.why import machine_board
from coilwright.pack.build import PackResult, write_pack
from coilwright.pack.contents import AcceptanceTest, Cycle, PackContents, TitleBlock
from coilwright.pack.pack_pictures import Draw, cold_pictures, look_pictures, shot_pictures, svg_of
from coilwright.safety.cautions import cautions
from coilwright.section.scene import scene
from coilwright.steps.check import check
from coilwright.steps.field import field as field_of
from coilwright.steps.heat import heat, with_error
from coilwright.steps.quick import quick
from coilwright.steps.spare import Spare
from coilwright.steps.tank import warm_copper
from coilwright.steps.window import window
from coilwright.window.effort import Effort
from coilwright.window.result import WindowResult
from coilwright.window.yields import proven_share, sample_for

Report = Callable[[float], None]
# Enough for a forecast on paper; `coilwright window` builds on more.
_SHOTS = 20_000
_EFFORT = Effort(runs=0, fresh=6, refine=6, reshoot=0, workers=2, rough=True)
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


@dataclass
class _Gathered:
    missing: dict[str, str] = field(default_factory=dict)


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
    found = contents(job, wishes, report)
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    written = write_pack(found, target, wishes.effort.workers)
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
    wishes, told = wishes or PackWishes(), report or (lambda share: None)
    for key, value in (("date", wishes.date), ("language", wishes.language)):
        if value is not None:
            job = job.with_value(f"documents.{key}", value)
    documents, missing = read_documents(job), _Gathered()
    rates = None if wishes.rates is None else read_rates(wishes.rates)
    baseline(job)  # a faulty record is told before anything is solved
    looked = check(job)
    (cold, shot, tank), board, made = _side_by_side(job, looked, wishes, lambda x: told(0.5 * x))
    told(0.5)
    seen = _window(job, wishes, missing, lambda x: told(0.5 + 0.4 * x))
    told(0.9)
    machine = _machine(board, job, looked, tank, seen, missing)
    facts = facts_of(shot.model.scene.job, shot, cold.result, cold.result.frequency)
    sheet = None
    if rates is not None and wishes.rates is not None:
        sheet = price(rates, counted(job, shot, tank), wishes.rates.name)
    else:
        missing.missing["price"] = "no file of rates was given (--rates FILE)"
    if tank is None:
        missing.missing["tank"] = "the job has no [source] and [tank]"
    elif tank.cooling is None:
        missing.missing["cooling"] = "the job has no [cooling]"
    return PackContents(
        job, title_block(job), documents, read_workshop(job), looked, cold, shot, _quick(job, missing), tank,
        seen, machine, sheet, tuple(cautions(facts)) if tank is None else tank.cautions, facts.distances,
        Cycle(job.drive.shot_time or 0.0, documents.handling, _stations(job), documents.rate),
        acceptance_test(documents.allowed_bad, seen), missing.missing, made,
    )  # fmt: skip


_Solved = tuple[FieldReport, ShotResult, TankReport | None]
_Made = dict[str, str]
_Beside = tuple[Rough | None, Board | str]


def _side_by_side(
    job: Job, looked: CheckResult, wishes: PackWishes, report: Report
) -> tuple[_Solved, Board | str, _Made]:
    """The job solved, and beside it on a process of its own what is solved on coarser meshes: the shot behind the error, and
    the shots behind the limits of readings (a sentence when there are none). Who is done first solves the cold field and draws.

    A source settles its copper by a rough shot first, which then stands behind the error."""
    if wishes.effort.workers < 2:
        warmer, first = _warmed(job)
        cold, made = _cold(warmer)
        shot = heat(warmer, estimate_error=False, report=report)
        rough, board = _beside(job, wishes.limits)
        return _with_error(warmer, cold, shot, first or rough), board, made
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    with workers_kept(), ProcessPoolExecutor(1, mp_context=multiprocessing.get_context(method)) as pool:
        awaited = pool.submit(_beside, job, wishes.limits)
        warmer, first = _warmed(job)
        colder, section = Spare(pool, awaited, _cold, warmer), Spare(pool, awaited, _section, looked)
        shot = heat(warmer, estimate_error=False, report=report)
        colder.claim()
        made = _drawn_until(lambda: awaited.done() and colder.done() and section.done(), shot_pictures(shot))
        (cold, drawn), (rough, board) = colder.result(), awaited.result()
        return _with_error(warmer, cold, shot, first or rough), board, made | drawn | section.result()


def _drawn_until(enough: Callable[[], bool], pictures: Mapping[str, Draw]) -> _Made:
    """As many pictures as there is time for."""
    made: _Made = {}
    for name, draw in pictures.items():
        if enough():
            break
        made[name] = svg_of(draw)
    return made


def _warmed(job: Job) -> tuple[Job, Rough | None]:
    """The job at the copper temperature that its own water leaves, and the rough shot that found it; without a source the job
    as it is."""
    if not has_source(job):
        return job, None
    warmer, first = warm_copper(job)
    return warmer, (first.trace, first.verdicts)


def _cold(job: Job) -> tuple[FieldReport, _Made]:
    """The cold field and its picture."""
    cold = field_of(job)
    return cold, {name: svg_of(draw) for name, draw in cold_pictures(cold).items()}


def _section(looked: CheckResult) -> _Made:
    """The picture of the section."""
    return {name: svg_of(draw) for name, draw in look_pictures(looked).items()}


def _beside(job: Job, limits: bool) -> _Beside:
    """The rough shot behind the error, where no source has asked for one, and what stands behind the limits of readings."""
    rough = None
    if not has_source(job):
        shot = rough_shot(scene(job))
        rough = shot.trace, shot.verdicts
    return rough, _board(job, rough) if limits else "limits were not asked for (--no-limits)"


def _board(job: Job, rough: Rough | None) -> Board | str:
    try:
        return machine_board(job, rough=rough)
    except CoilwrightError as fault:
        return str(fault)


def _with_error(job: Job, cold: FieldReport, shot: ShotResult, rough: Rough | None) -> _Solved:
    """With a source the error of the shot also holds what the copper's last few kelvin do; it has an electrical report."""
    if rough is not None:
        shot = with_error(shot, *rough)
    return cold, shot, electrical_report(shot, tank_source(job), cold.result) if has_source(job) else None


def _quick(job: Job, missing: _Gathered) -> QuickResult | None:
    try:
        return quick(job)
    except BadInput as fault:
        missing.missing["quick"] = str(fault)
        return None


def _window(job: Job, wishes: PackWishes, missing: _Gathered, report: Report) -> WindowResult | None:
    if "varies" not in job.later:
        missing.missing["window"] = "the job does not say what varies ([[varies]])"
        return None
    return window(job, shots=wishes.shots, effort=wishes.effort, observe=False, report=report)


def _machine(board: Board | str, job: Job, looked: CheckResult, tank: TankReport | None, seen: WindowResult | None,
             missing: _Gathered) -> HandOverSheet | None:  # fmt: skip
    if isinstance(board, str):
        missing.missing["machine"] = board
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
