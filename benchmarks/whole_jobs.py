"""Rows of the speed report beside field and heat: source, window, page, log, pack, seek, banks. Each group on its own.

The measuring modules of this folder assert their answers; here their figures become rows.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import islice
from pathlib import Path

import coilwright as cw
from benchmarks import pack_time, shot_log, source_trace, window_yield
from benchmarks.table import Row, best, told

EXAMPLES = Path(__file__).parents[1] / "examples"
_PACKED = ("indicator-tube-getter/job.toml", "disc-over-pancake/job.toml")


def _clock(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def pin_rows() -> list[Row]:
    """The shot of a part that saturates: every field a Newton iteration of its own."""
    job = cw.load(EXAMPLES / "hardened-pin" / "job.toml")
    results: list[cw.ShotResult] = []
    span = _clock(lambda: results.append(cw.heat(job)))
    result = results[-1]
    assert result.passed and result.error.power_balance < 5e-3
    text = f"{result.error.temperature_K:.0f} K, its own estimate"
    return [Row("heat: hardened pin that saturates, with its error estimate", told(span), "-", "-", text, "-")]


def source_rows(times: int = 2) -> list[Row]:
    """A source that decides current and frequency, against the same shot at a set current."""
    rows = []
    for name in source_trace.CASES:
        ours, theirs, added = source_trace.share_added(name, times)
        what = f"source and tank through the shot: {name}"
        rows.append(Row(what, told(ours), f"{told(theirs)} at a set current", f"{1.0 + added:.2f} x", "-", "-"))
    return rows


def window_rows(shots: int = 100_000) -> list[Row]:
    """Virtual shots and poses, against full shots and a coil at a new height."""
    build, compared = window_yield.compare(shots)
    judged = next(c for c in compared if c.what == "a judged part")
    settled = next(c for c in compared if c.what == window_yield.SETTLED)
    whole = build + judged.ours * 6 * shots + settled.ours
    name = f"{shots} virtual shots of 6 stations, building included, {settled.what}"
    full = judged.reference * 6 * shots / 3600.0
    rows = [
        Row(name, told(whole), f"{full:.0f} h of full shots", f"{full * 3600.0 / whole:.0f} x", "margin < 0.02", "20 s")
    ]
    for c in compared:
        ratio = f"{c.reference / c.ours:.3g} x"
        rows.append(Row(c.what, told(c.ours), f"{told(c.reference)} a {c.unit}", ratio, "-", c.target))
    return rows


def page_rows() -> list[Row]:
    """From a move of the hand to the painted answer, in a real browser."""
    from benchmarks import bench_page

    rows = []
    for name, (text, follows) in bench_page.JOBS.items():
        waits = bench_page.drag(text)
        assert waits.answers >= bench_page.MOVES // 2 and (waits.curve or not follows), name
        target = "100 ms" if follows else "-"
        ours = f"{waits.late:.0f} ms (median {waits.median:.0f} ms)"
        rows.append(Row(f"page, 95 % of the moves: {name}", ours, "-", "-", "-", target))
    return rows


def log_rows(shots: int = 1_000_000) -> list[Row]:
    """A shot log read in, looked at and asked for causes, against the bare library doing the least of it."""
    steps = shot_log.run(shots)
    least = steps[0][2]
    rows = []
    for what, wall, own, ratio in steps[1:]:
        target = "5 s" if what.startswith(("all charts, tests", "charts, tests and causes, again")) else "-"
        ours = f"{told(wall)} ({told(own)} processor)"
        rows.append(
            Row(f"log of {shots} shots: {what}", ours, f"{told(least)} bare", f"{1.0 / ratio:.2g} x", "-", target)
        )
    return rows


def pack_rows(names: tuple[str, ...] = _PACKED) -> list[Row]:
    """A build pack in a fresh process, against the shot it is about."""
    rows = []
    for name in names:
        pack, shot = pack_time.measured(EXAMPLES / name)
        ratio = f"{(pack.own + pack.beside) / shot.own:.1f} shots"
        rows.append(
            Row(f"build pack: {name}", told(pack.clock), f"{told(shot.clock)} its shot", ratio, "same bytes", "-")
        )
    return rows


def seek_rows(points: int = 12) -> list[Row]:
    """Points of the search for a better coil of the getter, here and on two processes."""
    from coilwright.seek.evaluate import Evaluator
    from coilwright.seek.schema import objectives_of, read_seek
    from coilwright.seek.search import scan
    from coilwright.seek.space import space_of
    from coilwright.seek.workers import workers_for

    job = cw.load(EXAMPLES / "indicator-tube-getter" / "seek.toml")
    wanted = read_seek(job)
    space = space_of(job, wanted)
    evaluator = Evaluator(job, objectives_of(wanted), ())
    tasks = [(space.values(place), "coarse") for place in islice(scan(space, 4 * points, 1), points)]
    spans, kept = [], []
    for processes in (1, 2):
        with workers_for(evaluator, processes, None) as workers:
            list(workers(tasks[:2]))  # processes started, code loaded
            found: dict[int, object] = {}
            spans.append(_clock(lambda workers=workers, found=found: found.update(workers(tasks))))  # type: ignore[misc]
            kept.append([found[n].to_dict() for n in range(points)])  # type: ignore[attr-defined]
    assert kept[0] == kept[1]
    here, pool = (points / span for span in spans)
    return [
        Row("seek on the getter, one process", f"{here:.2g} points/s", "-", "-", "-", "-"),
        Row("seek on the getter, two processes", f"{pool:.2g} points/s", f"{here:.2g} points/s on one", f"{pool / here:.2f} x",
            "same figures", "-"),
    ]  # fmt: skip


def bank_rows() -> list[Row]:
    """Every bank that a shelf of 12 kinds can make."""
    from tests.tank import test_choose as shelf

    from coilwright.tank.choose import choose_bank

    stock = shelf.twelve_kinds()
    tables = []
    span = best(lambda: tables.append(choose_bank(shelf.JOB, shelf.COIL, stock)), 2)
    count = tables[-1].candidates
    assert count > 100_000 and tables[-1].fitting
    return [Row(f"banks from a shelf: {count} tried", told(span), "-", "-", "-", "5 s")]


GROUPS: tuple[tuple[str, Callable[[], list[Row]]], ...] = (
    ("heat: hardened pin that saturates", pin_rows),
    ("source and tank through the shot", source_rows),
    ("virtual shots and poses", window_rows),
    ("page", page_rows),
    ("shot log", log_rows),
    ("build pack", pack_rows),
    ("seek on the getter", seek_rows),
    ("banks from a shelf", bank_rows),
)
