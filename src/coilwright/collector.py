"""The collector of cyclic garbage held still for a while.

Nearly all we make is freed by its counts. Looking through a quarter of a million objects for the cycles among them takes a tenth
of the time of loading and a twentieth of that of a pack (own runs), and a forked process copies every page so looked at.
"""

from __future__ import annotations

import atexit
import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def held_still() -> Iterator[None]:
    """No search for cycles until it ends, unless the caller had none anyway."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def none_at_the_end() -> None:
    """No search when this process ends: its memory goes back to the system anyway. Looking three times through all that was
    imported would keep whoever called waiting for half a second (own runs). For a program of its own, not for a guest."""
    atexit.register(gc.freeze)
