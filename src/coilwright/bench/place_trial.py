"""A trial: a measured trace laid over the prediction, what it says, the corrected job file."""

from __future__ import annotations

import re
from functools import partial
from typing import Any

from nicegui import ui

from coilwright.bench.bringing import chooser
from coilwright.bench.form import Form
from coilwright.bench.open_copy import beside, write_beside
from coilwright.bench.parts import button, text
from coilwright.bench.state import PageState
from coilwright.bench.study_kinds import FITTED
from coilwright.bench.study_place import Results, Trigger
from coilwright.errors import BadInput, Fault
from coilwright.units import UnitFault, parse


def place(state: PageState) -> None:
    """Build the place."""
    with ui.element("div").classes("place"):
        text("h2", "A trial")
        text(
            "p",
            "Temperatures against time (CSV) laid over the prediction; the fit says which values of the job were off.",
            "told",
        )
        form = Form(
            [
                ("trace", "trace", _traces(state)),
                ("sheet", "trial sheet", [("", "none"), *_sheets(state)]),
                ("columns", "columns and their places", "TC1=ring, TC2=bulb"),
                ("fit", "what to fit", "power, emissivity, gap"),
                ("start", "power on (start), in the trace's time", "found by itself"),
                ("error", "one sigma of all readings together", "as the sheet says"),
                ("further", "weigh further trials", [("no", "no"), ("yes", "yes, takes longer")]),
            ]
        )
        _bring(state, form)

        def settings() -> dict[str, Any]:
            typed = form.values()
            if not typed["trace"]:
                raise BadInput(Fault("trace", "there is no CSV file beside this job; bring one"))
            return {
                "trace": typed["trace"],
                "sheet": typed["sheet"],
                "columns": _columns(typed["columns"]),
                "fit": [w.strip() for w in typed["fit"].split(",") if w.strip()],
                "start": amount("power on", typed["start"], "time"),
                "error": amount("one sigma of all readings", typed["error"], "temperature_difference"),
                "further": typed["further"] == "yes",
            }

        Trigger(state, "trial", "Lay it over the prediction", settings)
        Results(state, "trial", partial(_corrected, state))


def _bring(state: PageState, form: Form) -> None:
    """A trace from elsewhere, written beside the job under a name that is free."""

    def take(name: str, words: str) -> None:
        bring(state, name, words)
        form.offer(form.inputs["trace"], "trace", _traces(state))
        form.choose("trace", name)
        state.say(f"{name} stands beside the job now", False)

    chooser("bring a trace from elsewhere", take, "trace", "thin it out, or copy it beside the job")


def bring(state: PageState, given: str, words: str) -> None:
    """Write a brought trace beside the job. Raises BadInput when other figures stand there under its name."""
    folder, here = state.bench.folder, state.desk.path.parent
    path = folder.place((here / given).relative_to(folder.root).as_posix())
    try:
        if path.exists() and path.read_bytes() == words.encode("utf-8"):
            return
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(words)
    except FileExistsError:
        raise BadInput(Fault(given, "is there already with other figures and is not overwritten; rename one")) from None
    except OSError as error:
        raise BadInput(Fault(given, f"could not be written ({error.strerror})")) from None


def _traces(state: PageState) -> list[tuple[str, str]]:
    """CSV files beside the job, those that say so in their name first."""
    found = sorted(state.desk.path.parent.glob("*.csv"))
    found.sort(key=lambda p: not re.search("trial|trace", p.name.lower()))
    return [(p.name, p.name) for p in found]


def _sheets(state: PageState) -> list[tuple[str, str]]:
    """Trial sheets beside the job."""
    return [(name, name) for name in beside(state, "[trial]")]


def _columns(typed: str) -> list[tuple[str, str]]:
    """ "TC1=ring, TC2=bulb" as pairs. Raises BadInput."""
    out = []
    for part in filter(None, (p.strip() for p in typed.split(","))):
        name, sign, where = (t.strip() for t in part.partition("="))
        if not (name and sign and where):
            what = f'must name a column and the place it stands for; received "{part[:60]}"; write e.g. TC1=ring'
            raise BadInput(Fault("columns and their places", what))
        out.append((name, where))
    return out


def amount(label: str, typed: str, kind: str) -> float | None:
    """A quantity that may be left out, in SI. Raises BadInput."""
    if not typed.strip():
        return None
    try:
        value = parse(typed, kind)
    except UnitFault as fault:
        raise BadInput(Fault(label, str(fault))) from None
    if value < 0.0:
        raise BadInput(Fault(label, f'must not be below 0; received "{typed[:40]}"'))
    return value


def _corrected(state: PageState, number: int, result: dict[str, Any]) -> None:
    name = f"{state.desk.path.stem}-fitted-{number}.toml"
    act = partial(write_beside, state, number, FITTED, name)
    with ui.element("div").classes("tools"):
        button("Write the corrected job and open it", act, first=True)
        text("span", f"becomes {name} beside this one", "told")
