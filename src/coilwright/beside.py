"""Work on a process of its own, forked with all its maker knows, while the maker goes on.

No thread waits for it: a process is safely forked again only while it has no threads.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from coilwright.errors import workers_kept

_Found = TypeVar("_Found")


def processors() -> int:
    """Processors that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def with_processes(workers: int) -> bool:
    """Whether so many workers mean processes of their own, forked."""
    return workers > 1 and "fork" in multiprocessing.get_all_start_methods()


@contextmanager
def begun(work: Callable[[], _Found], workers: int = 2) -> Iterator[Callable[[], _Found]]:
    """Begin `work` and yield what waits for its outcome and returns it, or raises what it raised. With one worker, or where
    processes cannot be forked, it is done when its outcome is asked for. What nobody asked for by the end is given up.

    Raises CoilwrightError, from within, when the process was ended from outside.
    """
    if not with_processes(workers):
        yield work
        return
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_send, args=(work, here, there))
    process.start()
    there.close()  # so that its end is noticed here
    outcomes: list[tuple[bool, Any]] = []

    def outcome() -> _Found:
        if not outcomes:
            with workers_kept():
                outcomes.append(_received(here))
        done, found = outcomes[0]
        if not done:
            raise found
        kept: _Found = found
        return kept

    try:
        yield outcome
    finally:
        here.close()
        process.terminate()
        process.join()


def _received(here: Connection) -> tuple[bool, Any]:
    from concurrent.futures.process import BrokenProcessPool

    try:
        done, found = here.recv()
    except EOFError:
        raise BrokenProcessPool("the process ended without a word") from None
    return done, found


def _send(work: Callable[[], Any], here: Connection, there: Connection) -> None:
    """What came of the work, or its fault."""
    here.close()  # so that the end of whoever waits is noticed
    try:
        said = True, work()
    except KeyboardInterrupt:  # the maker is told as well, and has the word
        return
    except Exception as fault:  # whoever asks is to meet it
        said = False, fault
    try:
        there.send(said)
    except BrokenPipeError:  # nobody waits any more
        return
    except Exception as fault:  # what came of it cannot be sent
        there.send((False, fault))
