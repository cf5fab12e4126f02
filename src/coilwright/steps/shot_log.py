"""Shots into the store: from files, and as a machine publishes them. Light, since a listener runs for ever."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, CoilwrightError, Fault, MissingExtra
from coilwright.line.intake import Heard, Intake
from coilwright.line.listen import LONGEST_WAIT, Listener, pause, read_address
from coilwright.line.log import Imported, add_log
from coilwright.line.mapping import read_map
from coilwright.store.shots import Aside, ShotStore
from coilwright.store.summaries import Summarised, summarise


def line_add(log: Path, mapping: Path, store: str) -> Imported:
    """Read a log file into the store; reading it again changes nothing. Raises BadInput."""
    with ShotStore(store) as opened:
        return add_log(log, read_map(mapping), opened)


def line_listen(address: str, mapping: Path, store: str, *, stop: Callable[[], bool], say: Callable[[str], None],
                first_wait: float = 0.5) -> Listened:  # fmt: skip
    """Take the shots a machine publishes over MQTT until `stop` says so; `say` is told what happens on the way.

    Outages of broker and database are waited out, the first time for `first_wait` seconds. A shot is acknowledged only when
    it is in the database to stay. Raises BadInput, MissingExtra without the client library.
    """
    where, given = read_address(address), read_map(mapping)
    with _opened(store, stop, say, first_wait) as opened:
        listener = Listener(where, Intake(opened, given, str(where)), say, first_wait)
        listener.run(stop)
    return Listened(
        str(where), given.machine, listener.name, listener.connections, listener.unsafe, listener.intake.heard
    )


def _opened(store: str, stop: Callable[[], bool], say: Callable[[str], None], wait: float) -> ShotStore:
    """The store, waited for when its server is not up yet (after a power cut everything starts at once)."""
    while True:
        try:
            return ShotStore(store)
        except (BadInput, MissingExtra):
            raise
        except CoilwrightError as error:
            if stop():
                raise
            say(f"{error}; trying again in {wait:.1f} s")
        pause(wait, stop)
        wait = min(2.0 * wait, LONGEST_WAIT)


@dataclass(frozen=True)
class Listened:
    """What came of listening. `session` is the name at the broker, `unsafe` messages the sender did not secure."""

    address: str
    machine: str
    session: str
    connections: int
    unsafe: int
    heard: Heard

    def to_dict(self) -> dict[str, Any]:
        return {
            "address": self.address,
            "machine": self.machine,
            "session": self.session,
            "connections": self.connections,
            "unsafe": self.unsafe,
            **self.heard.to_dict(),
        }


def line_summarise(store: str, days: float, machine: str | None = None, dry: bool = False) -> tuple[Summarised, ...]:
    """Keep shots older than `days` before each machine's newest one as sums by hour; every machine when none is named.

    All or nothing for each machine; `dry` only says what would be done. Raises BadInput.
    """
    with existing(store) as opened:
        names = opened.machines() if machine is None else (machine,)
        return tuple(summarise(opened, name, days, dry) for name in names)


@dataclass(frozen=True)
class SetAside:
    """What was set aside: numbers by reason, and the latest rows word for word."""

    numbers: dict[str, int]
    rows: tuple[Aside, ...]

    def to_dict(self) -> dict[str, Any]:
        return {"numbers": self.numbers, "rows": [asdict(r) for r in self.rows]}


def line_aside(store: str, most: int = 100) -> SetAside:
    """Rows and messages that were not taken, the latest first, with the reason. Raises BadInput."""
    with existing(store) as opened:
        return SetAside(*opened.aside(most))


def existing(store: str) -> ShotStore:
    """The store, which must be there already. Raises BadInput."""
    if "://" not in store and not Path(store).expanduser().exists():
        what = "must be a shot log that exists; make one with  coilwright line add LOG.csv --map MAP.toml"
        raise BadInput(Fault(store, what))
    return ShotStore(store)
