"""What runs in the background and what has finished; kept beside the job."""

from __future__ import annotations

import time
from functools import partial
from typing import Any

from nicegui import ui

from coilwright.bench.parts import button, text
from coilwright.bench.state import PageState
from coilwright.bench.studies import Study

_WORDS = {
    "waiting": "waits",
    "running": "runs",
    "done": "done",
    "failed": "failed",
    "stopped": "stopped",
    "lost": "lost",
}
# kind of study -> the place that shows its result
SHOWN_IN = {
    "quick": "hand", "shot": "shot", "tank": "tank", "window": "window", "pack": "paper", "pictures": "paper", "trial": "trial",
    "seek": "seek", "line": "line", "why": "line", "rehearsal": "line", "record": "line",
}  # fmt: skip


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "Studies of this job")
        text(
            "p",
            "Each runs in a process of its own and is kept beside the job: closing this page, or ending the server, loses none.",
            "told",
        )
        table = StudyTable(state)
        table.show()


class StudyTable:
    """The list, newest first, brought up to date as the studies go on."""

    def __init__(self, state: PageState, kind: str = "") -> None:
        self.state, self.kind = state, kind
        self.box = ui.element("div").style("width: 100%")
        self.shown: list[Any] | None = None
        self.bars: dict[int, tuple[Any, Any]] = {}
        state.on_studies(self.show)

    @property
    def studies(self) -> list[Study]:
        return [s for s in self.state.studies.listed if not self.kind or s.kind == self.kind]

    def show(self) -> None:
        rows = [(s.number, s.state) for s in self.studies]
        if rows != self.shown:
            self.shown = rows
            self._build()
        for study in self.studies:
            if study.number in self.bars:
                bar, said = self.bars[study.number]
                bar.props["value"] = f"{study.share:.3f}"
                said.set_text(f"{100 * study.share:.0f} %, {study.took:.0f} s {study.said}")

    def _build(self) -> None:
        self.box.clear()
        self.bars = {}
        with self.box:
            if not self.studies:
                text("p", "None yet.")
                return
            with ui.element("table").classes("bench-table"):
                with ui.element("thead"), ui.element("tr"):
                    for head in ("No.", "What", "Begun", "State", "To do"):
                        text("th", head).props["scope"] = "col"
                with ui.element("tbody"):
                    for study in self.studies:
                        self._row(study)

    def _row(self, study: Study) -> None:
        state = self.state
        with ui.element("tr"):
            text("td", str(study.number))
            text("td", study.title if self.kind else f"{study.kind}: {study.title}")
            text("td", time.strftime("%d %b %H:%M", time.localtime(study.made)))
            with ui.element("td"):
                text("span", _WORDS[study.state] + " ")
                if study.state == "running":
                    bar = ui.element("progress")
                    bar.props.update({"max": "1", "value": "0", "aria-label": f"study {study.number}"})
                    self.bars[study.number] = (bar, text("span", "", "told"))
                else:
                    text("span", study.said, "told" if study.state == "done" else "bad")
            with ui.element("td"), ui.element("div").classes("tools"):
                if not study.ended:
                    button("Stop", partial(state.studies.stop, study.number), label=f"Stop study {study.number}")
                    return
                target = SHOWN_IN.get(study.kind)
                if study.state == "done" and target and not self.kind:
                    button("Show", partial(state.go, target), label=f"Show study {study.number}")
                button("Remove", partial(state.studies.forget, study.number), label=f"Remove study {study.number}")
