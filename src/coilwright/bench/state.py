"""What the server holds for every tab, and what one tab holds for its places."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from nicegui import Client

from coilwright.bench.desk import Desk
from coilwright.bench.folder import Folder
from coilwright.bench.live import Live
from coilwright.bench.solver import Solver
from coilwright.bench.studies import Studies


class Bench:
    """The opened folder, its desks, the solving process and the studies; one per server."""

    def __init__(self, folder: Folder) -> None:
        self.folder, self.solver = folder, Solver()
        self._desks: dict[Path, Desk] = {}
        self._live: dict[Path, Live] = {}
        self._studies: dict[Path, Studies] = {}

    def desk(self, path: Path) -> Desk:
        """The desk of a job file, one for all tabs. Raises BadInput when the file cannot be read."""
        if path not in self._desks:
            self._desks[path] = Desk(path)
        return self._desks[path]

    def live(self, desk: Desk) -> Live:
        if desk.path not in self._live:
            self._live[desk.path] = Live(desk, self.solver)
        return self._live[desk.path]

    def studies(self, desk: Desk) -> Studies:
        if desk.path not in self._studies:
            self._studies[desk.path] = Studies(desk.folder, desk.path.stem)
        return self._studies[desk.path]

    async def start(self) -> None:
        await self.solver.warm()
        self._watching = asyncio.create_task(self._watch_disk())

    async def _watch_disk(self) -> None:
        while True:
            await asyncio.sleep(1.0)
            for desk in list(self._desks.values()):
                desk.look_at_disk()

    async def stop(self) -> None:
        self._watching.cancel()
        for live in self._live.values():
            live.close()
        for studies in self._studies.values():
            studies.close()
        await self.solver.close()


@dataclass
class PageState:
    """One tab. A place reads `desk`, `live` and `studies`, says things with `say`, and ends its watches with the tab."""

    bench: Bench
    desk: Desk
    live: Live
    studies: Studies
    client: Client
    say: Callable[[str, bool], None] = lambda words, bad: None
    go: Callable[[str], None] = lambda place: None
    shared: dict[str, Any] = field(default_factory=dict)
    _ends: list[Callable[[], None]] = field(default_factory=list)

    def on_desk(self, call: Callable[[], None]) -> None:
        """Run `call` in this tab after every change of the job; and never after the tab has gone."""
        self._ends.append(self.desk.watch(self._here(call)))

    def on_live(self, call: Callable[[], None]) -> None:
        """Run `call` in this tab when the solving process has said something new."""
        self._ends.append(self.live.watch(self._here(call)))

    def on_studies(self, call: Callable[[], None]) -> None:
        """Run `call` in this tab when a study has moved on."""
        self._ends.append(self.studies.watch(self._here(call)))

    def close(self) -> None:
        for end in self._ends:
            end()
        self._ends.clear()

    def _here(self, call: Callable[[], None]) -> Callable[[], None]:
        def run() -> None:
            with self.client:
                call()

        return run


__all__ = ["Bench", "PageState"]
