"""Where points are looked at: here, on a pool of processes, or on machines behind a dask scheduler.

Each takes a list of tasks and yields (place in the list, outcome) as they are done, in any order.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib import import_module
from typing import Any, TypeAlias

from coilwright.errors import BadInput, CoilwrightError, Fault, MissingExtra
from coilwright.section.sizes import Level
from coilwright.seek.evaluate import Evaluator, Outcome

Task: TypeAlias = tuple[Mapping[str, Any], Level]
Workers: TypeAlias = Callable[[Sequence[Task]], Iterator[tuple[int, Outcome]]]
_WAIT = 15.0  # s until a scheduler must have answered
_LOST = (
    "a worker was lost in the middle of its work; what is done is kept in the record, and the same command carries on"
)


@contextmanager
def workers_for(evaluator: Evaluator, processes: int, scheduler: str | None) -> Iterator[Workers]:
    """The workers asked for; given back when the context ends. Raises BadInput, MissingExtra."""
    if scheduler is not None:
        with _cluster(evaluator, scheduler) as found:
            yield found
    elif processes <= 1:
        yield lambda tasks: ((n, evaluator(*task)) for n, task in enumerate(tasks))
    else:
        with _pool(evaluator, processes) as found:
            yield found


_here: list[Evaluator] = []


def _enter(evaluator: Evaluator, parent: int) -> None:
    _here[:] = [evaluator]
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a stop at the keyboard goes to the parent, which stops its workers
    threading.Thread(target=_leave_with, args=(parent,), daemon=True).start()


def _leave_with(parent: int) -> None:
    """A worker whose parent was killed would wait for ever: leave with it."""
    while os.getppid() == parent:
        time.sleep(1.0)
    os._exit(1)


def _look(task: Task) -> Outcome:
    return _here[0](*task)


@contextmanager
def _pool(evaluator: Evaluator, processes: int) -> Iterator[Workers]:
    # forked workers start with everything imported; elsewhere each has to load the solvers first
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    pool = ProcessPoolExecutor(processes, mp_context=context, initializer=_enter, initargs=(evaluator, os.getpid()))

    def run(tasks: Sequence[Task]) -> Iterator[tuple[int, Outcome]]:
        places = {pool.submit(_look, task): n for n, task in enumerate(tasks)}
        try:
            for done in as_completed(places):
                yield places[done], done.result()
        except BrokenProcessPool:
            raise CoilwrightError(_LOST) from None

    try:
        yield run
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _cluster(evaluator: Evaluator, address: str) -> Iterator[Workers]:
    try:
        dask: Any = import_module("distributed")
    except ImportError:
        raise MissingExtra("distributed", "cluster", "--scheduler") from None
    try:
        client = dask.Client(address, timeout=_WAIT, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        what = f'no dask scheduler answers at "{address[:100]}" ({type(error).__name__}); start one, or leave --scheduler out'
        raise BadInput(Fault("--scheduler", what)) from None
    try:
        _same_version(client)
        shared = client.scatter(evaluator, broadcast=True)

        def run(tasks: Sequence[Task]) -> Iterator[tuple[int, Outcome]]:
            places = {client.submit(_afar, shared, task, pure=False): n for n, task in enumerate(tasks)}
            for done in dask.as_completed(list(places), loop=client.loop):
                if done.status != "finished":
                    raise CoilwrightError(f"{_LOST} ({done.exception()})")
                yield places[done], done.result()

        yield run
    finally:
        client.close()


def _same_version(client: Any) -> None:
    """Every worker must have this version: figures of another would not be those of `heat` here."""
    try:
        found = client.run(_version)
    except Exception as error:  # whatever the other side raises: most often that it cannot load the package
        what = (
            f"a worker of the cluster cannot load coilwright ({type(error).__name__}: {error}); install it there, too"
        )
        raise BadInput(Fault("--scheduler", what)) from None
    if not found:
        raise BadInput(Fault("--scheduler", "the scheduler has no workers; start at least one"))
    others = sorted(set(found.values()) - {_version()})
    if others:
        what = f"its workers have coilwright {', '.join(others)}, here it is {_version()}; install the same there"
        raise BadInput(Fault("--scheduler", what))


def _version() -> str:
    return str(import_module("coilwright").__version__)


def _afar(evaluator: Evaluator, task: Task) -> Outcome:
    return evaluator(*task)
