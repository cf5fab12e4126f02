"""Faults rehearsed on the page: begun, offered as a log and readings to work from, and told when asked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from nicegui import ui

from coilwright.bench.form import Form
from coilwright.bench.parts import button, text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger
from coilwright.errors import BadInput, Fault

_KIND = "rehearsal"


def practice(state: PageState) -> None:
    """The part of the line place in which a fault is rehearsed."""
    text("h2", "Rehearse a fault")
    text(
        "p",
        "A log and readings as this job's own machine would give them with something wrong, to practise on. Without a cause one "
        "is drawn, as often as it is met.",
        "told",
    )
    form = Form(
        [
            ("fault", "cause", "coil-back"),
            ("at", "at station", "any"),
            ("size", "how large, in its own unit", "1.0"),
            ("seed", "seed", "1"),
        ],
        {"seed": "1"},
    )

    def settings() -> dict[str, Any]:
        typed = form.values()
        return {
            "fault": typed["fault"].strip(),
            "station": form.count("at", 1, 64) if typed["at"].strip() else None,
            "size": _number(typed["size"]) if typed["size"].strip() else None,
            "seed": form.count("seed", 0, 10**9),
        }

    Trigger(state, _KIND, "Rehearse it", settings)
    Results(state, _KIND, _tell)


def _tell(number: int, result: dict[str, Any]) -> None:
    """What was wrong, once it is asked for."""
    with ui.element("div").classes("tools"):
        button(
            "Say what was wrong",
            lambda: place.set_text(result["answer"]),
            label=f"Say what was wrong in rehearsal {number}",
        )
    place = text("p", "")
    place.props["role"] = "status"


def rehearsals(state: PageState) -> list[tuple[str, str]]:
    """Finished ones as choices: (value, words)."""
    done = [s.number for s in state.studies.listed if s.kind == _KIND and s.state == "done"]
    return [(f"{_KIND} {n}", f"{_KIND} {n}") for n in sorted(done, reverse=True)]


def of_rehearsal(state: PageState, chosen: str, name: str) -> Path | None:
    """A file of the rehearsal that was chosen; None when the choice is none."""
    kind, _, number = chosen.partition(" ")
    return state.studies.root / number / name if kind == _KIND and number.isdecimal() else None


def _number(typed: str) -> float:
    try:
        return float(typed)
    except ValueError:
        raise BadInput(Fault("how large", f'must be a number; received "{typed[:40]}"')) from None
