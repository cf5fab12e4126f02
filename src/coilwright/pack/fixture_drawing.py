"""Where the stations of a fixture stand: axes of all coils, their pitch, and the numbers they are called by."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from coilwright.job.schema_fixture import Fixture, read_fixture
from coilwright.pack.contents import PackContents
from coilwright.pack.drawing import View, fitting_scale
from coilwright.pack.sheet import COLUMN, HIGH, LOW, Sheet
from coilwright.window.stations import positions

MM: Final = 1e3


def fixture_sheet(contents: PackContents) -> Sheet | None:
    """The pitch of the stations; None for a single one."""
    fixture = read_fixture(contents.job)
    if fixture.stations < 2:
        return None
    places = positions(fixture) * MM
    turns = contents.check.scene.section.turns
    radius = max((t.outer.box[1] for t in turns), default=0.0) * MM
    low, top = places.min(axis=0) - radius, places.max(axis=0) + radius
    room = (HIGH[0] - LOW[0] - COLUMN - 44.0, HIGH[1] - LOW[1] - 48.0)
    scale = fitting_scale(float(top[0] - low[0]), float(top[1] - low[1]), room)
    arrangement = {"line": "in line", "circle": "on a circle", "grid": "in a grid"}[fixture.arrangement]
    sheet = Sheet(contents, "fixture", f"Fixture: {fixture.stations} stations {arrangement}", scale)
    x = LOW[0] + 24.0 - float(low[0]) * scale
    y = 0.5 * (LOW[1] + HIGH[1]) - 0.5 * float(top[1] + low[1]) * scale
    view = sheet.view((x, y))
    _stations(view, places, radius)
    {"line": _line, "circle": _circle, "grid": _grid}[fixture.arrangement](view, places, radius, fixture)
    sheet.words((HIGH[0] - COLUMN - 2.0, HIGH[1] - 5.0), _notes(fixture, radius), COLUMN)
    return sheet


def _stations(view: View, places: np.ndarray, radius: float) -> None:
    for k, (x, y) in enumerate(places, 1):
        at = (float(x), float(y))
        view.circle(at, radius)
        view.cross(at, radius + view.paper(2.5))
        small = radius * view.scale < 5.0
        away = radius + view.paper(3.0) if small else 0.0
        view.text((at[0] + view.paper(1.0), at[1] + away + view.paper(1.0)), str(k), height=3.0, bold=True)


def _line(view: View, places: np.ndarray, radius: float, fixture: Fixture) -> None:
    a, b, last = (_xy(places[k]) for k in (0, 1, -1))
    foot = -radius - view.paper(12.0)
    view.across("spacing", a, b, foot)
    if len(places) > 2:
        view.across("over all axes", a, last, foot - view.paper(8.0), suffix=f" ({len(places) - 1} x spacing)")
    view.across("coil outside", (a[0] - radius, 0.0), (a[0] + radius, 0.0), radius + view.paper(10.0), prefix="⌀")


def _circle(view: View, places: np.ndarray, radius: float, fixture: Fixture) -> None:
    pitch = float(np.hypot(*places[0]))
    view.circle((0.0, 0.0), pitch, "CENTRE")
    view.cross((0.0, 0.0), view.paper(4.0))
    far = radius * view.scale + 8.0
    view.round("pitch circle", (0.0, 0.0), pitch, angle=180.0 / len(places) + 90.0, out=far)
    a, b = _xy(places[0]), _xy(places[1])
    angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    n = np.array([math.cos(math.radians(angle - 90.0)), math.sin(math.radians(angle - 90.0))])
    if float(n @ places[0]) < 0.0:
        n = -n
    through = (a[0] + float(n[0]) * (radius + view.paper(10.0)), a[1] + float(n[1]) * (radius + view.paper(10.0)))
    view.slanted("spacing", a, b, through, angle)
    foot = float(places[:, 1].min()) - radius - view.paper(8.0)
    k = int(np.argmin(places[:, 1]))
    low = _xy(places[k])
    view.across("coil outside", (low[0] - radius, low[1]), (low[0] + radius, low[1]), foot, prefix="⌀")


def _grid(view: View, places: np.ndarray, radius: float, fixture: Fixture) -> None:
    a, b = _xy(places[0]), _xy(places[1])
    foot = -radius - view.paper(12.0)
    view.across("spacing", a, b, foot)
    above = places[places[:, 1] > a[1] + 1e-9]
    if len(above):
        view.up("spacing between rows", a, _xy(above[0]), -radius - view.paper(10.0))
    end = _xy(places[places[:, 1] < a[1] + 1e-9][-1])
    right = (end[0] - radius, end[1]), (end[0] + radius, end[1])
    view.across("coil outside", *right, foot - view.paper(9.0), prefix="⌀")


def _xy(place: np.ndarray) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _notes(fixture: Fixture, radius: float) -> list[str]:
    feed = {
        "series": "coils in series: one current through all",
        "parallel": "coils in parallel: equal leads, or they share unequally",
        "separate": "each coil on an output of its own",
    }[fixture.feed]
    sense = "all coils wound the same way" if fixture.windings == "same" else "every other coil fed the other way round"
    lines = [
        "STATIONS:",
        f"{fixture.stations} equal stations, seen from above, numbered as drawn",
        f"axis to axis {(fixture.spacing or 0.0) * MM:g}",
        f"coil ⌀{2.0 * radius:.4g} over the turns, leads not drawn",
        "FEED:",
        feed,
        sense,
        f"the source holds its {fixture.control}",
    ]
    lead = fixture.lead_inductance
    if lead:
        lines += ["EXTRA LEAD INDUCTANCE:", ", ".join(f"{k}: {v * 1e9:.4g} nH" for k, v in enumerate(lead, 1))]
    lines += [
        "KEEP IN MIND:",
        "Locate each coil on a dowel or a clamp, not by its leads; no closed metal loops or screws near a coil.",
    ]
    return lines
