"""Full shots on a pool of processes."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor

from coilwright.errors import BadInput, workers_kept
from coilwright.window.margins import Outcome, Runner

_mine: Runner | None = None


def _enter(runner: Runner) -> None:
    global _mine
    _mine = runner


def _work(task: tuple[dict[str, float], float]) -> Outcome:
    if _mine is None:
        raise BadInput("a worker was started without a job")
    return _mine.run(*task)


def run_all(
    runner: Runner, tasks: Iterable[tuple[dict[str, float], float]], workers: int, done: Callable[[int], None]
) -> list[Outcome]:
    """All shots, in order; on a pool of processes when `workers` > 1."""
    tasks = list(tasks)
    out: list[Outcome] = []
    if workers <= 1 or len(tasks) < 2:
        for n, task in enumerate(tasks, 1):
            out.append(runner.run(*task))
            done(n)
        return out
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    with (
        workers_kept(),
        ProcessPoolExecutor(workers, mp_context=context, initializer=_enter, initargs=(runner,)) as pool,
    ):
        for n, outcome in enumerate(pool.map(_work, tasks, chunksize=2), 1):
            out.append(outcome)
            done(n)
    return out
