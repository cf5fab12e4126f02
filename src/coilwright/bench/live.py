"""What every tab of one job sees: the last exact answers, and quick ones while a hand drags."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Any

from coilwright.bench.desk import Desk
from coilwright.bench.solver import Solver

_MOST_PATIENCE = 60.0  # s
REST = 0.3  # s without a move after which the hand is taken to rest


class Live:
    """Answers about one desk. `field` and `shot` are the last exact ones, `doing` what is computed now, in words."""

    def __init__(self, desk: Desk, solver: Solver) -> None:
        self.desk, self.solver = desk, solver
        self.field: dict[str, Any] = {}
        self.shot: dict[str, Any] = {}
        self.doing = ""
        self._field_of = self._shot_of = -1
        self._touched, self._patience = 0.0, REST
        self._wake = asyncio.Event()
        self._watchers: list[Callable[[], None]] = []
        desk.watch(self._changed)
        self._task = asyncio.create_task(self._run())
        self._wake.set()

    def watch(self, call: Callable[[], None]) -> Callable[[], None]:
        """Be called when something new is known; returns what ends it."""
        self._watchers.append(call)
        self._wake.set()
        return lambda: self._watchers.remove(call) if call in self._watchers else None

    @property
    def shot_current(self) -> bool:
        """Whether `shot` belongs to the text on the desk."""
        return self._shot_of == self.desk.revision

    @property
    def current(self) -> bool:
        """Whether the exact answers belong to the text on the desk."""
        job = self.desk.job
        waits = job is not None and job.drive.shot_time is not None
        return self._field_of == self.desk.revision and (self.shot_current or not waits)

    async def glance(self, changes: dict[str, Any], mesh: str, lines: bool) -> dict[str, Any]:
        """A quick answer for the job with some values changed; `mesh` is the one whose corners the tab holds."""
        self._touched = time.monotonic()
        answer = await self.solver.ask(self._question("glance", changes=changes, mesh=mesh, lines=lines))
        self._touched = time.monotonic()
        self._wake.set()
        return answer

    def close(self) -> None:
        self._task.cancel()

    def _question(self, kind: str, **more: Any) -> dict[str, Any]:
        desk = self.desk
        return {"kind": kind, "text": desk.text, "name": desk.name, "folder": str(desk.path.parent), **more}

    def _changed(self) -> None:
        self._patience = REST
        self._touched = time.monotonic()
        self._wake.set()

    async def _run(self) -> None:
        while True:
            await self._wake.wait()
            self._wake.clear()
            while (left := self._touched + REST - time.monotonic()) > 0.0:
                await asyncio.sleep(left)
            if not self._watchers:
                continue  # no tab is open on it
            revision, job = self.desk.revision, self.desk.job
            if job is None:
                self.field = self.shot = {}
                self._say("the job file has faults; nothing is computed")
                continue
            if self._field_of != revision:
                self._say("computing the field")
                await self._settle_field(revision)
            if self._shot_of != revision and not self._wake.is_set() and job.drive.shot_time is not None:
                self._say("computing the shot")
                await self._settle_shot(revision)
            self._say("")

    async def _settle_field(self, revision: int) -> None:
        answer = await self.solver.ask(self._question("field", lines=True))
        if self.desk.revision == revision:
            self.field, self._field_of = answer, revision

    async def _settle_shot(self, revision: int) -> None:
        answer = await self.solver.ask(
            self._question("shot"), lambda share: self._say(f"computing the shot, {100 * share:.0f} %")
        )
        if answer.get("given_up"):  # for another tab perhaps: let that one finish before trying again
            asyncio.get_running_loop().call_later(self._patience, self._wake.set)
            self._patience = min(2.0 * self._patience, _MOST_PATIENCE)
        elif self.desk.revision == revision:
            self.shot, self._shot_of, self._patience = answer, revision, REST

    def _say(self, doing: str) -> None:
        self.doing = doing
        for call in list(self._watchers):
            call()
