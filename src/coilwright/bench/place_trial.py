"""A trial: a measured trace laid over the prediction, what it says, the corrected job file."""

from __future__ import annotations

import re
from functools import partial
from typing import Any

from nicegui import ui

from coilwright.bench.form import Form
from coilwright.bench.open_copy import beside, write_beside
from coilwright.bench.parts import button, sentence, text
from coilwright.bench.state import PageState
from coilwright.bench.study_kinds import FITTED
from coilwright.bench.study_place import Results, Trigger
from coilwright.errors import BadInput, Fault

_MOST = 3_000_000  # characters of a trace that is brought; the socket takes four million bytes
_NAME = re.compile(r"\w[\w .+-]{0,80}\.csv")
_BRING = (
    "async (e) => { const f = e.target.files[0]; if (!f) return; "
    f"emit(f.name, f.size > {_MOST} ? null : await f.text()); e.target.value = ''; }}"
)


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
                "further": typed["further"] == "yes",
            }

        Trigger(state, "trial", "Lay it over the prediction", settings)
        Results(state, "trial", partial(_corrected, state))


def _bring(state: PageState, form: Form) -> None:
    """A trace from elsewhere, written beside the job under a name that is free."""
    with ui.element("div").classes("form"):
        with text("label", ""):
            text("span", "bring a trace from elsewhere")
            chosen = ui.element("input")
            chosen.props.update({"type": "file", "accept": ".csv,text/csv"})
        fault = text("span", "", "bad")
        fault.props["role"] = "alert"

    def take(event: Any) -> None:
        try:
            name = bring(state, *event.args)
        except BadInput as error:
            fault.set_text(sentence(error))
            return
        fault.set_text("")
        form.offer(form.inputs["trace"], "trace", _traces(state))
        form.choose("trace", name)
        state.say(f"{name} stands beside the job now", False)

    chosen.on("change", take, js_handler=_BRING)


def bring(state: PageState, name: object, words: object) -> str:
    """Write a brought trace beside the job. Raises BadInput when it is too long, not named so, or there already."""
    given = str(name)
    if not _NAME.fullmatch(given):
        what = f'must be a plain file name ending in .csv; received "{given[:60]}"; rename it'
        raise BadInput(Fault("trace", what))
    if not isinstance(words, str) or len(words) > _MOST:
        raise BadInput(Fault(given, f"holds more than {_MOST / 1e6:g} MB; thin it out, or copy it beside the job"))
    folder, here = state.bench.folder, state.desk.path.parent
    path = folder.place((here / given).relative_to(folder.root).as_posix())
    try:
        if path.exists() and path.read_bytes() == words.encode("utf-8"):
            return given
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(words)
    except FileExistsError:
        raise BadInput(Fault(given, "is there already with other figures and is not overwritten; rename one")) from None
    except OSError as error:
        raise BadInput(Fault(given, f"could not be written ({error.strerror})")) from None
    return given


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


def _corrected(state: PageState, number: int, result: dict[str, Any]) -> None:
    name = f"{state.desk.path.stem}-fitted-{number}.toml"
    act = partial(write_beside, state, number, FITTED, name)
    with ui.element("div").classes("tools"):
        button("Write the corrected job and open it", act, first=True)
        text("span", f"becomes {name} beside this one", "told")
