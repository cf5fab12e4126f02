"""The opened folder: which job files are in it, and no way out of it."""

from __future__ import annotations

import re
from pathlib import Path

from coilwright.errors import BadInput, Fault

_JOB = re.compile(r"^\s*format\s*=\s*\d", re.M)
_SHEET = re.compile(r"^\s*\[trial\]", re.M)  # the sheet of a trial has a format too
_LOOKED = 400  # files looked at
_DEPTH = 3


class Folder:
    """A folder of jobs. Names are relative to it, with forward slashes."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()

    def jobs(self) -> list[str]:
        """Job files in the folder and a little below it, by name."""
        found = []
        for n, path in enumerate(sorted(self.root.rglob("*.toml"))):
            relative = path.relative_to(self.root)
            if n >= _LOOKED:
                break
            if len(relative.parts) > _DEPTH or any(p.startswith(".") for p in relative.parts):
                continue
            if _is_job(path):
                found.append(relative.as_posix())
        return found

    def place(self, name: str) -> Path:
        """The file of that name inside the folder. Raises BadInput for anything that leads out of it."""
        if "\x00" in name or not name or len(name) > 500:
            raise BadInput(Fault("name", "must name a file of the opened folder, e.g. job.toml"))
        path = (self.root / name).resolve()
        if not path.is_relative_to(self.root):
            raise BadInput(Fault(f'"{_shown(name)}"', "leads out of the opened folder; only files in it can be opened"))
        return path

    def job(self, name: str) -> Path:
        """An existing job file. Raises BadInput otherwise."""
        path = self.place(name)
        if path.suffix != ".toml" or not path.is_file():
            raise BadInput(Fault(f'"{_shown(name)}"', "is not a job file of the opened folder"))
        return path

    def new(self, name: str) -> Path:
        """A place for a new job file. Raises BadInput when the name is taken or is not one."""
        if not re.fullmatch(r"[\w][\w .+-]{0,80}\.toml", name):
            what = f'must be a plain file name ending in .toml; received "{_shown(name)}"; write e.g. ring.toml'
            raise BadInput(Fault("name", what))
        path = self.place(name)
        if path.exists():
            raise BadInput(Fault("name", f'must be a new one; "{name}" is there already; choose another'))
        return path


def _is_job(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            begin = file.read(20_000).decode("utf-8", "replace")
    except OSError:
        return False
    return bool(_JOB.search(begin)) and not _SHEET.search(begin)


def _shown(name: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in name[:80])
