"""The setting gauge: a double-ended block, and where it goes between coil and part."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from coilwright.pack.contents import PackContents
from coilwright.pack.drawing import Point, View, fitting_scale
from coilwright.pack.sheet import COLUMN, HIGH, LOW, Sheet
from coilwright.section.gauge import SettingGauge, setting_gauges
from coilwright.section.outline import Outline
from coilwright.window.gauge_limits import coil_shifts

MM: Final = 1e3
_END, _GRIP, _WIDTH = 18.0, 24.0, 10.0  # mm: length of each end and of the grip, width of the block
_TALL: Final = 0.4  # a tall block has longer ends: this share of its height
_ROUND: Final = 1.5  # of the larger end: how much of the surroundings the view of the place shows
_FLAT: Final = 0.02  # mm: how far drawn arcs may stray from true ones


def gauges(contents: PackContents) -> tuple[SettingGauge, ...]:
    """The gauges of the job, with the window's limits where there is one."""
    check, shop = contents.check, contents.workshop
    shifts = {} if contents.window is None else coil_shifts(contents.window.tolerances)
    stated = not shop.assumed("gap_tolerance")
    return setting_gauges(check.scene.section, check.clearances, shifts, shop.gap_tolerance, stated=stated)


def gauge_sheets(contents: PackContents) -> Iterator[Sheet]:
    for gauge in gauges(contents):
        yield _sheet(contents, gauge)


def _sheet(contents: PackContents, gauge: SettingGauge) -> Sheet:
    thick = gauge.high * MM
    place = _window(contents, gauge)
    wide, high = place[1][0] - place[0][0], place[1][1] - place[0][1]
    end, grip = _lengths(gauge)
    length = 2.0 * end + grip
    room = (HIGH[0] - LOW[0] - COLUMN - 66.0, HIGH[1] - LOW[1] - 84.0)
    scale = fitting_scale(max(length, wide), high + thick + _WIDTH, room)
    title = f"{gauge.name.capitalize()}, coil to {gauge.body}"
    sheet = Sheet(contents, gauge.name.replace(" ", "-"), title, scale)
    x = LOW[0] + 34.0
    y = HIGH[1] - 30.0 - thick * scale
    _block(sheet, (x, y), gauge)
    y -= 40.0 + high * scale
    _place(sheet.view((x - place[0][0] * scale + 6.0, y - place[0][1] * scale)), contents, gauge, place)
    sheet.words((HIGH[0] - COLUMN - 2.0, HIGH[1] - 5.0), list(_notes(gauge)), COLUMN)
    return sheet


def _lengths(gauge: SettingGauge) -> tuple[float, float]:
    """(length of each end, of the grip), mm."""
    end = max(_END, round(_TALL * gauge.high * MM))
    return end, end + _GRIP - _END


def _block(sheet: Sheet, at: Point, gauge: SettingGauge) -> None:
    """Seen from the side: the thin end goes in, the thick one does not."""
    go, no = gauge.low * MM, gauge.high * MM
    v = sheet.view(at)
    end, grip = _lengths(gauge)
    length = 2.0 * end + grip
    v.polyline([(0.0, 0.0), (length, 0.0), (length, no), (end, no), (end, go), (0.0, go)], closed=True)
    out = v.paper
    v.up("go", (0.0, 0.0), (0.0, go), -out(7.0), digits=3)
    v.up("no-go", (length, 0.0), (length, no), length + out(7.0), digits=3)
    top, making = no + out(4.0), f"{gauge.making * MM:.3f}"
    v.text((0.0, top + out(5.5)), f"left end GO {go:.3f} +{making} / 0")
    v.text((0.0, top), f"right end NO-GO {no:.3f} 0 / -{making}")
    foot = -out(9.0)
    v.across("go end", (0.0, 0.0), (end, 0.0), foot, suffix=" both ends")
    v.across("length", (0.0, 0.0), (length, 0.0), foot - out(8.0))


def _window(contents: PackContents, gauge: SettingGauge) -> tuple[Point, Point]:
    """The part of the half-section round the gauge (mm): lower left and upper right corner."""
    (r0, z0), (r1, z1) = gauge.here, gauge.there
    coil = contents.job.coil
    size = 1e3 * (coil.conductor.axial_size + coil.conductor.radial_size) if coil is not None else 10.0
    more = max(_ROUND * size * 0.6, 0.6 * gauge.distance * MM)
    low = (max(0.0, min(r0, r1) * MM - more), min(z0, z1) * MM - more)
    return low, (max(r0, r1) * MM + more, max(z0, z1) * MM + more)


def _place(view: View, contents: PackContents, gauge: SettingGauge, window: tuple[Point, Point]) -> None:
    """Coil and part round the gap, cut through the axis, the gauge between them."""
    section = contents.check.scene.section
    for turn in section.turns:
        loops = [turn.outer] if turn.bore is None else [turn.outer, turn.bore]
        _cut(view, loops, window, "OUTLINE", hatch=45.0)
    for body in section.bodies:
        _cut(view, list(body.outlines), window, "PART", hatch=None)
    (r0, z0), (r1, z1) = ((r * MM, z * MM) for r, z in (gauge.here, gauge.there))
    if gauge.along == "axis" or abs(z1 - z0) >= abs(r1 - r0):
        if gauge.along == "axis":
            _levels(view, gauge, window)
        else:
            view.up("distance", (r0, z0), (r1, z1), window[1][0] + view.paper(8.0), suffix=_limits(gauge))
    else:
        view.across("distance", (r0, z0), (r1, z1), window[1][1] + view.paper(8.0), suffix=_limits(gauge))
    view.polyline(_corners(window), "DIMENSION", closed=True)
    view.text((window[0][0], window[0][1] - view.paper(2.0)), "Where it goes, half-section", height=2.2, up="top")
    _axis(view, window)


def _levels(view: View, gauge: SettingGauge, window: tuple[Point, Point]) -> None:
    """Both faces as lines across the view, and the height between them."""
    (_, z0), (_, z1) = gauge.here, gauge.there
    for z in (z0, z1):
        view.line((window[0][0], z * MM), (window[1][0], z * MM), "CENTRE")
    ends = (window[1][0], z0 * MM), (window[1][0], z1 * MM)
    view.up("distance", *ends, window[1][0] + view.paper(8.0), suffix=_limits(gauge))


def _limits(gauge: SettingGauge) -> str:
    up, down = (gauge.high - gauge.distance) * MM, (gauge.distance - gauge.low) * MM
    if abs(up - down) < 5e-4:
        return f" ±{up:.2f}"
    return f" +{up:.2f} / -{down:.2f}"


def _axis(view: View, window: tuple[Point, Point]) -> None:
    if window[0][0] <= 1e-9:
        view.line((0.0, window[0][1]), (0.0, window[1][1]), "CENTRE")


def _corners(window: tuple[Point, Point]) -> list[Point]:
    (x0, y0), (x1, y1) = window
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]


def _cut(view: View, loops: Sequence[Outline], window: tuple[Point, Point], layer: str, hatch: float | None) -> None:
    """Outlines of one thing as far as they lie in the window."""
    kept = []
    for loop in loops:
        points = [(float(r), float(z)) for r, z in loop.polyline(_FLAT / MM) * MM]
        for run in inside_runs([*points, points[0]], window):
            view.polyline(run, layer)
        clipped = clipped_polygon(points, window)
        if len(clipped) > 2:
            kept.append(clipped)
    if kept and hatch is not None:
        view.hatch(*kept, angle=hatch, spacing=1.0)


def inside_runs(points: Sequence[Point], window: tuple[Point, Point]) -> Iterator[list[Point]]:
    """Stretches of a line that lie in a window, cut at its border."""
    run: list[Point] = []
    for a, b in pairwise(points):
        part = _inside(a, b, window)
        if part is None:
            if len(run) > 1:
                yield run
            run = []
            continue
        if run and math.dist(run[-1], part[0]) > 1e-9:
            yield run
            run = []
        run = run or [part[0]]
        run.append(part[1])
    if len(run) > 1:
        yield run


def _inside(a: Point, b: Point, window: tuple[Point, Point]) -> tuple[Point, Point] | None:
    """The part of a segment inside the window (Liang and Barsky's parametric clipping), None when there is none."""
    t0, t1 = 0.0, 1.0
    for k in (0, 1):
        d = b[k] - a[k]
        for bound, sign in ((window[0][k], -1.0), (window[1][k], 1.0)):
            p, q = sign * d, sign * (bound - a[k])
            if abs(p) < 1e-12:
                if q < 0.0:
                    return None
            elif p < 0.0:
                t0 = max(t0, q / p)
            else:
                t1 = min(t1, q / p)
    if t1 - t0 < 1e-12:
        return None

    def at(t: float) -> Point:
        return a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])

    return at(t0), at(t1)


def clipped_polygon(points: Sequence[Point], window: tuple[Point, Point]) -> list[Point]:
    """A polygon cut to the window, side by side (Sutherland and Hodgman)."""
    out = list(points)
    for k in (0, 1):
        for bound, sign in ((window[0][k], 1.0), (window[1][k], -1.0)):
            taken, out = out, []
            for a, b in zip(taken, [*taken[1:], *taken[:1]], strict=True):
                da, db = sign * (a[k] - bound), sign * (b[k] - bound)
                if da >= 0.0:
                    out.append(a)
                if (da > 0.0 > db) or (da < 0.0 < db):
                    t = da / (da - db)
                    out.append((a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])))
    return out


def _notes(gauge: SettingGauge) -> Iterator[str]:
    yield "DISTANCE:"
    yield gauge.what
    yield f"{gauge.distance * MM:.3f}, right between {gauge.low * MM:.3f} and {gauge.high * MM:.3f}"
    source = {
        "window": "limits from the window of the job: every quantity may be out at once by as much",
        "stated tolerance": "limits from the tolerance the shop states",
        "assumed tolerance": "limits assumed: no window was computed and [workshop] states no gap_tolerance",
    }
    yield source[gauge.limited_by]
    yield "BLOCK:"
    yield f"width {_WIDTH:g}; ends ground flat and parallel, edges broken; mark GO and NO-GO with their sizes"
    yield f"each end has {gauge.making * MM:.3f} for its maker, to the inside (a tenth of the interval: common practice)"
    yield "brass or ground stock; one of plastic if coil or glass may be scratched"
    yield "SETTING:"
    yield "Isolate and lock off the source first: the coil is live while heating, and metal between coil and part gets hot."
    yield "Set the coil so that GO passes without force at every place round the coil and NO-GO at none."
    yield "Take the gauge out before switching on. Check it again at each maintenance."
