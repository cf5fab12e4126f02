"""A few typed values before something is begun; read when the button is pressed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from nicegui import ui

from coilwright.bench.parts import text
from coilwright.errors import BadInput, Fault


class Form:
    """Labelled fields. A field is (key, label, example) typed, or (key, label, choices) with what may be chosen."""

    def __init__(self, fields: Sequence[tuple[str, str, Any]], begin: Mapping[str, str] | None = None) -> None:
        self._begin = {key: "" for key, _, _ in fields} | dict(begin or {})
        self._values = dict(self._begin)
        self._labels = {key: label for key, label, _ in fields}
        self._choices: dict[str, set[str]] = {}
        self.inputs: dict[str, ui.element] = {}
        self.box = ui.element("div").classes("form")
        with self.box:
            for key, label, more in fields:
                with text("label", ""):
                    text("span", label)
                    self._field(key, more)

    def _field(self, key: str, more: Any) -> None:
        if isinstance(more, str):
            element = ui.element("input")
            element.props.update(
                {"value": self._begin[key], "placeholder": more, "autocomplete": "off", "spellcheck": "false"}
            )
            element.props["size"] = str(min(max(len(more), 12), 46))
        else:
            element = ui.element("select")
            self.offer(element, key, more)
        element.props["data-key"] = key
        element.on("input", lambda e: self._typed(key, str(e.args)), js_handler="(e) => emit(e.target.value)")
        self.inputs[key] = element

    def _typed(self, key: str, value: str) -> None:
        if key not in self._choices or value in self._choices[key]:  # a choice that was never offered is no choice
            self._values[key] = value

    def offer(self, element: ui.element, key: str, choices: Sequence[tuple[str, str]]) -> None:
        """What a choice offers: (value, words). Keeps what is chosen where it is still there."""
        known = [value for value, _ in choices]
        self._choices[key] = set(known)
        if self._values[key] not in known:
            self._values[key] = known[0] if known else ""
        element.clear()
        with element:
            for value, words in choices:
                option = text("option", words)
                option.props.update({"value": value, "selected": value == self._values[key]})

    def choose(self, key: str, value: str) -> None:
        """Choose one of what is offered."""
        self._typed(key, value)
        for option in self.inputs[key].default_slot.children:
            option.props["selected"] = option.props["value"] == self._values[key]

    def values(self) -> dict[str, str]:
        return dict(self._values)

    def count(self, key: str, least: int, most: int) -> int:
        """A whole number within bounds. Raises BadInput."""
        typed = self._values[key].replace(" ", "")
        if not typed.isdecimal() or not least <= int(typed) <= most:
            what = f'must be a whole number from {least} to {most}; received "{typed[:40]}"'
            raise BadInput(Fault(self._labels[key], what))
        return int(typed)

    def empty(self) -> None:
        """Back to what it began with."""
        self._values = dict(self._begin)
        for key, element in self.inputs.items():
            element.props["value"] = self._begin[key]
            ui.run_javascript(f"getHtmlElement({element.id}).value = {self._begin[key]!r}")
