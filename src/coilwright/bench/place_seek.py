"""The search: points that no other beats, each to be opened as a job file of its own."""

from __future__ import annotations

from functools import partial
from typing import Any

from nicegui import ui

from coilwright.bench.form import Form
from coilwright.bench.open_copy import write_beside
from coilwright.bench.parts import button, text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The search")
        text(
            "p",
            "Points within the bounds of [seek] that no other beats; a search goes on when this page is closed.",
            "told",
        )
        form = Form(
            [("evaluations", "points to look at", "200"), ("seed", "seed", "1")], {"evaluations": "200", "seed": "1"}
        )

        def settings() -> dict[str, Any]:
            return {"evaluations": form.count("evaluations", 4, 20_000), "seed": form.count("seed", 0, 10**9)}

        Trigger(state, "seek", "Begin the search", settings)
        Results(state, "seek", partial(_points, state))


def _points(state: PageState, number: int, result: dict[str, Any]) -> None:
    text("h3", "Open a point as a job file beside this one")
    with ui.element("div").classes("tools"):
        for point in result["points"]:
            name = f"{state.desk.path.stem}-{number}-{point['file']}"
            act = partial(write_beside, state, number, point["file"], name)
            button(f"Point {point['number']}", act, label=f"Open point {point['number']} as a job file")
