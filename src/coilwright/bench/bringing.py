"""A file chosen from this computer, taken as text; what is refused stands beside it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from nicegui import ui

from coilwright.bench.parts import sentence, text
from coilwright.errors import BadInput, Fault

MOST = 3_000_000  # characters of a file that is brought; the socket takes four million bytes
_NAME = re.compile(r"\w[\w .+-]{0,80}\.csv")
_READ = (
    "async (e) => { const f = e.target.files[0]; if (!f) return; "
    f"emit(f.name, f.size > {MOST} ? null : await f.text()); e.target.value = ''; }}"
)


def chooser(label: str, take: Callable[[str, str], None], what: str, remedy: str) -> None:
    """A field that brings a CSV file. `take(name, its text)` may raise BadInput; `what` it is and the `remedy` when it is too
    long are for the refusal."""
    with ui.element("div").classes("form"):
        with text("label", ""):
            text("span", label)
            chosen = ui.element("input")
            chosen.props.update({"type": "file", "accept": ".csv,text/csv"})
        fault = text("span", "", "bad")
        fault.props["role"] = "alert"

    def brought(event: Any) -> None:
        try:
            name, words = event.args
            take(*checked(name, words, what, remedy))
        except BadInput as error:
            fault.set_text(sentence(error))
        else:
            fault.set_text("")

    chosen.on("change", brought, js_handler=_READ)


def checked(name: object, words: object, what: str, remedy: str) -> tuple[str, str]:
    """Name and text as the browser sent them. Raises BadInput for another name than a plain one, and a text too long."""
    given = str(name)
    if not _NAME.fullmatch(given):
        raise BadInput(Fault(what, f'must be a plain file name ending in .csv; received "{given[:60]}"; rename it'))
    if not isinstance(words, str) or len(words) > MOST:
        raise BadInput(Fault(given, f"holds more than {MOST / 1e6:g} MB; {remedy}"))
    return given, words
