"""The material library as one job sees it: the general one with the job's own [[material]] tables added."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from coilwright.materials import Library, library

_KEPT = 8
_made: dict[tuple[int, str, str], Library] = {}


def job_library(tables: Sequence[Mapping[str, Any]], file: str) -> Library:
    """Library with the tables of `file` added; raises BadInput with the faults of the tables.

    Kept for a few sets of tables, because a job is checked again at every change of one value.
    """
    base = library()
    if not tables:
        return base
    key = (id(base), file, repr(tables))
    if key not in _made:
        while len(_made) >= _KEPT:
            del _made[next(iter(_made))]
        _made[key] = base.with_tables(tables, file)
    return _made[key]
