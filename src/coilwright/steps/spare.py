"""Work for whoever is free first: a pool of processes once it has done what it was given before, else the caller."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from contextlib import suppress
from typing import Any, Generic, TypeVar

_Found = TypeVar("_Found")


class Spare(Generic[_Found]):
    """`work(*args)`, begun by `pool` as soon as `before` is done unless the caller has `claim`ed it by then."""

    def __init__(self, pool: Executor, before: Future[Any], work: Callable[..., _Found], *args: Any) -> None:
        self._pool, self._work, self._args = pool, work, args
        self._claimed = False
        self._begun: Future[_Found] | None = None
        before.add_done_callback(self._begin)

    def _begin(self, before: Future[Any]) -> None:
        if self._claimed:
            return
        with suppress(RuntimeError):  # the pool is closed or broken: whoever still asks does it
            self._begun = self._pool.submit(self._work, *self._args)

    def claim(self) -> Future[_Found]:
        """The caller is free: does the work where nobody has begun it."""
        self._claimed = True
        if self._begun is None:
            own: Future[_Found] = Future()
            own.set_result(self._work(*self._args))
            self._begun = own
        return self._begun

    def withdraw(self) -> bool:
        """The work is to be done elsewhere: whether nobody had begun it."""
        self._claimed = True
        return self._begun is None

    def done(self) -> bool:
        return self._begun is not None and self._begun.done()

    def result(self) -> _Found:
        """What came of it, waited for; raises what the work raised."""
        return self.claim().result()
