"""The frame of the page: heading, rail of places, what is going on."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

from nicegui import Client, ui

from coilwright.bench.desk import Changed
from coilwright.bench.parts import button, enable, sentence, text
from coilwright.bench.places import PLACES
from coilwright.bench.state import Bench, PageState
from coilwright.errors import BadInput, CoilwrightError
from coilwright.job import TEMPLATES, template

_CSS = (Path(__file__).parent / "bench.css").read_text(encoding="utf-8")


def job_page(bench: Bench, name: str, client: Client, first: str = "") -> None:
    """The page of one job file of the opened folder."""
    _frame_of_page()
    try:
        desk = bench.desk(bench.folder.job(name))
    except BadInput as error:
        _refused(sentence(error))
        return
    state = PageState(bench, desk, bench.live(desk), bench.studies(desk), client)
    client.on_delete(state.close)
    with ui.element("div").classes("bench"):
        _Head(state)
        rail = ui.element("nav").classes("bench-rail")
        rail.props["aria-label"] = "Places"
        main = ui.element("main").classes("bench-main")
        foot = _Foot(state)
    _Rail(state, rail, main, first)
    state.say = foot.say
    ui.timer(4.0, state.studies.warm, once=True)
    if desk.notice:
        foot.say(desk.notice, False)
        desk.notice = ""


def folder_page(bench: Bench) -> None:
    """Which jobs there are, and a new one."""
    _frame_of_page()
    with ui.element("main").classes("place"):
        text("h1", "Jobs in this folder").style("font-size: 1.2rem; font-weight: 700; line-height: 1.4")
        text("p", str(bench.folder.root), "told")
        names = bench.folder.jobs()
        with ui.element("ul").style("line-height: 2"):
            for name in names:
                with ui.element("li"):
                    link = text("a", name).style("color: var(--current); text-decoration: underline")
                    link.props["href"] = f"/job/{name}"
        if not names:
            text("p", "There is no job file here yet: start one below.")
        text("h2", "Start a new one")
        for kind, what in TEMPLATES.items():
            with ui.element("div").classes("tools"):
                button(f"New from {kind}", partial(_new, bench, kind))
                text("span", what, "told")


def _new(bench: Bench, kind: str) -> None:
    name, number = f"{kind}.toml", 2
    while (bench.folder.root / name).exists():
        name, number = f"{kind}-{number}.toml", number + 1
    try:
        bench.folder.new(name).write_text(template(kind), encoding="utf-8")
    except (CoilwrightError, OSError) as error:
        ui.notify(str(error))
        return
    ui.navigate.to(f"/job/{name}")


def _frame_of_page() -> None:
    ui.add_css(_CSS)
    ui.query("html").props("lang=en")


def _refused(why: str) -> None:
    with ui.element("main").classes("place"):
        text("h1", "Not opened").style("font-size: 1.2rem; font-weight: 700")
        text("p", why).props["role"] = "alert"
        link = text("a", "To the jobs of this folder").style("color: var(--current)")
        link.props["href"] = "/"


class _Head:
    """Title, file, undo, redo, save, light or dark."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        self.dark = ui.dark_mode(None)
        with ui.element("header").classes("bench-head"):
            self.title = text("h1", "")
            self.file = text("span", "", "file")
            ui.element("span").classes("grow")
            self.undo = button("Undo", self._undo, key="Ctrl+Z")
            self.redo = button("Redo", self._redo, key="Ctrl+Y")
            self.save = button("Save", self._save, first=True, key="Ctrl+S")
            button("Light or dark", self._turn)
            link = text("a", "All jobs", "plain")
            link.props["href"] = "/"
            self.banner = ui.element("div").classes("banner")
            self.banner.props["role"] = "alert"
            with self.banner:
                text("span", f"{state.desk.name} was changed by another program while it was edited here.")
                button("Take the file", self._take)
                button("Keep mine and save", self._over)
        keys = ui.keyboard(self._key, ignore=["input", "select", "textarea"])
        keys.props["aria-hidden"] = "true"
        state.on_desk(self.show)
        self.show()

    def show(self) -> None:
        desk = self.state.desk
        self.title.set_text(desk.job.title if desk.job else desk.name)
        self.file.set_text(f"{desk.name}{', not saved' if desk.dirty else ', saved'}")
        enable(self.undo, bool(desk.past))
        enable(self.redo, bool(desk.future))
        enable(self.save, desk.dirty)
        self.banner.set_visibility(desk.disk_changed)
        if desk.notice:
            self.state.say(desk.notice, False)
            desk.notice = ""

    def _undo(self) -> None:
        what = self.state.desk.undo()
        self.state.say(f"undone: {what}" if what else "nothing to undo", False)

    def _redo(self) -> None:
        what = self.state.desk.redo()
        self.state.say(f"done again: {what}" if what else "nothing to do again", False)

    def _save(self) -> None:
        try:
            self.state.desk.save()
            self.state.say(f"{self.state.desk.name} saved", False)
        except Changed as error:
            self.state.say(str(error), True)
            self.show()
        except OSError as error:
            self.state.say(
                f"{self.state.desk.name} could not be written ({error.strerror}); nothing is lost here", True
            )

    def _take(self) -> None:
        self.state.desk.take_disk()
        self.state.say("the text of the file is shown; what stood here is one undo away", False)

    def _over(self) -> None:
        self.state.desk.save(over=True)
        self.state.say(f"{self.state.desk.name} saved over the other program's change", False)

    def _turn(self) -> None:
        self.dark.value = not self.dark.value if self.dark.value is not None else True

    def _key(self, event: Any) -> None:
        if not event.action.keydown or not (event.modifiers.ctrl or event.modifiers.meta):
            return
        name = str(event.key).lower()
        acts = {"z": self._redo if event.modifiers.shift else self._undo, "y": self._redo, "s": self._save}
        if name in acts:
            acts[name]()


class _Rail:
    """The places, one shown at a time; each is built when it is first opened."""

    def __init__(self, state: PageState, rail: ui.element, main: ui.element, first: str) -> None:
        self.state, self.main = state, main
        self.built: dict[str, ui.element] = {}
        self.buttons: dict[str, Any] = {}
        with rail:
            for place in PLACES:
                element = text("button", place.title).on("click", lambda _, key=place.key: self.open(key))
                element.props["type"] = "button"
                self.buttons[place.key] = element
        state.go = self.open
        self.open(first if first in self.buttons else PLACES[0].key)

    def open(self, key: str) -> None:
        place = next(p for p in PLACES if p.key == key)
        for other, element in self.buttons.items():
            element.props["aria-current"] = "page" if other == key else "false"
        for other, box in self.built.items():
            box.set_visibility(other == key)
        if key in self.built:
            return
        with self.main:
            box = ui.element("section").style("width: 100%; height: 100%")
        box.props["aria-label"] = place.title
        self.built[key] = box
        with box:
            job = self.state.desk.job
            if job is not None and not place.fits(job):
                with ui.element("div").classes("place"):
                    text("h2", place.title)
                    text("p", place.missing)
                    text("pre", place.sample, "sample").props.update({"tabindex": "0", "aria-label": "Example"})
                    with ui.element("div").classes("tools"):
                        button("Open the job file", partial(self.open, "file"))
                del self.built[key]
                self.built[f"{key} "] = box
                return
            place.build(self.state)


class _Foot:
    """What is going on: what is computed, what was said last."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        with ui.element("footer").classes("bench-foot"):
            self.doing = text("span", "", "doing")
            self.doing.props["role"] = "status"
            self.last = text("span", "")
            self.last.props["role"] = "status"
        state.on_live(self.show)
        self.show()

    def show(self) -> None:
        doing = self.state.live.doing
        self.doing.set_text(f"{doing} …" if doing else "at rest")
        self.doing.props["data-settled"] = "true" if self.state.live.current and not doing else "false"

    def say(self, words: str, bad: bool) -> None:
        self.last.set_text(words)
        self.last.classes(replace="bad" if bad else "")
