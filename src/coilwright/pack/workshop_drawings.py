"""All workshop drawings of a job, numbered through."""

from __future__ import annotations

from collections.abc import Iterator

from coilwright.pack.bank_drawing import bank_sheets
from coilwright.pack.coil_drawing import coil_sheet, conductor_sheet
from coilwright.pack.contents import PackContents
from coilwright.pack.drawing import Drawing
from coilwright.pack.fixture_drawing import fixture_sheet
from coilwright.pack.gauge_drawing import gauge_sheets
from coilwright.pack.sheet import Sheet


def drawings(contents: PackContents) -> list[Drawing]:
    """Work coil, conductor, setting gauges, capacitor banks, fixture: what the job has of them."""
    sheets = list(_sheets(contents))
    return [sheet.finished(k, len(sheets)) for k, sheet in enumerate(sheets, 1)]


def not_drawn(contents: PackContents) -> dict[str, str]:
    """What has no drawing, and why."""
    out = {}
    if contents.job.coil is None:
        out["work coil, conductor, setting gauge"] = "the job has no [coil]"
    if contents.tank is None:
        out["capacitor bank"] = contents.missing.get("tank", "the job has no [tank] and [source]")
    if "fixture" not in contents.job.later:
        out["fixture"] = "the job has no [fixture]; one station stands by itself"
    return out


def _sheets(contents: PackContents) -> Iterator[Sheet]:
    yield from (s for s in (coil_sheet(contents), conductor_sheet(contents)) if s is not None)
    yield from gauge_sheets(contents)
    yield from bank_sheets(contents)
    fixture = fixture_sheet(contents)
    if fixture is not None:
        yield fixture
