"""The line: the shot log of a machine, and which cause explains a complaint."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

from nicegui import ui

from coilwright.bench.form import Form
from coilwright.bench.hand_over import record
from coilwright.bench.open_copy import beside
from coilwright.bench.parts import button, text
from coilwright.bench.rehearsals import of_rehearsal, practice, rehearsals
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger
from coilwright.errors import BadInput, Fault
from coilwright.line.machine import READINGS

_STORES = (".db", ".sqlite", ".sqlite3")
_SET_OUTSIDE = "as set in COILWRIGHT_STORE"
# Either side of a contrast: (key, label, example, what tells the sides apart).
_SIDES = (
    ("lot", "bad of the suspect lot", "12 of 60", "lot"),
    ("lots", "bad of the other lots", "1 of 60", "lot"),
    ("shift", "bad of the suspect shift", "9 of 80", "shift"),
    ("shifts", "bad of the other shifts", "2 of 160", "shift"),
)
_WHAT = [(key, key.replace("-", " ")) for key in READINGS]


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "The shot log of a machine")
        text(
            "p",
            "Stations, trays, lots, drift, the day it changed. Fill the log with coilwright line add or line listen.",
            "told",
        )
        log = Form([("store", "log", _stores(state)), ("machine", "machine", "the only one")])
        state.on_studies(lambda: log.offer(log.inputs["store"], "store", _stores(state)))

        def store() -> dict[str, Any]:
            typed = log.values()
            if not typed["store"]:
                what = "there is none in this folder; make one with  coilwright line add LOG.csv --map MAP.toml"
                raise BadInput(Fault("log", what))
            return {"store": _store(state, typed["store"]), "machine": typed["machine"].strip()}

        Trigger(state, "line", "Look at the log", store)
        Results(state, "line")
        text("h2", "Which cause explains it")
        text(
            "p",
            "Type what was read and counted now; what it read when the machine was right comes from [machine] of the job, from "
            "the column here, or from the model.",
            "told",
        )
        typed = _Typed(state)

        def asked() -> dict[str, Any]:
            from_log = log.values()["store"] if typed.from_log else ""
            found = {**typed.settings(), **(store() if from_log else {})}
            if not found.get("tables") and not found.get("file") and not from_log:
                raise BadInput(
                    Fault("readings", "are missing; type one, count bad pieces, or take the tally of the log")
                )
            return found

        Trigger(state, "why", "Find the cause", asked)
        Results(state, "why")
        practice(state)
        record(state)


class _Typed:
    """Readings and a tally as typed."""

    def __init__(self, state: PageState) -> None:
        self.rows: list[tuple[Any, Form]] = []
        self.box = ui.element("div").classes("shown")
        with ui.element("div").classes("tools"):
            button("Add a reading", self._add)
        self.state = state
        self.whole = Form(
            [
                ("bad", "bad pieces by station", "0, 0, 19, 1, 0, 0"),
                ("tried", "of so many each", "20"),
                ("trays", "bad pieces tray by tray, station not known", "1, 1, 0, 2, 1"),
                *((key, label, example) for key, label, example, _ in _SIDES),
                ("complaint", "complaint in the customer's words", "station 3 does not flash"),
                ("file", "readings", self._files()),
                ("log", "tally of the log", [("no", "leave it out"), ("yes", "take it since the share changed")]),
            ]
        )
        state.on_studies(lambda: self.whole.offer(self.whole.inputs["file"], "file", self._files()))
        self._add()

    def _files(self) -> list[tuple[str, str]]:
        others = {self.state.desk.name, *beside(self.state, "[trial]")}
        found = [(n, n) for n in beside(self.state, "[[reading]]") if n not in others]
        return [("", "typed here"), *found, *rehearsals(self.state)]

    @property
    def from_log(self) -> bool:
        return self.whole.values()["log"] == "yes"

    def _add(self) -> None:
        with self.box:
            row = ui.element("div").classes("tools")
            with row:
                form = Form(
                    [
                        ("what", "reading", _WHAT),
                        ("station", "station", "whole machine"),
                        ("value", "reads now", "312.4 kHz"),
                        ("healthy", "read when right", "from [machine]"),
                        ("uncertainty", "one sigma", "usual"),
                    ]
                )
                button("Take it out", partial(self._remove, row), label=f"Take reading {len(self.rows) + 1} out")
        self.rows.append((row, form))

    def _remove(self, row: Any) -> None:
        self.rows = [(r, f) for r, f in self.rows if r is not row]
        row.delete()

    def settings(self) -> dict[str, Any]:
        """As the file of readings has it. Raises BadInput."""
        typed = self.whole.values()
        if typed["file"]:
            return {"file": str(of_rehearsal(self.state, typed["file"], "readings.toml") or typed["file"])}
        tables: dict[str, Any] = {}
        readings = [reading for _, form in self.rows if (reading := one_reading(form.values()))]
        if readings:
            tables["reading"] = readings
        if typed["bad"].strip():
            tried = _counts("of so many each", typed["tried"])
            tables["tally"] = [
                {"bad": _counts("bad pieces by station", typed["bad"]), "tried": tried[0] if len(tried) == 1 else tried}
            ]
        if typed["trays"].strip():
            tables["tray"] = [{"bad": _counts("bad pieces tray by tray", typed["trays"])}]
        if found := list(contrasts(typed)):
            tables["contrast"] = found
        if tables and typed["complaint"].strip():
            tables["complaint"] = typed["complaint"].strip()
        return {"tables": tables}


def one_reading(typed: dict[str, str]) -> dict[str, Any]:
    """A [[reading]] as typed; empty when there is no value. Raises BadInput."""
    if not typed["value"].strip():
        return {}
    what = typed["what"]
    out: dict[str, Any] = {}
    for end, key in (("-hot", "condition"), ("-empty", "state")):
        if what.endswith(end):
            what, out[key] = what.removesuffix(end), end[1:]
    out |= {"what": what, "value": _amount(typed["value"])}
    if typed["station"].strip():
        out["station"] = _counts("station", typed["station"])[0]
    for key in ("healthy", "uncertainty"):
        if typed[key].strip():
            out[key] = _amount(typed[key])
    return out


def contrasts(typed: dict[str, str]) -> Iterator[dict[str, Any]]:
    """[[contrast]] tables as typed, a suspect lot or shift against the others. Raises BadInput."""
    for by in ("lot", "shift"):
        sides = [(label, typed[key].strip()) for key, label, _, of in _SIDES if of == by]
        if not any(words for _, words in sides):
            continue
        counted = [_bad_of(label, words) for label, words in sides]
        yield {"by": by, "bad": [b for b, _ in counted], "tried": [t for _, t in counted]}


def _bad_of(label: str, typed: str) -> tuple[int, int]:
    """Bad pieces and pieces tried from "12 of 60". Raises BadInput."""
    match = re.fullmatch(r"(\d{1,7})\s*(?:of|/)\s*(\d{1,7})", typed)
    if match is None:
        what = f'must be bad pieces of so many tried, e.g. "12 of 60"; received "{typed[:40]}"'
        raise BadInput(Fault(label, what))
    return int(match[1]), int(match[2])


def _amount(typed: str) -> Any:
    try:
        return float(typed)
    except ValueError:
        return typed.strip()


def _counts(label: str, typed: str) -> list[int]:
    parts = typed.replace(",", " ").split()
    if not parts or not all(p.isdecimal() and len(p) < 8 for p in parts):
        raise BadInput(Fault(label, f'must be whole numbers with commas between; received "{typed[:40]}"'))
    return [int(p) for p in parts]


def _stores(state: PageState) -> list[tuple[str, str]]:
    """Logs beside the job, and the one set outside."""
    here = state.desk.path.parent
    found = [(p.name, p.name) for p in sorted(here.iterdir()) if p.suffix in _STORES]
    found += rehearsals(state)
    return found + ([(_SET_OUTSIDE, _SET_OUTSIDE)] if os.environ.get("COILWRIGHT_STORE") else [])


def _store(state: PageState, chosen: str) -> str:
    if chosen == _SET_OUTSIDE:
        return os.environ.get("COILWRIGHT_STORE", "")
    return str(of_rehearsal(state, chosen, "shots.db") or state.desk.path.parent / Path(chosen).name)
