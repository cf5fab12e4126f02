"""One thread for linear algebra while a verb works: our matrices are small, and more threads slow a shot tenfold (own runs)."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def _controller() -> Any:
    """Of the libraries loaded by now; looking takes 0.3 ms."""
    import scipy.linalg  # noqa: F401  # brings its own BLAS, which must be there to be found
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def on_one_thread(work: Callable[P, R]) -> Callable[P, R]:
    """`work`, run with BLAS held to one thread; what the caller had set comes back afterwards."""

    @wraps(work)
    def held(*args: P.args, **kwargs: P.kwargs) -> R:
        with _controller().limit(limits=1, user_api="blas"):
            return work(*args, **kwargs)

    return held
