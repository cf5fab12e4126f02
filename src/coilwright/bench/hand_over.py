"""The hand-over record: the filled form brought, and what it says beside the model."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from nicegui import ui

from coilwright.bench.bringing import chooser
from coilwright.bench.parts import text
from coilwright.bench.state import PageState
from coilwright.bench.study_place import Results, Trigger
from coilwright.errors import BadInput, Fault
from coilwright.job import Job


def record(state: PageState) -> None:
    """The part of the line place that holds what was read when the machine was right."""
    text("h2", "The hand-over record")
    text(
        "p",
        "What was read when the machine was right ([machine] of the job) beside the model, and the limits of every reading. The "
        "build pack has the form to fill in (hand-over.csv); brought here it becomes a job file beside this one.",
        "told",
    )

    def take(name: str, words: str) -> None:
        written, count = take_form(state, name, words)
        told.clear()
        inside = written.relative_to(state.bench.folder.root).as_posix()
        with told:
            text("span", f"{written.name} stands beside this job now, with {count} readings of {name}: ")
            link = text("a", f"open {written.name}").style("color: var(--current); text-decoration: underline")
            link.props["href"] = f"/job/{inside}?place=line"

    chooser("bring the filled form", take, "form", "a form is a page or two")
    told = ui.element("p")
    told.props["role"] = "status"
    Trigger(state, "record", "Lay the record beside the model")
    Results(state, "record")


def take_form(state: PageState, name: str, words: str) -> tuple[Path, int]:
    """Write the job with the readings of a filled form beside the job; returns the file and how many readings it holds.

    Raises BadInput for a form of another job or none, and when the file is there already: nothing kept is overwritten.
    """
    desk, folder = state.desk, state.bench.folder
    if desk.job is None:
        raise BadInput(desk.faults or Fault(desk.name, "has faults; mend its text first"))
    filled = _with_form(desk.job, name, words)
    inside = (desk.path.parent / f"{desk.path.stem}-handed-over.toml").relative_to(folder.root).as_posix()
    path = folder.place(inside)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(filled.text)
    except FileExistsError:
        what = "is there already with a record and is not overwritten; move it away first"
        raise BadInput(Fault(path.name, what)) from None
    except OSError as error:
        raise BadInput(Fault(path.name, f"could not be written ({error.strerror})")) from None
    return path, len(filled.later["machine"]["reading"])


def _with_form(job: Job, name: str, words: str) -> Job:
    from coilwright.steps.pack import with_record

    with TemporaryDirectory() as folder:
        form = Path(folder) / name
        form.write_text(words, encoding="utf-8", newline="")
        return with_record(job, form)
