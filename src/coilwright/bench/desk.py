"""The job on the desk: its text, who changed what, undo, and the file it belongs to.

One desk serves every tab that has the job open, so that two tabs see one text. Each change says which revision it was
made on; a change of a key that another tab has changed since is refused with a sentence instead of overwriting it. After
every change the texts are kept beside the job, so that a killed server loses nothing.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, CoilwrightError, Fault
from coilwright.job import Job, loads

KEPT = ".coilwright"  # folder beside the job: undo, studies
_MOST_UNDO = 200


class Changed(CoilwrightError):
    """The file was changed by another program since it was read; saving would lose that."""


@dataclass(frozen=True)
class Text:
    """The text of a job with what was done to arrive at it."""

    text: str
    done: str = ""


class Desk:
    """One open job. `revision` counts every change of the text; `job` is None while the text has faults."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.revision = 0
        self.past: list[Text] = []
        self.future: list[Text] = []
        self.notice = ""
        self.job: Job | None = None
        self.faults: tuple[Fault, ...] = ()
        self._keys: list[tuple[int, frozenset[str]]] = []
        self._watchers: list[Callable[[], None]] = []
        self.on_disk, self._mark = _read(path)
        self.disk_changed = False
        self._set(Text(self.on_disk, "opened"))
        self._recall()

    # ---- what it holds
    @property
    def text(self) -> str:
        return self.now.text

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def dirty(self) -> bool:
        return self.text != self.on_disk

    @property
    def folder(self) -> Path:
        """Where this program keeps its own files about the job."""
        return self.path.parent / KEPT

    def watch(self, call: Callable[[], None]) -> Callable[[], None]:
        """Be called after every change; returns what ends it."""
        self._watchers.append(call)
        return lambda: self._watchers.remove(call) if call in self._watchers else None

    # ---- changes
    def change(self, changes: Mapping[str, Any], base: int | None = None, done: str = "") -> Job:
        """Set keys of the job file to values (None takes one out). `base` is the revision the change was made on.

        Raises BadInput, and changes nothing, when the job would have faults or another tab was faster with the same key.
        """
        self._refuse_stale(set(changes), base)
        job = self._checked()
        changed = job.with_values(changes)
        self._step(Text(changed.text, done or ", ".join(changes)), loads(changed.text, self.name, self.path.parent))
        self._keys.append((self.revision, frozenset(changes)))
        self._tell()
        return self._checked()

    def rewrite(self, text: str, done: str = "text edited", base: int | None = None) -> None:
        """Replace the whole text. Raises BadInput when another tab was faster; a text with faults is kept and told."""
        if base is not None and base != self.revision:
            raise BadInput(Fault(self.name, "was changed in another tab meanwhile; look at it there and edit it again"))
        if text == self.text:
            return
        self._step(Text(text, done), None)
        self._keys.append((self.revision, frozenset({""})))
        self._tell()

    def undo(self) -> str:
        """Take the last change back; returns what it was, or nothing when there is none."""
        return self._travel(self.past, self.future)

    def redo(self) -> str:
        return self._travel(self.future, self.past)

    # ---- the file
    def save(self, over: bool = False) -> None:
        """Write the file, whole or not at all. Raises Changed when another program has changed it (unless `over`)."""
        if not over and self.look_at_disk() and self.disk_changed:
            raise Changed(
                f"{self.name} was changed by another program since it was opened; saving would lose that change"
            )
        data = self.text.encode("utf-8")
        _write(self.path, data)
        self.on_disk, self._mark, self.disk_changed = self.text, _mark(data), False
        self._tell()

    def look_at_disk(self) -> bool:
        """Whether the file has changed since it was read; a desk without edits of its own takes the new text at once."""
        try:
            text, mark = _read(self.path)
        except BadInput:
            return False  # taken away or unreadable for the moment; saving writes it anew
        if mark == self._mark:
            return False
        if text == self.text:
            self.on_disk, self._mark, self.disk_changed = text, mark, False
        elif not self.dirty:
            self.notice = f"{self.name} was changed by another program; its new text is shown"
            self.take_disk()
        elif not self.disk_changed:
            self.disk_changed = True
            self._tell()
        return True

    def take_disk(self) -> None:
        """Take the text of the file; what stood here is one undo away."""
        self.on_disk, self._mark = _read(self.path)
        self.disk_changed = False
        self._step(Text(self.on_disk, "taken from the file"), None)
        self._keys.append((self.revision, frozenset({""})))
        self._tell()

    # ---- inside
    def _refuse_stale(self, keys: set[str], base: int | None) -> None:
        if base is None or base == self.revision:
            return
        since = [k for revision, changed in self._keys if revision > base for k in changed]
        clash = sorted(k for k in keys if k in since or "" in since)
        if clash:
            what = "was changed in another tab meanwhile; the value there is kept: look at it and change it again"
            raise BadInput(Fault(clash[0], what))

    def _checked(self) -> Job:
        if self.job is None:
            raise BadInput(self.faults or Fault(self.name, "has faults; mend its text first"))
        return self.job

    def _set(self, now: Text, job: Job | None = None) -> None:
        self.now = now
        self.revision += 1
        self.job, self.faults = job, ()
        if job is None:
            try:
                self.job = loads(now.text, self.name, self.path.parent)
            except BadInput as error:
                self.faults = error.faults

    def _step(self, text: Text, job: Job | None) -> None:
        self.past = [*self.past, self.now][-_MOST_UNDO:]
        self.future = []
        self._set(text, job)
        self._keep()

    def _travel(self, source: list[Text], target: list[Text]) -> str:
        if not source:
            return ""
        undone = self.now.done if source is self.past else source[-1].done
        target.append(self.now)
        self._set(source.pop())
        self._keys.append((self.revision, frozenset({""})))
        self._keep()
        self._tell()
        return undone

    def _tell(self) -> None:
        for call in list(self._watchers):
            call()

    # ---- what survives the server
    @property
    def _keeper(self) -> Path:
        return self.folder / f"{self.path.stem}.undo.json"

    def _keep(self) -> None:
        def plain(texts: list[Text]) -> list[list[str]]:
            return [[t.text, t.done] for t in texts]

        data = {
            "file": self._mark,
            "now": [self.now.text, self.now.done],
            "past": plain(self.past[-50:]),
            "future": plain(self.future[-50:]),
        }
        with contextlib.suppress(OSError):  # a folder that cannot be written costs the undo, not the work
            self.folder.mkdir(exist_ok=True)
            _write(self._keeper, json.dumps(data).encode())

    def _recall(self) -> None:
        """Edits of last time that were not saved; when the file has changed since, they are one undo away."""
        try:
            data = json.loads(self._keeper.read_text(encoding="utf-8"))
            now, past, future = Text(*data["now"]), [Text(*t) for t in data["past"]], [Text(*t) for t in data["future"]]
            same = data["file"] == self._mark
        except (OSError, ValueError, KeyError, TypeError):
            return
        if now.text == self.on_disk:
            self.past, self.future = past, future
        elif same:
            self.past, self.future = past, future
            self._set(now)
            self.notice = "changes of last time that were not saved are shown; save them, or undo them"
        else:
            self.past = [*past, now]
            self.notice = f"{self.name} was changed by another program; changes of last time are one undo away"


def _read(path: Path) -> tuple[str, str]:
    try:
        data = path.read_bytes()
        return data.decode("utf-8-sig"), _mark(data)
    except UnicodeDecodeError:
        raise BadInput(Fault(path.name, "is not UTF-8 text; save the file as UTF-8 in the editor")) from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise BadInput(Fault(path.name, f"cannot be read ({reason}); check the name and the permissions")) from None


def _mark(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _write(path: Path, data: bytes) -> None:
    """Replace a file whole: a crash leaves the old one or the new one."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(OSError):
            Path(name).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
