"""The places of the page, in the order of the rail. To add one: a file with `place(state)`, and a line here.

`place(state)` is called once per tab, the first time the place is opened, inside an empty column; what it builds stays
there and is shown and hidden. It shows what the steps compute and keeps itself up to date with `state.on_desk`,
`state.on_live` and `state.on_studies`. The module is loaded when the place is first opened.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from coilwright.bench import samples
from coilwright.bench.state import PageState
from coilwright.job import Job


@dataclass(frozen=True)
class Place:
    """`fits` tells whether a job has what the place needs; one that does not fit is told what is `missing`, with a `sample`."""

    key: str
    title: str
    module: str
    fits: Callable[[Job], bool] = lambda job: True
    missing: str = ""
    sample: str = ""

    def build(self, state: PageState) -> None:
        place: Callable[[PageState], Any] = import_module(self.module).place
        place(state)


PLACES: tuple[Place, ...] = (
    Place("drawing", "Drawing", "coilwright.bench.place_drawing"),
    Place("hand", "By hand", "coilwright.bench.place_hand"),
    Place("shot", "Shot", "coilwright.bench.place_shot"),
    Place(
        "tank", "Tank", "coilwright.bench.place_tank", lambda job: "source" in job.later,
        "This job has no source. Add [tank], [[capacitor]] and [source] in the job file, for example so, with your own figures:",
        samples.TANK,
    ),
    Place(
        "window", "Window", "coilwright.bench.place_window", lambda job: "varies" in job.later,
        "This job does not say how far anything varies. Add [[varies]] tables in the job file, and [fixture] for several "
        "stations, for example so, with your own figures:", samples.VARIES,
    ),
    Place(
        "seek", "Search", "coilwright.bench.place_seek", lambda job: "seek" in job.later,
        "This job does not say what may be changed. Add [seek] with [[seek.over]] bounds in the job file, for example so, with "
        "your own figures:", samples.SEEK,
    ),
    Place("trial", "Trial", "coilwright.bench.place_trial"),
    Place("line", "Line", "coilwright.bench.place_line"),
    Place("materials", "Materials", "coilwright.bench.place_materials"),
    Place("paper", "Paper", "coilwright.bench.place_paper"),
    Place("studies", "Studies", "coilwright.bench.place_studies"),
    Place("file", "Job file", "coilwright.bench.place_file"),
)  # fmt: skip
