"""The window: what yield to expect, how far each thing may be out, what causes scrap, what would show it."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from coilwright.bench.form import Form
from coilwright.bench.parts import text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger

_EFFORT = [
    ("", "as usual"),
    ("small", "small: quick and rough"),
    ("large", "large: twice the full shots that check"),
]


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The window")
        text(
            "p",
            "Full shots over everything that varies, then virtual shots of all stations: minutes of work, which go on when this "
            "page is closed.",
            "told",
        )
        form = Form(
            [
                ("effort", "how thorough", _EFFORT),
                ("runs", "full shots to build on", "as many as needed"),
                ("shots", "virtual shots", "100000"),
                ("seed", "seed", "1"),
                ("readings", "what each reading would show", [("yes", "yes"), ("no", "no, saves time")]),
            ],
            {"shots": "100000", "seed": "1"},
        )

        def settings() -> dict[str, Any]:
            typed = form.values()
            return {
                "effort": typed["effort"],
                "runs": form.count("runs", 4, 5000) if typed["runs"].strip() else 0,
                "shots": form.count("shots", 1000, 2_000_000),
                "seed": form.count("seed", 0, 10**9),
                "readings": typed["readings"] == "yes",
            }

        Trigger(state, "window", "Look at the window", settings)
        Results(state, "window")
