"""The process that solves for the page: warm, one question at a time, lines of JSON in and out.

`python -m coilwright.bench.worker`. Questions: {"id", "kind", "text", "name", "folder", ...}; answers carry the "id", and so do
notes of progress {"id", "share"}. A running exact shot gives up for any other question. The process ends when its input
does.
"""

from __future__ import annotations

import json
import os
import queue
import sys
import threading
import time
from collections.abc import Callable
from typing import Any, TextIO

from coilwright.bench import packed
from coilwright.errors import BadInput, CoilwrightError
from coilwright.job import Job, loads
from coilwright.pack.field_pictures import frame
from coilwright.steps.live import Follower, Glance

_FINE, _ROUGH = 56, 40  # points along the longer side of the grid of flux lines, at rest and while dragging
_EVERY = 0.3  # s between two notes of progress


class _GivenUp(Exception):
    """A newer question has arrived."""


class Worker:
    """Answers questions about jobs; knows which meshes the page has already been given."""

    def __init__(self, waiting: queue.Queue[str], tell: Callable[[float], None]) -> None:
        self.follower = Follower()
        self.waiting, self.tell = waiting, tell
        self.asked: tuple[str, str, str] = ("", "", "")
        self.job: Job | None = None

    def answer(self, question: dict[str, Any]) -> dict[str, Any]:
        job = self._job(question)
        if question["kind"] == "glance":
            glance = self.follower.glance(job)
            return self._told(glance, question)
        if question["kind"] == "field":
            glance, report = self.follower.settle_field(job)
            return self._told(glance, question) | {"findings": [str(f) for f in report.findings]}
        result = self.follower.settle_shot(job, self._watched)
        error = packed.finite(result.error.to_dict())
        return {
            "curve": packed.curve(result.trace), "verdicts": packed.verdicts(result.verdicts),
            "passed": result.passed, "through": packed.through(result), "shot_error": error, "play": packed.frames(result),
            "off": {"power": self.follower.off.power, "temperature_K": self.follower.off.temperature},
            "findings": [str(f) for f in result.findings],
        }  # fmt: skip

    def _job(self, question: dict[str, Any]) -> Job:
        asked = (question["text"], question["name"], question["folder"])
        if self.job is None or asked != self.asked:
            self.asked, self.job = asked, loads(*asked)
        job = self.job
        changes = question.get("changes")
        return job.with_values(changes) if changes else job

    def _watched(self, share: float) -> None:
        if not self.waiting.empty():
            raise _GivenUp
        self.tell(share)

    def _told(self, glance: Glance, question: dict[str, Any]) -> dict[str, Any]:
        follower = self.follower
        mesh = id(glance.field.state.reduced.live)
        data: dict[str, Any] = {"numbers": packed.numbers(glance), "waits": glance.waits, "mesh": str(mesh)}
        shown = question.get("layer", "loss")
        if shown == "loss":
            known = question.get("mesh") == str(mesh)
            layer = packed.loss_layer(glance.field, glance.shifts, geometry=not known)
            data["loss"] = packed.finite(layer)
        if question.get("lines"):
            points = _FINE if glance.exact else _ROUGH
            data["lines"] = packed.flux_grid(glance.field, _wider(frame(glance.scene.section)), points)
        if glance.trace is not None:
            data["curve"] = packed.curve(glance.trace, 120)
            data["verdicts"] = packed.verdicts(glance.verdicts)
            data["passed"] = all(v.met for v in glance.verdicts)
        data["off"] = {"power": follower.off.power, "temperature_K": follower.off.temperature}
        return data


def _wider(box: tuple[float, float, float]) -> tuple[float, float, float]:
    """A frame with room around it: a window shows more than the section fills."""
    room = max(0.0, 1.1 * box[0] - 0.5 * (box[2] - box[1]))
    return max(1.35 * box[0], 0.7 * (box[2] - box[1])), box[1] - room, box[2] + room


def main() -> None:
    out = _private_output()
    waiting: queue.Queue[str] = queue.Queue()
    threading.Thread(target=_listen, args=(waiting,), daemon=True).start()
    notes = _Notes(out)
    worker = Worker(waiting, notes.share)
    while True:
        line = waiting.get()
        if not line:
            return
        question = json.loads(line)
        notes.question = question["id"]
        notes.write(packed.finite(_guarded(worker, question)))


class _Notes:
    """Lines to the page, all about the question that is being answered."""

    def __init__(self, out: TextIO) -> None:
        self.out, self.question, self.last = out, 0, 0.0

    def write(self, data: dict[str, Any]) -> None:
        self.out.write(json.dumps({"id": self.question, **data}) + "\n")
        self.out.flush()

    def share(self, done: float) -> None:
        now = time.monotonic()
        if now - self.last > _EVERY:
            self.last = now
            self.write({"share": round(done, 3)})


def _listen(waiting: queue.Queue[str]) -> None:
    for line in sys.stdin:
        waiting.put(line)
    waiting.put("")


def _guarded(worker: Worker, question: dict[str, Any]) -> dict[str, Any]:
    try:
        return worker.answer(question)
    except _GivenUp:
        return {"given_up": True}
    except BadInput as error:
        return {"refused": [{"where": f.where, "what": f.what} for f in error.faults]}
    except CoilwrightError as error:
        return {"refused": [{"where": "", "what": str(error)}]}
    except Exception as error:  # the page must hear of it in a sentence; the process goes on
        what = f"this is a fault of coilwright itself ({type(error).__name__}: {error}); please report it with the job"
        return {"refused": [{"where": "", "what": what}]}


def _private_output() -> TextIO:
    """Answers on the real standard output; whatever else is printed goes to standard error."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
    return out


if __name__ == "__main__":
    main()
