"""Files beside the job: those there are, and a job file that a study has left, written there and opened."""

from __future__ import annotations

import contextlib

from nicegui import ui

from coilwright.bench.parts import sentence
from coilwright.bench.state import PageState
from coilwright.errors import BadInput

_LONGEST = 200_000  # bytes of a file that is looked into


def beside(state: PageState, heading: str) -> list[str]:
    """Names of the TOML files beside the job that have such a heading."""
    found = []
    for path in sorted(state.desk.path.parent.glob("*.toml")):
        with contextlib.suppress(OSError, UnicodeDecodeError):
            if path.stat().st_size < _LONGEST and heading in path.read_text(encoding="utf-8"):
                found.append(path.name)
    return found


def write_beside(state: PageState, number: int, source: str, name: str) -> None:
    """Write a job file of a study beside the job under `name` and open it; one that is there already is only opened."""
    folder = state.bench.folder
    inside = (state.desk.path.parent / name).relative_to(folder.root).as_posix()
    try:
        if not folder.place(inside).exists():
            text = (state.studies.root / str(number) / source).read_text(encoding="utf-8")
            with folder.place(inside).open("x", encoding="utf-8") as file:
                file.write(text)
    except BadInput as error:
        state.say(sentence(error), True)
        return
    except OSError as error:
        state.say(f"{name} could not be written ({error.strerror}); the study keeps it", True)
        return
    ui.navigate.to(f"/job/{inside}", new_tab=True)
