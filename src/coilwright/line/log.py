"""A log file of a machine into the store: shots once, faulty rows kept aside with the reason."""

from __future__ import annotations

import csv
import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.line.mapping import LogMap
from coilwright.line.rows import Part, Refused, RowReader, hold_fresh, hold_same
from coilwright.store.shots import Aside, Delivery, Shot, ShotStore


@dataclass(frozen=True)
class Imported:
    """What became of a file: rows read, written, already there, set aside by reason."""

    file: str
    machine: str
    rows: int
    written: int
    known: int
    aside: Mapping[str, int] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        return {
            "file": self.file,
            "machine": self.machine,
            "rows": self.rows,
            "written": self.written,
            "known": self.known,
            "aside": dict(self.aside),
        }


def add_log(path: Path, mapping: LogMap, store: ShotStore, now: float | None = None) -> Imported:
    """Read a log file into the store. Reading it twice changes nothing. Raises BadInput when the file is not of its map."""
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    reader = RowReader(path.name, mapping, datetime.now(UTC).timestamp() if now is None else now)
    with path.open(encoding="utf-8-sig", newline="", errors="replace") as file, \
            store.delivery(mapping.machine, path.name, digest) as box:  # fmt: skip
        rows = csv.reader(file, delimiter=mapping.delimiter)
        written = known = 0
        latest = box.latest()
        try:
            reader.head(next(rows, []))
            for part in reader.read(rows):
                new, there = _new_ones(part, reader.aside, box, mapping, latest)
                written, known = written + box.add(new), known + there
        except csv.Error as error:
            raise BadInput(Fault(f"{path}: line {rows.line_num}", f"cannot be read as columns: {error}")) from None
        box.set_aside(reader.aside)
    return Imported(path.name, mapping.machine, reader.rows, written, known, Counter(a.reason for a in reader.aside))


def _new_ones(
    part: Part, aside: list[Aside], box: Delivery, mapping: LogMap, latest: float | None
) -> tuple[list[Shot], int]:
    """Shots not kept yet, and the number that were; contradictions with what is kept, and late ones, go aside."""
    if not part:
        return [], 0
    times = [key[0] for key in part]
    kept = box.kept(min(times), max(times)) if latest is not None else {}
    gone = box.summarised_until()
    new, known = [], 0
    for key, (shot, row, cells) in part.items():
        before = kept.get(key)
        try:
            if before is None and box.known and gone is not None and shot.time < gone:
                known += 1  # the same file was read before: it is among the sums
            elif before is None:
                hold_fresh(shot, latest, gone, mapping)
                new.append(shot)
            else:
                hold_same(shot, before)
                known += 1
        except Refused as refused:
            aside.append(Aside(row, refused.reason, refused.why, mapping.delimiter.join(cells)))
    return new, known
