"""What leaves the page as files: the build pack, pictures, tables, the job file."""

from __future__ import annotations

from typing import Any, get_args

from nicegui import ui

from coilwright.bench.form import Form
from coilwright.bench.parts import button, text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger
from coilwright.job.schema_documents import Language


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The build pack")
        text(
            "p",
            "One PDF for offer, designer, workshop and operator, with its drawings (SVG, DXF), tables (CSV) and the form of the "
            "hand-over. Local codes and licensed practice decide over everything in it.",
            "told",
        )
        form = Form(
            [
                ("date", "date, in place of the job's", "2026-03-31"),
                (
                    "language",
                    "language of the operator's card",
                    [("", "as the job says"), *((x, x) for x in get_args(Language))],
                ),
                ("rates", "file of rates", [("", "none"), *((x, x) for x in _rates(state))]),
                ("limits", "limits of the readings", [("yes", "yes, takes longer"), ("no", "no")]),
            ]
        )

        def settings() -> dict[str, Any]:
            typed = form.values()
            return {**typed, "limits": typed["limits"] == "yes"}

        Trigger(state, "pack", "Write the build pack", settings)
        Results(state, "pack")
        text("h2", "Section and field as pictures")
        Trigger(state, "pictures", "Draw section and field", first=False)
        Results(state, "pictures")
        text("h2", "The job file")
        with ui.element("div").classes("tools"):
            button(
                state.desk.name,
                lambda: ui.download.content(state.desk.text, state.desk.name),
                label="Take the job file away",
            )
            text("span", "as it stands here, saved or not", "told")


def _rates(state: PageState) -> list[str]:
    """Files beside the job that may hold rates."""
    here = state.desk.path.parent
    return sorted(p.name for p in here.iterdir() if p.suffix in (".csv", ".toml") and "rate" in p.name.lower())
