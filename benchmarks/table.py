"""The table of the speed report: its rows, the clock they are read with, and how a group of rows that fails is told."""

from __future__ import annotations

import sys
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One line of the report."""

    what: str
    ours: str
    reference: str
    ratio: str
    errors: str
    target: str


def best(work: Callable[[], object], times: int = 5) -> float:
    """Shortest of several runs, s; the first is thrown away (compilation, caches)."""
    work()
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spans.append(time.perf_counter() - start)
    return min(spans)


def told(seconds: float) -> str:
    """A time with three digits in a unit that suits it."""
    if seconds < 1e-3:
        return f"{seconds * 1e6:.3g} us"
    return f"{seconds * 1e3:.3g} ms" if seconds < 0.1 else f"{seconds:.3g} s"


def attempt(name: str, group: Callable[[], Sequence[Row]]) -> tuple[list[Row], bool]:
    """The rows of a group and whether it ran; a group that fails leaves one row that says so, and the others go on."""
    try:
        return list(group()), True
    except Exception as error:
        traceback.print_exc(file=sys.stderr)
        words = (str(error).splitlines() or [""])[0].replace("|", "/")[:80]
        return [Row(name, f"failed: {type(error).__name__} {words}".strip(), "-", "-", "-", "-")], False


def report(rows: Sequence[Row], reference: str = "ngsolve") -> str:
    """A markdown table; `reference` heads the column of what ours is measured against."""
    head = ("what", "ours", reference, "ratio", f"errors (ours / {reference})", "target")
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    lines += [f"| {r.what} | {r.ours} | {r.reference} | {r.ratio} | {r.errors} | {r.target} |" for r in rows]
    return "\n".join(lines)
