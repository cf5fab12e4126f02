"""By hand: the job on paper before anything is solved, each line with its formula and where it comes from."""

from __future__ import annotations

from nicegui import ui

from coilwright.bench.parts import text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The job by hand")
        text(
            "p",
            "Energy, power, sensible frequency, coil and supply by closed formulas, for the first answer to an enquiry. Expect "
            "30 %: the figures beside the drawing and the shot decide.",
            "told",
        )
        Trigger(state, "quick", "Work it out by hand")
        Results(state, "quick")
