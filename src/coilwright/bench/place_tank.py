"""The tank: where the source settles, what every part carries, start-up, cautions."""

from __future__ import annotations

from nicegui import ui

from coilwright.bench.parts import text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The tank and its source")
        text("p", "The shot with the job's own source: operating points, ratings, start-up, water.", "told")
        Trigger(state, "tank", "Compute the tank")
        Results(state, "tank")
