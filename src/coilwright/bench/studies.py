"""Long work in processes of its own, kept on disk beside the job: a closed tab or a killed server ends none of it.

`.coilwright/studies/JOB/NUMBER/` holds `asked.json`, the `job.toml` as it was, `progress.json` and, in the end,
`result.json`. Every study runs in its own process and session (see `study_run`); one process is kept warm for the next.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from coilwright.bench.solver import ONE_THREAD

State = Literal["waiting", "running", "done", "failed", "stopped", "lost"]
_AT_ONCE = 2
_LOOK = 0.3  # s
ENDED: tuple[State, ...] = ("done", "failed", "stopped", "lost")


@dataclass(frozen=True)
class Study:
    """One study as it stands. `share` done, `said` in words, `took` s so far."""

    number: int
    kind: str
    title: str
    made: float
    settings: dict[str, Any]
    state: State
    share: float
    said: str
    took: float
    folder: Path

    @property
    def ended(self) -> bool:
        return self.state in ENDED


class Studies:
    """The studies of one job file."""

    def __init__(self, folder: Path, job: str) -> None:
        self.root, self.job_name = folder / "studies" / job, f"{job}.toml"
        self.listed: list[Study] = []
        self._watchers: list[Callable[[], None]] = []
        self._results: dict[int, dict[str, Any]] = {}
        self._spare: subprocess.Popen[bytes] | None = None
        self._children: list[subprocess.Popen[bytes]] = []
        self._task: asyncio.Task[None] | None = None
        self.look()

    # ---- what there is
    def look(self) -> bool:
        """Read the folder again; whether anything has changed. Starts what waits."""
        self._children = [p for p in self._children if p.poll() is None]
        found = sorted((self._read(p) for p in self._folders()), key=lambda s: s.number, reverse=True)
        changed = found != self.listed
        self.listed = found
        running = sum(s.state == "running" for s in found)
        for study in reversed(found):
            if study.state == "waiting" and running < _AT_ONCE:
                self._start(study)
                running += 1
        return changed

    def result(self, number: int) -> dict[str, Any] | None:
        """The result of a finished study, or None."""
        if number not in self._results:
            try:
                data = json.loads((self.root / str(number) / "result.json").read_text(encoding="utf-8"))
            except (OSError, ValueError):
                return None
            while len(self._results) >= 20:
                del self._results[next(iter(self._results))]
            self._results[number] = data
        return self._results[number]

    def watch(self, call: Callable[[], None]) -> Callable[[], None]:
        """Be called when a study has moved on; returns what ends it."""
        self._watchers.append(call)
        if self._task is None:
            self._task = asyncio.create_task(self._follow())
        return lambda: self._watchers.remove(call) if call in self._watchers else None

    # ---- what is done
    def begin(self, kind: str, title: str, text: str, job_folder: Path, settings: dict[str, Any] | None = None) -> int:
        """Begin a study of the job as it stands in `text`; returns its number."""
        self.root.mkdir(parents=True, exist_ok=True)
        number = max((int(p.name) for p in self._folders()), default=0) + 1
        while True:
            try:
                (self.root / str(number)).mkdir()
                break
            except FileExistsError:
                number += 1
        folder = self.root / str(number)
        (folder / "job.toml").write_text(text, encoding="utf-8")
        asked = {
            "kind": kind,
            "title": title,
            "made": time.time(),
            "settings": settings or {},
            "folder": str(job_folder),
            "name": self.job_name,
        }
        (folder / "asked.json").write_text(json.dumps(asked), encoding="utf-8")
        changed = self.look()  # starts it
        self._tell_if(self.look() or changed)
        return number

    def stop(self, number: int) -> None:
        """Ask a study to give up; it does so at its next step."""
        with contextlib.suppress(OSError):
            (self.root / str(number) / "stop").touch()

    def forget(self, number: int) -> None:
        """Take an ended study off the list, with its files."""
        if any(s.number == number and s.ended for s in self.listed):
            shutil.rmtree(self.root / str(number), ignore_errors=True)
            self._results.pop(number, None)
            self._tell_if(self.look())

    def warm(self) -> None:
        """Keep one process ready for the next study."""
        if self._spare is None or self._spare.poll() is not None:
            self._spare = _process()

    def close(self) -> None:
        """The server ends: the spare process goes, running studies stay."""
        if self._task is not None:
            self._task.cancel()
        if self._spare is not None and self._spare.stdin is not None:
            self._spare.stdin.close()
            self._spare.terminate()
            self._spare.wait()

    # ---- inside
    def _folders(self) -> list[Path]:
        if not self.root.is_dir():
            return []
        return [p for p in self.root.iterdir() if re.fullmatch(r"\d{1,9}", p.name) and (p / "asked.json").exists()]

    def _read(self, folder: Path) -> Study:
        asked, progress = _json(folder / "asked.json"), _json(folder / "progress.json")
        state: State = progress.get("state", "waiting")
        if state == "running" and not (folder / "result.json").exists() and not _alive(int(progress.get("pid", 0))):
            again = _json(folder / "progress.json").get("state")
            state = again if again in ENDED else "lost"
        if state == "waiting" and (folder / "stop").exists():
            state = "stopped"
        took = float(progress.get("took_s", 0.0))
        return Study(
            int(folder.name), str(asked.get("kind", "")), str(asked.get("title", "")), float(asked.get("made", 0.0)),
            asked.get("settings", {}), state, float(progress.get("share", 0.0)), str(progress.get("said", "")), took, folder,
        )  # fmt: skip

    def _start(self, study: Study) -> None:
        self.warm()
        process, self._spare = self._spare, None
        if process is None or process.stdin is None:
            return
        progress = {"state": "running", "share": 0.0, "said": "", "pid": process.pid, "took_s": 0.0}
        (study.folder / "progress.json").write_text(json.dumps(progress), encoding="utf-8")
        process.stdin.write(f"{study.folder}\n".encode())
        process.stdin.close()
        self._children.append(process)

    async def _follow(self) -> None:
        while True:
            self._tell_if(self.look())
            await asyncio.sleep(_LOOK)

    def _tell_if(self, changed: bool) -> None:
        if changed:
            for call in list(self._watchers):
                call()


def _process() -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "coilwright.bench.study_run"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # a killed server does not take it along
        env={**os.environ, **ONE_THREAD},
    )


def _alive(pid: int) -> bool:
    if pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return data if isinstance(data, dict) else {}
