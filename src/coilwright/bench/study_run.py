"""The process of one study: waits warm for the folder of its study, runs it, writes what comes out, ends.

`python -m coilwright.bench.study_run` reads one line, the folder, from its input; no line, no study.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from coilwright.bench.packed import finite
from coilwright.bench.study_kinds import KINDS, Stopped
from coilwright.errors import BadInput, CoilwrightError
from coilwright.job import loads

_EVERY = 0.15  # s between two notes of progress


class Notes:
    """Progress on disk; `report` raises Stopped when the study was asked to give up."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.begun, self.noted = folder, time.monotonic(), 0.0

    def report(self, share: float, said: str = "") -> None:
        if (self.folder / "stop").exists():
            raise Stopped("stopped by you")
        now = time.monotonic()
        if now - self.noted > _EVERY:
            self.noted = now
            self.write("running", share, said)

    def write(self, state: str, share: float, said: str) -> None:
        progress = {
            "state": state,
            "share": share,
            "said": said,
            "pid": os.getpid(),
            "took_s": time.monotonic() - self.begun,
        }
        _replace(self.folder / "progress.json", progress)


def run(folder: Path) -> None:
    """Run the study of a folder to its end, whatever that is."""
    notes = Notes(folder)
    notes.write("running", 0.0, "")
    try:
        asked = json.loads((folder / "asked.json").read_text(encoding="utf-8"))
        text = (folder / "job.toml").read_text(encoding="utf-8")
        job = loads(text, asked.get("name", "job.toml"), asked["folder"])
        work: Callable[..., dict[str, Any]] = KINDS[asked["kind"]]
        result = work(job, asked["settings"], notes.report, folder)
        _replace(folder / "result.json", finite(result))
        notes.write("done", 1.0, str(result.get("said", "")))
    except Stopped as stop:
        notes.write("stopped", 0.0, str(stop))
    except BadInput as error:
        notes.write("failed", 0.0, " ".join(str(f) for f in error.faults))
    except CoilwrightError as error:
        notes.write("failed", 0.0, str(error))
    except Exception as error:  # nobody is there to see a traceback: say it where the study is listed
        notes.write("failed", 0.0, f"this is a fault of coilwright itself ({type(error).__name__}: {error})")


def _replace(path: Path, data: dict[str, Any]) -> None:
    part = path.with_suffix(".part")
    part.write_text(json.dumps(data), encoding="utf-8")
    part.replace(path)


def main() -> None:
    from coilwright.steps import heat  # noqa: F401  # warm before the work comes

    line = sys.stdin.readline().strip()
    if line:
        run(Path(line))


if __name__ == "__main__":
    main()
