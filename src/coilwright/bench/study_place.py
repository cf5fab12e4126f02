"""A place whose work is a study: a form with its button, the list of its studies, and the result that is chosen."""

from __future__ import annotations

import html
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from nicegui import ui

from coilwright.bench.parts import button, sentence, text
from coilwright.bench.place_studies import StudyTable
from coilwright.bench.state import PageState
from coilwright.errors import BadInput, CoilwrightError, Fault

Settings = Callable[[], dict[str, Any]]
_SHORT = 8  # characters
More = Callable[[int, dict[str, Any]], None]


class Trigger:
    """A button that begins a study of the job as it stands; a refusal stands beside it in one sentence."""

    def __init__(
        self, state: PageState, kind: str, words: str, settings: Settings = dict, *, first: bool = True
    ) -> None:
        self.state, self.kind, self.settings = state, kind, settings
        with ui.element("div").classes("tools"):
            self.button = button(words, self.begin, first=first)
            self.fault = text("span", "", "bad")
            self.fault.props["role"] = "alert"

    def begin(self) -> None:
        desk = self.state.desk
        try:
            if desk.job is None:
                raise BadInput(desk.faults or Fault(desk.name, "has faults; mend its text first"))
            asked = self.settings()
            number = self.state.studies.begin(self.kind, desk.now.done, desk.text, desk.path.parent, asked)
        except CoilwrightError as error:
            self.fault.set_text(sentence(error))
            return
        except OSError as error:
            self.fault.set_text(f"the study could not be begun ({error.strerror}); nothing is lost")
            return
        self.fault.set_text("")
        self.state.say(f"{self.kind} {number} begun", False)


class Results:
    """The studies of one kind and the result of the one that is chosen, brought up to date as they end."""

    def __init__(self, state: PageState, kind: str, more: More | None = None) -> None:
        self.state, self.kind, self.more = state, kind, more
        self.known: set[int] = set()
        self.chosen: int | None = None
        StudyTable(state, kind).show()
        with ui.element("div").classes("tools"):
            self.pick = ui.element("select").classes("plain")
            self.pick.props["aria-label"] = f"Which {kind} is shown"
            self.pick.on("change", lambda e: self.choose(int(e.args)), js_handler="(e) => emit(e.target.value)")
            self.stale = text("span", "", "told")
            self.stale.props["role"] = "status"
        self.box = ui.element("div").classes("shown")
        state.on_studies(self.look)
        state.on_desk(self._age)
        self.pick.set_visibility(False)
        self.look()

    def look(self) -> None:
        done = {s.number: s for s in self.state.studies.listed if s.kind == self.kind and s.state == "done"}
        if set(done) == self.known:
            return
        fresh, self.known = set(done) - self.known, set(done)
        self.pick.set_visibility(len(done) > 1)
        wanted = max(fresh) if fresh else self.chosen if self.chosen in done else max(done, default=None)
        self.pick.clear()
        with self.pick:
            for number in sorted(done, reverse=True):
                option = text("option", f"{number}: {done[number].title}, {done[number].said}"[:110])
                option.props.update({"value": str(number), "selected": number == wanted})
        self.choose(wanted)

    def choose(self, number: int | None) -> None:
        self.chosen = number
        self.box.clear()
        result = None if number is None else self.state.studies.result(number)
        self._age()
        if result is None or number is None:
            return
        with self.box:
            show_result(self.state, number, result, self.kind)
            if self.more is not None:
                self.more(number, result)

    def _age(self) -> None:
        words = ""
        if self.chosen is not None:
            try:
                asked = (self.folder(self.chosen) / "job.toml").read_text(encoding="utf-8")
            except OSError:
                asked = self.state.desk.text
            if asked != self.state.desk.text:
                words = "This is the job as it was when the study was begun; it has been changed since."
        self.stale.set_text(words)

    def folder(self, number: int) -> Path:
        return self.state.studies.root / str(number)


def show_result(state: PageState, number: int, result: dict[str, Any], kind: str) -> None:
    """Sentences, tables with their CSV, pictures with their files, cautions, findings."""
    text("h2", f"No. {number}: {result['said']}")
    for line in result["lines"]:
        text("p", line)
    if result["cautions"]:
        cautions(result["cautions"])
    for finding in result["findings"]:
        text("p", finding, "finding")
    for each in result["tables"]:
        show_table(each, f"{state.desk.path.stem}-{each['name']}.csv")
    if result["pictures"]:
        with ui.element("div").classes("prints"):
            for picture in result["pictures"]:
                _print(state, number, picture)
    if result["files"]:
        text("h3", "Files")
        with ui.element("div").classes("tools"):
            for name in result["files"]:
                button(name, partial(take, state, number, name), label=f"Take {name} away")


def cautions(lines: list[str]) -> None:
    """What can hurt someone, where the settings stand."""
    with ui.element("div").classes("cautions"):
        text("h3", "Cautions")
        with ui.element("ul"):
            for line in lines:
                text("li", line)


def show_table(given: dict[str, Any], file: str) -> None:
    """A table of a result; wide ones scroll sideways."""
    with ui.element("div").classes("tools"):
        text("h3", given["title"])
        button(
            "CSV",
            lambda: ui.download.content("\ufeff" + given["csv"], file, "text/csv"),
            label=f"Take the table away: {given['title']} (CSV)",
        )
    box = ui.element("div").classes("wide")
    box.props.update({"tabindex": "0", "role": "region", "aria-label": given["title"]})
    with box:
        ui.html(_rows(given), sanitize=False)
    for note in given["notes"]:
        text("p", note, "told")


def _rows(given: dict[str, Any]) -> str:
    sides = ["" if words else ' class="count"' for words in given["words"]]
    head = "".join(f'<th scope="col"{s}>{html.escape(h)}</th>' for h, s in zip(given["head"], sides, strict=True))
    body = "".join(
        "<tr>"
        + "".join(f"<td{s or _short(cell)}>{html.escape(cell)}</td>" for cell, s in zip(row, sides, strict=True))
        + "</tr>"
        for row in given["rows"]
    )
    return f'<table class="bench-table"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def _short(cell: str) -> str:
    """A word or a unit is not broken; sentences are."""
    return ' class="short"' if len(cell) <= _SHORT else ""


def _print(state: PageState, number: int, picture: dict[str, Any]) -> None:
    name, words, forms = picture["name"], picture["words"], picture["forms"]
    with ui.element("figure"):
        image = ui.element("img")
        inside = state.desk.path.relative_to(state.bench.folder.root).as_posix()
        image.props.update({"src": f"/kept/{number}/{name}.{forms[-1]}/{inside}", "alt": words, "loading": "lazy"})
        with ui.element("figcaption").classes("tools"):
            text("span", words)
            for ending in forms:
                label = f"Take the picture away: {words} ({ending.upper()})"
                button(ending.upper(), partial(take, state, number, f"{name}.{ending}"), label=label)


def take(state: PageState, number: int, name: str) -> None:
    """Give a file of a study away."""
    try:
        data = (state.studies.root / str(number) / Path(name).name).read_bytes()
    except OSError as error:
        state.say(f"{name} of study {number} cannot be read ({error.strerror}); run the study again", True)
        return
    ui.download.content(data, f"{state.desk.path.stem}-{Path(name).name}")
