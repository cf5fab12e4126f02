"""How hard and where a search looks."""

from __future__ import annotations

import os
from dataclasses import dataclass


@dataclass(frozen=True)
class Effort:
    """`evaluations` points (0: what the job file says), on `processes` (0: two, or one on a single core) or behind a dask
    `scheduler`; `seed` of all that is drawn; at most `most` points on the front shown; `folder` keeps the record of every
    point, so that the same search carries on from it, and `resume` insists that there is one."""

    evaluations: int = 0
    seed: int = 1
    processes: int = 0
    scheduler: str | None = None
    most: int = 12
    folder: str | os.PathLike[str] | None = None
    resume: bool = False
