"""What a study can be: name -> work(job, settings, report, folder) -> plain data for the page.

`report(share, said)` is called often; it raises Stopped when the study is to give up, which the work lets pass. Files that
the study leaves (pictures, tables) go into `folder`. To add a kind: a function here or in the module of its place, and a
line in the table.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from coilwright.job import Job

Report = Callable[..., None]
FITTED = "fitted.toml"  # the corrected job file in the folder of a trial


class Stopped(Exception):
    """The study was asked to give up."""


def shot(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """The shot at full accuracy, with everything the page plays and compares."""
    from coilwright.bench import packed
    from coilwright.steps.heat import heat

    result = heat(job, fine=bool(settings.get("fine")), report=lambda share: report(share, "marching"))
    good = sum(v.met for v in result.verdicts)
    return {
        "said": f"{'pass' if result.passed else 'fail'}: {good} of {len(result.verdicts)} conditions hold",
        "passed": result.passed,
        "curve": packed.curve(result.trace),
        "verdicts": packed.verdicts(result.verdicts),
        "play": packed.frames(result),
        "error": result.error.to_dict(),
        "findings": [str(f) for f in result.findings],
    }


def _of(module: str, name: str = "work") -> Callable[..., dict[str, Any]]:
    """The work of a module, which is loaded when a study of its kind is run."""

    def work(*given: Any) -> dict[str, Any]:
        done: dict[str, Any] = getattr(import_module(f"coilwright.bench.{module}"), name)(*given)
        return done

    return work


KINDS: dict[str, Callable[..., dict[str, Any]]] = {
    "quick": _of("work_quick"),
    "shot": shot,
    "tank": _of("work_tank"),
    "pack": _of("work_pack"),
    "pictures": _of("work_pictures"),
    "window": _of("work_window"),
    "trial": _of("work_trial"),
    "seek": _of("work_seek"),
    "line": _of("work_line", "look"),
    "why": _of("work_line", "why"),
    "rehearsal": _of("work_line", "rehearse"),
    "record": _of("work_line", "record"),
}
