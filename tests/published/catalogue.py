"""Published and independently computed values in data/*.json: what they are, and how closely they must be met.

Each entry has `inputs` (SI), `value`, `unit`, `tolerance`, its `source` and its `standing`:
  published   read in the named source or in a public transcription of it;
  memory      believed to stand in the named source, not looked up;
  computed    the named formula evaluated independently of this package: guards the code, validates nothing.
"""

import json
from pathlib import Path

import pytest

HERE = Path(__file__).parent / "data"


def entries(family, *checks):
    """pytest parameters of one data file, those of the named checks only (all when none is named)."""
    text = json.loads((HERE / f"{family}.json").read_text(encoding="utf-8"))
    for entry in text["entries"]:
        entry["source"] = text["sources"][entry["source"]]
    return [pytest.param(e, id=e["id"]) for e in text["entries"] if not checks or e["check"] in checks]


def allowed(entry, floor=1e-9):
    """(relative, absolute) tolerance of an entry; a catalogue value of zero means "to rounding" and becomes `floor`."""
    tolerance = entry["tolerance"]
    if isinstance(tolerance, str):
        return float(tolerance.removeprefix("rel ")), 0.0
    if isinstance(tolerance, list):
        return 0.0, tolerance
    return (floor, 0.0) if tolerance < floor * abs(_size(entry["value"])) else (0.0, tolerance)


def _size(value):
    return max(abs(v) for v in value) if isinstance(value, list) else value


def meets(entry, value, floor=1e-9):
    """Assert that `value` (a number or a sequence) is the entry's within its tolerance; say the source when not."""
    wanted = entry["value"] if isinstance(entry["value"], list) else [entry["value"]]
    got = list(value) if isinstance(entry["value"], list) else [value]
    relative, absolute = allowed(entry, floor)
    bounds = absolute if isinstance(absolute, list) else [absolute] * len(wanted)
    for g, w, bound in zip(got, wanted, bounds, strict=True):
        room = max(bound, relative * abs(w))
        told = f"{entry['id']}: {g!r}, {entry['standing']} {w!r} +- {room:.1e} ({entry['source']})"
        assert abs(g - w) <= room * (1 + 1e-9), told
