"""The page's side of the solving process: asks, waits without blocking, starts it again when it dies."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sys
from collections.abc import Callable
from itertools import count
from typing import Any

_LINE = 64 * 2**20  # bytes one answer may have
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MPLBACKEND": "Agg"}


class Solver:
    """One warm process. `ask` may be called from several tabs; questions are answered in turn."""

    def __init__(self) -> None:
        self._process: asyncio.subprocess.Process | None = None
        self._reader: asyncio.Task[None] | None = None
        self._waiting: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self._reports: dict[int, Callable[[float], None]] = {}
        self._ids = count(1)
        self._starting = asyncio.Lock()

    async def ask(self, question: dict[str, Any], report: Callable[[float], None] | None = None) -> dict[str, Any]:
        """The answer as plain data; {"refused": [...]} with sentences when there is none. `report` hears the share done."""
        process = await self._running()
        number = next(self._ids)
        future: asyncio.Future[dict[str, Any]] = asyncio.get_running_loop().create_future()
        self._waiting[number] = future
        if report is not None:
            self._reports[number] = report
        try:
            if process.stdin is None:
                raise ConnectionError("no way in")
            process.stdin.write((json.dumps({"id": number, **question}) + "\n").encode())
            await process.stdin.drain()
            return await future
        except (ConnectionError, asyncio.CancelledError) as error:
            if isinstance(error, asyncio.CancelledError) and not self._died(process):
                raise
            return {"refused": [{"where": "", "what": "the solving process ended; it is started again, try once more"}]}
        finally:
            self._waiting.pop(number, None)
            self._reports.pop(number, None)

    def _died(self, process: asyncio.subprocess.Process) -> bool:
        return process.returncode is not None

    async def _running(self) -> asyncio.subprocess.Process:
        async with self._starting:
            if self._process is None or self._process.returncode is not None:
                self._process = await asyncio.create_subprocess_exec(
                    sys.executable, "-m", "coilwright.bench.worker",
                    stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, limit=_LINE,
                    env={**os.environ, **ONE_THREAD},
                )  # fmt: skip
                self._reader = asyncio.create_task(self._read(self._process))
            return self._process

    async def warm(self) -> None:
        """Start the process before it is needed."""
        await self._running()

    async def _read(self, process: asyncio.subprocess.Process) -> None:
        if process.stdout is None:
            return
        while line := await process.stdout.readline():
            answer = json.loads(line)
            number = answer.pop("id")
            if answer.keys() == {"share"}:
                if number in self._reports:
                    self._reports[number](answer["share"])
                continue
            future = self._waiting.get(number)
            if future is not None and not future.done():
                future.set_result(answer)
        await process.wait()
        for future in self._waiting.values():
            if not future.done():
                future.set_exception(ConnectionError("the solving process ended"))

    async def close(self) -> None:
        process = self._process
        if process is None or process.returncode is not None:
            return
        if process.stdin is not None:
            process.stdin.close()
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        await process.wait()
