"""Small pieces of the page: plain buttons, fields with their refusal beside them, tables of figures."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from coilwright.errors import BadInput, CoilwrightError

Act = Callable[[], Any]
_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def text(tag: str, words: str, classes: str = "") -> TextElement:
    """A plain element with words in it."""
    element = TextElement(tag=tag, text=words)
    return element.classes(classes) if classes else element


def button(words: str, act: Act, *, first: bool = False, label: str = "", key: str = "") -> TextElement:
    """A plain button; `label` is what a screen reader says when the words alone would not do, `key` its shortcut."""
    element = TextElement(tag="button", text=words).classes("plain first" if first else "plain")
    element.props["type"] = "button"
    if label:
        element.props["aria-label"] = label
    if key:
        element.props["title"] = key
    return element.on("click", lambda: act())


def pressed(element: TextElement, on: bool) -> None:
    """Show a button as pressed or not."""
    element.props["aria-pressed"] = "true" if on else "false"


def enable(element: TextElement, on: bool) -> None:
    element.props["disabled"] = not on


class Field:
    """One typed value with its label; a refusal stands under it and the typed text stays."""

    def __init__(self, label: str, value: str, take: Callable[[str], Any], marker: str = "") -> None:
        with ui.element("div").classes("field-row") as self.row:
            number = f"field-{self.row.id}"
            text("label", label).props["for"] = number
            self.input = ui.element("input")
            self.input.props.update({"id": number, "value": value, "autocomplete": "off", "spellcheck": "false"})
            if marker:
                self.input.props["data-key"] = marker
            self.fault = text("div", "", "fault")
            self.fault.props["role"] = "alert"
            self.fault.set_visibility(False)
        self.input.on("change", self._typed, js_handler="(e) => emit(e.target.value)")
        self._take = take

    def _typed(self, event: Any) -> None:
        try:
            self._take(str(event.args))
        except CoilwrightError as error:
            self.refuse(sentence(error))
        else:
            self.refuse("")

    def refuse(self, why: str) -> None:
        self.fault.set_text(why)
        self.fault.set_visibility(bool(why))
        self.input.props["aria-invalid"] = "true" if why else "false"

    def show(self, value: str) -> None:
        """A new value from outside."""
        if self.input.props.get("value") != value:
            self.input.props["value"] = value
        self.input.run_method("setAttribute", "value", value)


def sentence(error: CoilwrightError) -> str:
    """What went wrong, on one line."""
    return " ".join(str(f) for f in error.faults) if isinstance(error, BadInput) else str(error)


def sentences(refused: Iterable[dict[str, str]]) -> str:
    return " ".join(f"{f['where']}: {f['what']}" if f["where"] else f["what"] for f in refused)


def figures(rows: Sequence[tuple[str, str, str]]) -> str:
    """An HTML table of (label, value, classes); everything is escaped here."""
    body = "".join(
        f'<tr class="{html.escape(kind)}"><th scope="row">{html.escape(label)}</th><td>{html.escape(value)}</td></tr>'
        for label, value, kind in rows
    )
    return f'<table class="figures"><tbody>{body}</tbody></table>'


def si(value: float | None, unit: str, digits: int = 4) -> str:
    """A figure with a prefix that suits it.

    >>> si(0.00321, "ohm")
    '3.21 mohm'
    """
    if value is None:
        return "–"
    if value == 0.0 or abs(value) < 1e-15:
        return f"0 {unit}"
    scale, prefix = next(((s, p) for s, p in _PREFIXES if abs(value) >= s * 0.99995), _PREFIXES[-1])
    shown = f"{value / scale:.{digits}g}"
    if "e" in shown:
        shown = f"{value / scale:.0f}"
    return f"{shown} {prefix}{unit}"


def percent(share: float | None, digits: int = 3) -> str:
    return "–" if share is None else f"{100.0 * share:.{digits}g} %"
