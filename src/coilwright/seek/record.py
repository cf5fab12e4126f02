"""The plain record of a search: one JSON object a line, every point on the disk before the next is counted.

The first line says which job it belongs to. A record is a memory of a pure function (values and mesh level to outcome): a
search that is stopped, even in the middle of a line, is carried on by asking again and finding most answers here.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.section.sizes import Level
from coilwright.seek.evaluate import Outcome
from coilwright.seek.schema import Seek
from coilwright.seek.space import key_of

NAME = "seek-points.jsonl"
_FORMAT = 1


def fingerprint(job: Job, seek: Seek, version: str) -> str:
    """A text that changes with everything an outcome depends on: the job without its bounds, what is wanted, the version."""
    document = {k: v for k, v in job.to_dict().items() if k not in ("seek", "job")}
    wanted = [list(seek.objectives), [r.model_dump(mode="json") for r in seek.require]]
    text = json.dumps([document, wanted, version], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


class Record:
    """An open record. Use as a context manager; `known` holds what it has."""

    def __init__(self, folder: Path, mark: str, version: str) -> None:
        """Raises BadInput when the file belongs to another search, or another program is writing to it."""
        self.path = folder / NAME
        self.mark, self.version = mark, version
        self.skipped = 0
        self.known: dict[tuple[str, Level], Outcome] = {}
        self._file: IO[bytes] = self.path.open("a+b")
        try:
            _lock(self._file, self.path)
            self._read()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Record:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()

    def _read(self) -> None:
        self._file.seek(0)
        data = self._file.read()
        whole = data.rfind(b"\n") + 1
        if whole < len(
            data
        ):  # the program was stopped while it wrote: the half line goes, or the next would hang on to it
            self._file.truncate(whole)
        lines = data[:whole].splitlines()
        if not lines:
            self._file.truncate(0)
            self._append({"format": _FORMAT, "coilwright": self.version, "search": self.mark})
            return
        self._check_head(lines[0])
        for line in lines[1:]:
            try:
                entry = json.loads(line)
                outcome = Outcome.from_dict(entry)
                self.known[key_of(outcome.values), entry["level"]] = outcome
            except (ValueError, KeyError, TypeError, AttributeError, IndexError):
                self.skipped += 1

    def _check_head(self, line: bytes) -> None:
        head: Any = None
        with suppress(ValueError):
            head = json.loads(line)
        if not isinstance(head, Mapping) or "search" not in head:
            raise BadInput(Fault(str(self.path), "is not the record of a search; name another folder with --out"))
        if head["search"] != self.mark:
            made = head.get("coilwright")
            what = (
                f"belongs to another job, other objectives, or another version (it was made by coilwright {made}); "
                "name another folder with --out, or delete this file to begin anew"
            )
            raise BadInput(Fault(str(self.path), what))

    def add(self, outcome: Outcome, level: Level) -> None:
        """Keep one outcome; it is on the disk when this returns."""
        self.known[key_of(outcome.values), level] = outcome
        self._append({"level": level, **outcome.to_dict()})

    def _append(self, entry: Mapping[str, Any]) -> None:
        self._file.write(json.dumps(entry, ensure_ascii=False).encode() + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())


def _lock(file: IO[bytes], path: Path) -> None:
    """One writer at a time, where the system can say so; the lock goes with the process, however it ends,
    and is not passed on to its workers."""
    try:
        import fcntl
    except ImportError:  # not a POSIX system
        return
    try:
        fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        what = "is being written by another search; wait for it, stop it, or name another folder with --out"
        raise BadInput(Fault(str(path), what)) from None
