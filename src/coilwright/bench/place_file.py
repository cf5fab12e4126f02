"""The job file as text: edit it here, faults stand under it."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from coilwright.bench.parts import button, sentence, text
from coilwright.bench.state import PageState
from coilwright.errors import CoilwrightError


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The job file")
        text("p", "Comments and order stay as they are when values are changed elsewhere on the page.", "told")
        area = ui.element("textarea").classes("sheet-text")
        area.props.update({"aria-label": "Text of the job file", "spellcheck": "false"})
        faults = text("div", "", "bad")
        faults.props["role"] = "alert"
        faults.style("white-space: pre-line")
        base = {"revision": state.desk.revision}

        def take(event: Any) -> None:
            try:
                state.desk.rewrite(str(event.args), base=base["revision"])
            except CoilwrightError as error:
                faults.set_text(sentence(error))

        def show() -> None:
            base["revision"] = state.desk.revision
            area.props["value"] = state.desk.text
            faults.set_text("\n".join(str(f) for f in state.desk.faults))

        area.on("change", take, js_handler="(e) => emit(e.target.value)")
        with ui.element("div").classes("tools"):
            button("Take this file away", lambda: ui.download.content(state.desk.text, state.desk.name))
        state.on_desk(show)
        show()
