"""Stopwatch notes: one event a line, time first, as a person writes them.

    # station 3, new batch
    4.8 s  start of flash
    station 2: 0:05.1  start of flash
    12,6 s end

A time is seconds ("4.8", "4.8 s", "4,8 s") or minutes and seconds ("1:04.5"). Lines after # are remarks.
"""

from __future__ import annotations

import re
from pathlib import Path

from coilwright.errors import BadInput, Fault
from coilwright.readings.records import Event, Notes
from coilwright.readings.text import decode

HAND_STOPPED = 0.2  # s, standard uncertainty of a hand-stopped time (common practice)
_STATION = re.compile(r"^(?:station|head|nest|position|st\.?)\s*(\d{1,6})\s*[:,;]?\s*", re.IGNORECASE)
_TIME = re.compile(r"^(?:(\d{1,9}):)?(\d{1,15}(?:[.,]\d+)?)\s*(s\b|sec\b|min\b)?\s*[:;,\t ]?\s*", re.IGNORECASE)


def read_notes(path: str | Path, sigma: float = HAND_STOPPED) -> Notes:
    """Read stopwatch notes; `sigma` (s) is the standard uncertainty of one time. Order is kept; times need not rise.

    Raises BadInput naming the line that does not begin with a time.
    """
    where = str(path)
    events = []
    for count, raw in enumerate(decode(Path(path)).splitlines(), 1):
        line = raw.split("#", 1)[0].strip()
        if line:
            events.append(_event(line, f"{where}, line {count}"))
    if not events:
        raise BadInput(Fault(where, 'holds no event; write lines such as "4.8 s start of flash"'))
    return Notes(tuple(events), sigma, where)


def _event(line: str, where: str) -> Event:
    station = _STATION.match(line)
    rest = line[station.end() :] if station else line
    found = _TIME.match(rest)
    if not found:
        raise BadInput(Fault(where, f'must begin with a time such as "4.8 s" or "1:04.5", received "{line[:40]}"'))
    value = float(found[2].replace(",", "."))
    if found[1] is not None:
        if value >= 60.0:
            raise BadInput(
                Fault(where, f'has {value:g} seconds after the minutes in "{line[:40]}"; write minutes:seconds')
            )
        value += 60.0 * int(found[1])
    elif (found[3] or "").lower() == "min":
        value *= 60.0
    what = rest[found.end() :].strip(" ,;:\t")
    return Event(value, what, int(station[1]) if station else None)
