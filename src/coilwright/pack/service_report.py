"""The service report: what was complained of and read, which cause explains it and how surely, what to do, what not to do."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import coilwright
from coilwright.job import Job
from coilwright.line.machine import READINGS
from coilwright.line.posterior import Board
from coilwright.line.taken import Readings, Taken
from coilwright.line.watch import Watch
from coilwright.line.why import Answer, Ranked
from coilwright.pack.blocks import (
    Block,
    blanks,
    bullets,
    chapter,
    heading,
    notice,
    pairs,
    picture,
    small,
    table,
    text,
    together,
)
from coilwright.pack.line_pictures import causes_picture, reading_picture, shares_picture, stations_picture
from coilwright.pack.pack_pictures import identity_picture
from coilwright.pack.typeset import UNDATED, typeset

_HEADLINE = {
    "cause": ("good", "The cause is told"),
    "station": ("caution", "The station is told, its cause is not"),
    "nothing": ("missing", "Cannot be told from these readings"),
}
_DECIDES = (
    "Computed from the job file, the hand-over record and the readings below. Probabilities rest on the shop's experience of how "
    "often each fault is met (from memory until replaced by records) and on the model of the machine. Local codes and "
    "licensed practice decide; a qualified person checks before power is applied."
)


def service_report(
    job: Job, board: Board, readings: Readings, found: Watch | None, answer: Answer, target: Path
) -> Path:
    """Write the report as PDF. `found`: the log, where there is one. Raises TypesetFailed."""
    pictures = _pictures(found, answer)
    digest = hashlib.sha256((job.text + repr(readings)).encode()).hexdigest()[:12]
    pictures["identity.svg"] = identity_picture(f"service report, {job.title[:80]}, {digest}")
    chapters = [
        chapter(1, "What explains it", _explained(answer)),
        chapter(2, "What was read and counted", _evidence(board, readings, found, pictures)),
        chapter(3, "Correction and proof", _correction(answer)) | {"joins": found is None},
    ]
    data = {
        "title": job.title, "author": "coilwright", "keywords": ["induction heating", "service report", digest],
        "day": list(UNDATED), "lang": "en", "failed": False, "fails": "", "head": [job.title, readings.date or "undated"],
        "foot": f"{Path(job.name).name} · {digest} · coilwright {coilwright.__version__}",
        "page-words": ["page", "of"], "digest": digest,
        "front": _front(job, readings, found, answer, digest), "chapters": chapters, "card": None,
    }  # fmt: skip
    return typeset(data, pictures, target)


def _pictures(found: Watch | None, answer: Answer) -> dict[str, str]:
    wanted: dict[str, Callable[[Path], Any]] = {"causes": lambda path: causes_picture(answer, path)}
    if found is not None:
        wanted["stations"] = lambda path: stations_picture(found, path)
        wanted["shares"] = lambda path: shares_picture(found, path)
        for n, reading in enumerate(r for r in found.readings if r.courses):
            wanted[f"reading-{n}"] = partial(reading_picture, found, reading)
    with TemporaryDirectory() as folder:
        out = {}
        for name, draw in wanted.items():
            path = Path(folder) / f"{name}.svg"
            draw(path)
            out[path.name] = path.read_text(encoding="utf-8")
        return out


def _front(job: Job, readings: Readings, found: Watch | None, answer: Answer, digest: str) -> dict[str, Any]:
    tone, title = _HEADLINE[answer.told]
    blocks = [
        notice("plain", "Complaint, in the customer's words", readings.complaint or "not written down"),
        notice(tone, title, answer.said),
        picture("causes.svg", "causes with their probability, and what the next readings would tell"),
    ]
    if answer.warnings:
        blocks.append(notice("bad", "What not to do", *answer.warnings))
    blocks.append(text(_DECIDES))
    machine = found.machine if found is not None else "see job"
    return {
        "kind": "Service report",
        "lines": [f"machine: {machine}"] if found is not None else [],
        "qr": "QR code with the title and the digest of what this rests on",
        "blocks": blocks,
        "corner": [
            ["machine", machine], ["read by", readings.by], ["job file", Path(job.name).name], ["digest", digest],
            ["date", readings.date or "undated"], ["pieces in the log", str(found.tried) if found is not None else ""],
            ["readings", str(len(readings.taken))], ["tallies", str(len(readings.tallies))],
        ],
    }  # fmt: skip


def _explained(answer: Answer) -> Iterator[Block]:
    rows = [(f"{100 * r.probability:.0f} %", r.name, _size(r)) for r in answer.ranked if r.probability >= 0.005]
    yield table(("likely", "cause", "size, 90 % interval"), rows, left=(0, 1, 2), wide=(0, 1.4, 1))
    for n, r in enumerate(x for x in answer.ranked[:3] if x.probability >= 0.05):
        yield from _one_cause(r, n == 0)
    if answer.twins:
        yield heading("These readings cannot part the first from")
        yield bullets(answer.twins)
    if answer.excluded:
        yield heading("Looked at and ruled out")
        yield table(("speaks against it", "causes that are left less than 1 % each"), list(_ruled_out(answer)),
                    left=(0, 1), wide=(1, 2.4))  # fmt: skip
    yield heading("Next reading")
    if not answer.next:
        yield text("No reading on the list would tell more than these have told.")
        return
    yield small(
        "A bit is the answer to one even yes-or-no question about the cause; simulated from what is believed now."
    )
    ask = [(READINGS[n.what].asked, f"{n.bits:.2f}", f"{n.minutes:g}", f"{n.rate:.3f}") for n in answer.next]
    yield table(
        ("reading, the one that tells most per minute first", "bit", "min", "bit per min"), ask, wide=(1, 0, 0, 0)
    )


def _ruled_out(answer: Answer) -> Iterator[tuple[str, str]]:
    """Causes by what speaks against them most."""
    by = dict[str, list[str]]()
    for x in answer.excluded:
        by.setdefault(x.why or "all together", []).append(x.name)
    for why, names in by.items():
        yield why, "; ".join(names)


def _one_cause(r: Ranked, first: bool) -> Iterator[Block]:
    lines = [*(f"for: {x}" for x in r.speaks_for), *(f"against: {x}" for x in r.speaks_against)]
    blocks = [heading(f"{'First' if first else 'Then'}: {r.name}, {100 * r.probability:.0f} %")]
    if lines:
        blocks.append(bullets(lines))
    if r.look_for:
        blocks.append(text(f"Look for: {r.look_for}."))
    yield together(*blocks)


def _size(r: Ranked) -> str:
    return "–" if r.size is None else f"{r.size[1]:.2g} ({r.size[0]:.2g} to {r.size[2]:.2g}) {r.unit}"


def _evidence(board: Board, readings: Readings, found: Watch | None, pictures: dict[str, str]) -> Iterator[Block]:
    if readings.taken:
        yield heading("Readings against the healthy machine")
        yield table(("reading", "station", "change", "± one sigma"), [_taken(t) for t in readings.taken], left=(0,))
    for t in readings.tallies:
        yield heading("Tally by station")
        rows = [
            (str(k), str(n), str(b), f"{100 * b / n:.1f} %")
            for k, (b, n) in enumerate(zip(t.bad, t.tried, strict=True), 1)
        ]
        yield table(("station", "tried", "bad", "share"), rows, left=(0,))
    if readings.trays:
        yield text(f"Bad pieces per full tray, stations not known: {', '.join(map(str, readings.trays))}.")
    for c in readings.contrasts:
        yield text(f"The suspect {c.by}: {c.bad[0]} of {c.tried[0]} bad; the others: {c.bad[1]} of {c.tried[1]}.")
    yield heading("What the source holds, and how well a setback is known")
    yield text(f"The source holds the {board.plant.line.control}; {board.gain}.")
    if found is None:
        return
    yield heading("What the log says by itself")
    yield bullets(found.said)
    yield picture("stations.svg", "share of bad pieces by station with 95 % intervals", width=0.8)
    yield picture("shares.svg", "share of bad pieces of every station over time", width=0.95)
    for name in sorted(n for n in pictures if n.startswith("reading-")):
        yield picture(name, "a reading of every station over time, as single values, EWMA and CUSUM")


def _taken(t: Taken) -> tuple[str, str, str, str]:
    where = str(t.station) if t.station else "whole"
    if not READINGS[t.what].ratio:
        return t.what, where, f"{1e3 * t.value:+.2f} mm", f"{1e3 * t.sigma:.2f} mm"
    more = "at least " if t.floor else ""
    return t.what, where, f"{more}{100 * math.expm1(t.value):+.2f} %", f"{100 * t.sigma:.2f} %"


def _correction(answer: Answer) -> Iterator[Block]:
    top = answer.ranked[0]
    if answer.told != "cause":
        guess = "Take the next reading first; what follows holds if the first cause is it."
        yield notice("caution", "No correction on a guess", guess)
    yield pairs([("do", top.remedy), ("look for", top.look_for or "–"),
                 ("scrap now, about", f"{100 * answer.scrap_now:.2g} %"),
                 ("after the correction, about", f"{100 * answer.scrap_after:.2g} %")])  # fmt: skip
    pieces = _proof(answer)
    if pieces:
        yield text(f"Proof: {pieces} good pieces in a row show, at 95 %, that less than half of that scrap is left "
                   "(exact, no bad piece among them).")  # fmt: skip
    if answer.warnings:
        yield notice("bad", "What not to do", *answer.warnings)
    yield notice("caution", "Cautions", *answer.cautions)
    yield together(heading("To be filled in"), blanks([
        "correction made, with the setting gauge", "good pieces in a row afterwards", "bad pieces",
        "prevention: gauge, dowel, weekly log", "readings taken anew into [machine]: yes / no",
        "parts set aside", "done by, date", "seen by the customer, date",
    ]))  # fmt: skip


def _proof(answer: Answer) -> int | None:
    """Good pieces in a row after which half of the present scrap can be ruled out at 95 % (n = ln 0.05 / ln(1 - p/2))."""
    half = 0.5 * answer.scrap_now
    if not 0.002 < half < 1.0 or answer.scrap_now < 2.0 * answer.scrap_after:
        return None
    return math.ceil(math.log(0.05) / math.log1p(-half))
