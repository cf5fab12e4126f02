"""Messages of a machine into the store: one JSON object, or a list of them, to shots; what cannot be taken goes aside.

Taking a message twice changes nothing, so that whoever delivers may deliver at least once.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from coilwright.errors import CoilwrightError
from coilwright.line.mapping import LogMap
from coilwright.line.rows import Refused, RowReader, hold_fresh, hold_same
from coilwright.store.shots import Aside, Delivery, ShotStore


@dataclass(frozen=True)
class Message:
    """What came: the payload, and whether the sender says that it may have come before."""

    payload: bytes
    again: bool = False


@dataclass
class Heard:
    """What became of the messages: how many came, shots written, shots known before, pieces set aside by reason."""

    messages: int = 0
    written: int = 0
    known: int = 0
    aside: Counter[str] = field(default_factory=Counter)
    last: str = ""

    def to_dict(self) -> dict[str, Any]:
        return {"messages": self.messages, "written": self.written, "known": self.known, "aside": dict(self.aside)}


class Intake:
    """Takes messages of one machine, in the order they come. `take` returns when they are in the database to stay."""

    def __init__(self, store: ShotStore, mapping: LogMap, source: str, clock: Callable[[], float] = time.time) -> None:
        self.store, self.map, self.source, self.clock = store, mapping, source, clock
        self.heard = Heard()
        self._newest = -1e300
        columns = [v for v in mapping.columns.model_dump().values() if v is not None]
        self._keys = list(dict.fromkeys([*columns, *(r.column for r in mapping.readings.values())]))

    def take(self, messages: Sequence[Message]) -> None:
        """Take all of them. Raises CoilwrightError when the database cannot be written: then nothing was taken.

        A message that the database refuses for what it holds goes aside by itself: it must not stop the others for ever.
        """
        try:
            self._together(messages)
        except CoilwrightError:
            raise
        except Exception as error:
            if len(messages) > 1:
                for message in messages:
                    self.take([message])
                return
            text = json.dumps({"bytes": messages[0].payload.hex()})
            self._together([Message(text.encode(), again=True)], f"cannot be kept ({type(error).__name__})")

    def _together(self, messages: Sequence[Message], unkept: str = "") -> None:
        """One transaction; `unkept`: why the message is one the database refused."""
        day = datetime.fromtimestamp(self.clock(), UTC).strftime("%Y-%m-%d")
        digest = hashlib.sha256(f"{self.map.machine}|{self.source}|{day}".encode()).hexdigest()
        new, newest = Heard(), self._newest
        with self.store.delivery(self.map.machine, f"{self.source} {day}", digest) as box:
            latest, row = box.latest(), box.last_row()
            reader = RowReader(self.source, self.map, self.clock())
            reader.head(self._keys)
            for message in messages:
                new.messages += 1
                for item in _items(message.payload):
                    try:
                        if unkept:
                            raise Refused("unkept", unkept)
                        newest = self._one(box, reader, item, latest, newest, new)
                    except Refused as refused:
                        text = _plain(item if isinstance(item, str) else json.dumps(item, ensure_ascii=False))
                        if message.again and box.has_aside(refused.reason, text):
                            continue
                        row += 1
                        box.set_aside([Aside(row, refused.reason, _plain(refused.why), text)])
                        new.aside[refused.reason] += 1
                        new.last = f"{refused.reason}: {refused.why}"
        self._newest = newest
        h = self.heard
        h.messages, h.written, h.known = h.messages + new.messages, h.written + new.written, h.known + new.known
        h.aside += new.aside
        h.last = new.last

    def _one(self, box: Delivery, reader: RowReader, item: Any, latest: float | None, newest: float,
             new: Heard) -> float:  # fmt: skip
        """Write the shot of one object, unless it is there; the newest time seen. Raises Refused."""
        shot = reader.shot(self._cells(item))
        before = box.kept(shot.time, shot.time).get((shot.time, shot.station, shot.tray))
        if before is not None:
            hold_same(shot, before)
            new.known += 1
            return newest
        reader.hold_clock(shot.time, newest)
        hold_fresh(shot, latest, box.summarised_until(), self.map)
        new.written += box.add([shot])
        return max(newest, shot.time)

    def _cells(self, item: Any) -> list[str]:
        if isinstance(item, str):
            raise Refused("half-written", "is not JSON: was it cut off?")
        if not isinstance(item, Mapping):
            raise Refused("half-written", "is no JSON object with the keys of the map")
        return [_plain(self._text(_at(item, key))) for key in self._keys]

    def _text(self, value: Any) -> str:
        if value is None or isinstance(value, Mapping | list):
            return ""
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, float):
            whole = value.is_integer() and abs(value) < 1e15
            return str(int(value)) if whole else repr(value).replace(".", self.map.decimal)
        return str(value)


def _items(payload: bytes) -> list[Any]:
    """The objects of a message; the text itself where it is not JSON."""
    try:
        found = json.loads(payload)
    except (ValueError, RecursionError):
        return [payload.decode("utf-8", "replace")]
    if isinstance(found, list):
        return found or [{}]
    return [{"": found}] if isinstance(found, str) else [found]


def _at(item: Mapping[str, Any], key: str) -> Any:
    """The value of a key, or of keys within keys joined by dots."""
    if key in item:
        return item[key]
    found: Any = item
    for part in key.split("."):
        found = found.get(part) if isinstance(found, Mapping) else None
    return found


def _plain(text: str) -> str:
    """Without what databases do not hold: zero bytes and halves of characters."""
    return text.replace("\0", "�").encode("utf-8", "replace").decode("utf-8")
