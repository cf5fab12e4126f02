"""Full shots, and searches made of them, on a pool of processes."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any, TypeVar

from coilwright.errors import BadInput, workers_kept
from coilwright.window.margins import Outcome, Runner

_mine: Runner | None = None
_ours: Callable[[Any], Any] | None = None
_Task = TypeVar("_Task")
_Found = TypeVar("_Found")


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


def each(work: Callable[[_Task], _Found], tasks: Sequence[_Task], workers: int) -> list[_Found]:
    """`work` done on every task, in order; on `workers` processes where a process can be forked with all it knows."""
    if workers <= 1 or len(tasks) < 2 or "fork" not in multiprocessing.get_all_start_methods():
        return [work(task) for task in tasks]
    context = multiprocessing.get_context("fork")
    with workers_kept(), ProcessPoolExecutor(workers, context, initializer=_take, initargs=(work,)) as pool:
        return list(pool.map(_asked, tasks))


def _take(work: Callable[[Any], Any]) -> None:
    global _ours
    _ours = work


def _asked(task: Any) -> Any:
    if _ours is None:
        raise BadInput("a worker was started without anything to do")
    return _ours(task)
