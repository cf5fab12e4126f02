"""Compilation of inner loops: by numba where it is installed, else the interpreter runs them (slow, same numbers)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])

try:
    import numba

    def _compiled(function: F, **how: Any) -> F:
        try:
            result: Any = numba.njit(cache=True, error_model="numpy", **how)(function)
        except RuntimeError:  # neither the package's folder nor the user's own can be written: compile anew each time
            result = numba.njit(error_model="numpy", **how)(function)
        return cast(F, result)

except ImportError:  # numba is missing: correctness does not depend on it, only speed

    def _compiled(function: F, **how: Any) -> F:
        return function


def compiled(function: F) -> F:
    """Machine code, kept on disk between runs; one thread, division by zero as in numpy."""
    return _compiled(function)


def compiled_loosely(function: F) -> F:
    """The same, and sums may be taken in another order: several terms at once, with other rounding."""
    return _compiled(function, fastmath={"reassoc", "contract"})
