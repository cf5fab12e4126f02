"""The work coil: section and plan with its leads, and what the winder needs beside them; the conductor enlarged."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from coilwright.field.targets import coil_target
from coilwright.pack.contents import PackContents
from coilwright.pack.drawing import Point, View, fitting_scale, shown
from coilwright.pack.sheet import COLUMN, HIGH, LOW, Sheet
from coilwright.section.forming import Bending, bending, described, larger_size, mandrel_diameter
from coilwright.section.winding import Piece, Winding, winding_of

Array = NDArray[np.float64]
MM: Final = 1e3
_KINDS: Final = {"helix": "helix", "spiral": "spiral", "turns": "as listed"}
_SIDE: Final = 30.0  # mm on paper for dimensions at the left of the views
_OVER: Final = 23.0  # above the section: two dimensions
_GAP: Final = 20.0  # between section and plan: what each is called
_UNDER: Final = 16.0  # below the plan: one dimension


def coil_sheet(contents: PackContents) -> Sheet | None:
    """The work coil, None for a job without one."""
    coil = contents.job.coil
    if coil is None:
        return None
    winding = winding_of(coil, contents.workshop, contents.check.scene.section)
    line = winding.centre_line * MM
    high, wide = 0.5 * coil.conductor.axial_size * MM, 0.5 * coil.conductor.radial_size * MM
    reach = np.array([wide, wide, high])
    low, top = line.min(axis=0) - reach, line.max(axis=0) + reach
    room = (HIGH[0] - LOW[0] - COLUMN - _SIDE - 10.0, HIGH[1] - LOW[1] - _OVER - _GAP - _UNDER)
    scale = fitting_scale(float(top[0] - low[0]), float(top[2] - low[2] + top[1] - low[1]), room)
    sheet = Sheet(contents, "work-coil", f"Work coil: {_KINDS[winding.kind]}, {coil_turns(winding)}", scale)
    x = LOW[0] + _SIDE - float(low[0]) * scale
    y = HIGH[1] - _OVER - float(top[2]) * scale
    _Section(sheet.view((x, y)), coil, winding, contents).draw()
    y = y + float(low[2]) * scale - _GAP - float(top[1]) * scale
    _Plan(sheet.view((x, y)), coil, winding).draw()
    sheet.words((HIGH[0] - COLUMN - 2.0, HIGH[1] - 5.0), list(coil_notes(contents, winding)), COLUMN)
    return sheet


def coil_turns(winding: Winding) -> str:
    return f"{winding.turns:g} turn{'' if winding.turns == 1 else 's'}, {winding.hand} hand"


def coil_notes(contents: PackContents, winding: Winding) -> Iterator[str]:
    """What stands beside the views."""
    coil, shop = contents.job.coil, contents.workshop
    if coil is None:
        return
    hand = f"{winding.hand} hand" + (" (assumed)" if shop.assumed("hand") else "")
    yield "CONDUCTOR:"
    yield described(coil.conductor)
    yield "WINDING:"
    yield f"{_KINDS[winding.kind]}, {winding.turns:g} turn{'' if winding.turns == 1 else 's'}, {hand}"
    yield _hand_words(winding)
    if coil.winding == "helix":
        mandrel = mandrel_diameter(coil.conductor, coil.mean_diameter)
        spring = coil.mean_diameter - coil.conductor.radial_size - mandrel
        yield f"mandrel ⌀{mandrel * MM:.2f} (springs open by {spring * MM:.2f}; try one turn first)"
    yield "DEVELOPED LENGTH:"
    yield f"turns {winding.wound_length * MM:.1f}"
    yield f"whole conductor with leads {winding.length * MM:.1f}"
    allowance = "assumed" if shop.assumed("cut_allowance") else "as the shop states"
    yield f"cut to {(winding.length + shop.cut_allowance) * MM:.0f}, of which {shop.cut_allowance * MM:.0f} {allowance} to trim"
    if winding.bends:
        yield "BENDS, CENTRE LINE:"
        yield from _bend_lines(winding.bends)
    target = coil_target(contents.field, shop)
    if target is not None:
        yield "TARGET AT THE LEAD ENDS, EMPTY:"
        f = target.frequency / 1e3
        yield f"L {target.inductance * 1e6:.4g} µH ± {100 * target.inductance_tolerance:g} % at {f:.4g} kHz"
        yield f"R {target.resistance * 1e3:.4g} mΩ ± {100 * target.resistance_tolerance:g} %"
        if target.assumed:
            yield "tolerances assumed, not stated in [workshop]"
    yield from winding.notes


def _hand_words(winding: Winding) -> str:
    turn = "counter-clockwise" if winding.hand == "right" else "clockwise"
    if winding.kind == "spiral":
        return f"runs outwards {turn} seen from above"
    return f"climbs {turn} seen from above" if winding.turns > 1 else f"runs {turn} seen from above"


def _bend_lines(bends: Sequence[Piece]) -> Iterator[str]:
    counted: dict[tuple[str, float, float], int] = {}
    for b in bends:
        key = (b.what, round((b.radius or 0.0) * MM, 3), round(math.degrees(b.angle or 0.0), 1))
        counted[key] = counted.get(key, 0) + 1
    for (what, radius, angle), count in counted.items():
        yield f"{count} x {shown(angle, 1)}° R{shown(radius)} {what.removeprefix('bend ')}"


class _Edges:
    """The conductor drawn from its centre line: two edges `half` mm to either side."""

    def __init__(self, view: View, half: float) -> None:
        self.view, self.half = view, half

    def draw(self, points: Array, layer: str, keep: Callable[[Array], NDArray[np.bool_]] | None = None) -> None:
        """Both edges of a stretch (n, 2) mm; only the parts of it where `keep` holds."""
        for side in (self.half, -self.half):
            edge = parallel(points, side)
            for run in runs(edge, None if keep is None else keep(edge)):
                self.view.polyline([(float(a), float(b)) for a, b in run], layer)

    def cap(self, end: Array, before: Array) -> None:
        """The cut face at the end of a lead."""
        along = end - before
        across = np.array([-along[1], along[0]]) / np.hypot(*along) * self.half
        a, b = end + across, end - across
        self.view.line((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))


def parallel(points: Array, side: float) -> Array:
    """(m, 2): the line through `points` (n, 2) moved by `side` to its left; repeated points are left out."""
    step = np.diff(points, axis=0)
    points = points[np.concatenate([[True], np.hypot(*step.T) > 1e-6])]
    if len(points) < 2:
        return points
    along = np.gradient(points, axis=0)
    along /= np.hypot(*along.T)[:, None]
    return points + side * np.column_stack([-along[:, 1], along[:, 0]])


def runs(points: Array, keep: NDArray[np.bool_] | None) -> Iterator[Array]:
    """Stretches of consecutive points that are kept."""
    if keep is None:
        if len(points) > 1:
            yield points
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[0], keep.astype(int), [0]])))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if b - a > 1:
            yield points[a:b]


def dense(points: Array, step: float) -> Array:
    """The same line with points no farther apart than `step`."""
    out = [points[:1]]
    for a, b in pairwise(points):
        n = max(1, math.ceil(float(np.linalg.norm(b - a)) / step))
        out.append(a + (b - a) * (np.arange(1, n + 1) / n)[:, None])
    return np.concatenate(out)


def clear_of(points: Array, lines: Sequence[Array], half: float) -> NDArray[np.bool_]:
    """Which points lie outside bands of `half` mm to either side of dense lines that stand in front of them."""
    keep = np.ones(len(points), dtype=bool)
    for line in lines:
        apart = np.hypot(points[:, None, 0] - line[None, :, 0], points[:, None, 1] - line[None, :, 1]).min(axis=1)
        keep &= apart > half - 0.02
    return keep


def lead_lines(winding: Winding) -> list[Array]:
    """The centre lines of both leads (n, 3) mm, from the winding outwards."""
    kinds = [p.kind in ("turns", "crossing") for p in winding.pieces]
    first, last = kinds.index(True), len(kinds) - 1 - kinds[::-1].index(True)
    out = []
    for pieces, flip in ((winding.pieces[:first], True), (winding.pieces[last + 1 :], False)):
        if pieces:
            line = np.concatenate([p.points if k == 0 else p.points[1:] for k, p in enumerate(pieces)]) * MM
            out.append(line[::-1] if flip else line)
    return out


def conductor_cut(view: View, conductor: Any, at: Point, *, detail: bool = False) -> None:
    """The conductor cut across, `at` its centre (mm), hatched where it is metal."""
    x, y = at
    spacing = 1.6 if detail else 0.7
    if conductor.section in ("round tube", "round wire", "litz"):
        across = conductor.outside if conductor.section == "round tube" else conductor.diameter
        r = 0.5 * across * MM
        view.circle(at, r, "OUTLINE" if r * view.scale > 2.0 else "THIN")
        loops = [_ring(at, r)]
        if conductor.section == "round tube":
            thin = (conductor.outside - conductor.bore) * MM * view.scale < 4.0
            view.circle(at, 0.5 * conductor.bore * MM, "THIN" if thin else "OUTLINE")
            loops.append(_ring(at, 0.5 * conductor.bore * MM))
        view.hatch(*loops, spacing=spacing)
        if conductor.section == "litz":  # bundles are cross-hatched
            view.hatch(*loops, spacing=spacing, angle=135.0)
        return
    w, h = 0.5 * conductor.width * MM, 0.5 * conductor.height * MM
    corners = [[(x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h)]]
    view.polyline(corners[0], closed=True)
    if conductor.section == "rectangular tube":
        w, h = w - conductor.wall * MM, h - conductor.wall * MM
        corners.append([(x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h)])
        view.polyline(corners[1], closed=True)
    view.hatch(*corners, spacing=spacing)


def _ring(at: Point, radius: float) -> list[Point]:
    t = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)
    return [(at[0] + radius * math.cos(a), at[1] + radius * math.sin(a)) for a in t]


class _Section:
    """The coil cut through its axis, seen from the front, leads uncut; z upwards, heights from the job's own zero."""

    def __init__(self, view: View, coil: Any, winding: Winding, contents: PackContents) -> None:
        self.view, self.coil, self.winding, self.contents = view, coil, winding, contents
        self.wide, self.high = 0.5 * coil.conductor.radial_size * MM, 0.5 * coil.conductor.axial_size * MM
        self.cuts = winding.cuts * MM
        self.edges = _Edges(view, self.high)

    def draw(self) -> None:
        for piece in self.winding.pieces:
            if piece.kind in ("turns", "crossing"):
                self._behind(piece.points * MM)
        front: list[Array] = []
        for line in sorted(lead_lines(self.winding), key=lambda points: float(points[-1, 1])):
            flat = dense(line, 0.25)[:, [0, 2]]
            self.edges.draw(flat, "OUTLINE", lambda p: self._outside(p) & clear_of(p, front, self.high))
            self.edges.cap(flat[-1], flat[-2])
            front.append(flat)
        for x, z in self.cuts:
            conductor_cut(self.view, self.coil.conductor, (float(x), float(z)))
        low, top = self.cuts[:, 1].min() - self.high, self.cuts[:, 1].max() + self.high
        more = self.view.paper(4.0)
        self.view.line((0.0, float(low) - more), (0.0, float(top) + more), "CENTRE")
        lowest = min(float(low), float(self.winding.centre_line[:, 2].min()) * MM - self.high)
        words = (self.view.paper(6.0), lowest - self.view.paper(6.0))
        self.view.text(words, "Section through the axis, leads uncut", height=2.2)
        self._dimensions()

    def _behind(self, points: Array) -> None:
        """The half of the turns that stands behind the cut."""
        back = points[:, 1] >= -1e-9
        for run in runs(points, back):
            if np.ptp(run[:, 2]) < 1e-6:  # a flat turn is seen from its edge
                ends = np.array([run[np.argmin(run[:, 0])], run[np.argmax(run[:, 0])]])
                run = ends
            self.edges.draw(dense(run, 0.25)[:, [0, 2]], "THIN", self._outside)

    def _outside(self, points: Array) -> NDArray[np.bool_]:
        """Where points lie outside every cut face."""
        dx = np.abs(points[:, None, 0] - self.cuts[None, :, 0]) / self.wide
        dz = np.abs(points[:, None, 1] - self.cuts[None, :, 1]) / self.high
        if self.coil.conductor.section in ("rectangular tube", "strip"):
            inside = np.maximum(dx, dz) < 1.0 - 1e-9
        else:
            inside = dx**2 + dz**2 < 1.0 - 1e-9
        return np.asarray(~np.any(inside, axis=1))

    def _dimensions(self) -> None:
        v, out = self.view, self.view.paper
        left = self.cuts[self.cuts[:, 0] < 0.0]
        x = float(left[:, 0].min()) - self.wide
        low, top = float(self.cuts[:, 1].min()) - self.high, float(self.cuts[:, 1].max()) + self.high
        if self.coil.winding == "helix" and len(left) > 1:
            a, b = left[0], left[1]
            v.up("pitch", (float(a[0]), float(a[1])), (float(b[0]), float(b[1])), x - out(7.0))
        bottom, ceiling = self.cuts[np.argmin(self.cuts[:, 1])], self.cuts[np.argmax(self.cuts[:, 1])]
        v.up("height over the turns", (float(bottom[0]), low), (float(ceiling[0]), top), x - out(16.0))
        if self.coil.winding == "turns":
            self._heights(left, x)
        if self.coil.winding == "helix" and len(self.cuts) > 1:
            right = self.cuts[self.cuts[:, 0] > 0.0][-1]
            a = left[-1]
            v.across("mean diameter", (float(a[0]), float(a[1])), (float(right[0]), float(right[1])), top + out(7.0),
                     prefix="⌀", suffix=" mean")  # fmt: skip
            inner = (float(a[0]) + self.wide, float(a[1])), (float(right[0]) - self.wide, float(right[1]))
            v.across("inside diameter", *inner, top + out(14.0), prefix="⌀", suffix=" inside")

    def _heights(self, left: Array, x: float) -> None:
        """Each listed turn from the one before."""
        v = self.view
        for k, (a, b) in enumerate(pairwise(left), 2):
            if abs(b[1] - a[1]) > 1e-6:
                v.up(f"turn {k} above turn {k - 1}", (float(a[0]), float(a[1])), (float(b[0]), float(b[1])),
                     x - v.paper(7.0))  # fmt: skip


class _Plan:
    """The coil from above, the leads to the right."""

    def __init__(self, view: View, coil: Any, winding: Winding) -> None:
        self.view, self.coil, self.winding = view, coil, winding
        self.half = 0.5 * coil.conductor.radial_size * MM
        self.edges = _Edges(view, self.half)
        self.line = winding.centre_line * MM
        self.turns = [p.points * MM for p in winding.pieces if p.kind == "turns"]
        self.outermost = max(float(np.hypot(p[:, 0], p[:, 1]).max()) for p in self.turns) + self.half

    def draw(self) -> None:
        self._turns()
        hidden = self.coil.winding != "helix"
        for line in lead_lines(self.winding):
            flat = dense(line, 0.25)[:, :2]
            self.edges.draw(flat, "OUTLINE", lambda p: np.hypot(p[:, 0], p[:, 1]) > self.outermost + 1e-6)
            if hidden:
                self.edges.draw(flat, "HIDDEN", lambda p: np.hypot(p[:, 0], p[:, 1]) <= self.outermost + 0.3)
            self.edges.cap(flat[-1], flat[-2])
        reach = self.outermost + self.view.paper(4.0)
        self.view.text((0.0, reach + self.view.paper(3.0)), "From above", height=2.2, across="centre")
        self.view.cross((0.0, 0.0), reach)
        self._dimensions()

    def _turns(self) -> None:
        if self.coil.winding == "spiral":
            gap = (self.coil.radial_pitch * MM - 2.0 * self.half) * self.view.scale
            self.edges.draw(self.turns[0][:, :2], "OUTLINE" if gap > 1.2 else "THIN")
            return
        for radius in sorted({round(float(np.hypot(*p[0, :2])), 6) for p in self.turns}):
            self.view.circle((0.0, 0.0), radius - self.half)
            self.view.circle((0.0, 0.0), radius, "CENTRE")
            if self.winding.pair_height is None or self.coil.leads is None:
                self.view.circle((0.0, 0.0), radius + self.half)
            else:
                self._rim(radius + self.half)

    def _rim(self, radius: float) -> None:
        """The outer edge, open where the leads leave; between them the turn below is seen."""
        if radius < self.outermost - 1e-6:
            self.view.circle((0.0, 0.0), radius)
            return
        last = self.turns[-1][-1]
        gap = abs(math.degrees(math.atan2(last[1], last[0])))
        self.view.arc((0.0, 0.0), radius, gap, 360.0 - gap)
        if self.winding.turns > 1.0:
            lead = dense(lead_lines(self.winding)[-1], 0.1)[:, :2]
            inner = min((parallel(lead, side) for side in (self.half, -self.half)), key=lambda p: abs(float(p[-1, 1])))
            first = inner[np.argmax(np.hypot(*inner.T) > radius)]
            seen = abs(math.degrees(math.atan2(first[1], first[0])))
            self.view.arc((0.0, 0.0), radius, -seen, seen)

    def _dimensions(self) -> None:
        v, coil, out = self.view, self.coil, self.view.paper
        if coil.winding == "spiral":
            for name, d, angle in (
                ("first turn", coil.inner_diameter, 36.0),
                ("last turn", coil.outer_diameter, 62.0),
            ):
                v.circle((0.0, 0.0), 0.5 * d * MM, "CENTRE")
                far = (self.outermost - 0.5 * d * MM) * v.scale + 8.0
                v.round(f"mean diameter of the {name}", (0.0, 0.0), 0.5 * d * MM, angle=angle, out=far,
                        suffix=f" mean, {name}")  # fmt: skip
        elif coil.winding == "turns":
            self._listed()
        elif coil.turns <= 1.0:
            v.round("mean diameter", (0.0, 0.0), 0.5 * coil.mean_diameter * MM, angle=125.0, out=10.0, suffix=" mean")
        if coil.leads is None:
            return
        self._leads(out)

    def _listed(self) -> None:
        sizes = sorted({t.mean_diameter for t in self.coil.turn})
        for k, d in enumerate(sizes):
            far = (self.outermost - 0.5 * d * MM) * self.view.scale + 8.0
            self.view.round(f"mean diameter {d * MM:g}", (0.0, 0.0), 0.5 * d * MM, angle=115.0 + 25.0 * k % 60.0, out=far,
                            suffix=" mean")  # fmt: skip

    def _leads(self, out: Callable[[float], float]) -> None:
        v, reach = self.view, self.winding.lead_reach * MM
        start, finish = self.line[0], self.line[-1]
        if self.winding.pair_height is not None:
            upper, lower = (start, finish) if start[1] > finish[1] else (finish, start)
            v.up(
                "lead spacing", (float(lower[0]), float(lower[1])), (float(upper[0]), float(upper[1])), reach + out(6.0)
            )
        foot = -self.outermost - out(8.0)
        end = min((start, finish), key=lambda p: float(p[1]))
        if end[0] > 0.0:
            rim = reach - self.coil.leads.length * MM
            v.across("lead length", (rim, 0.0), (reach, float(end[1]) - self.half), foot)
        bend = next(
            (p for p in self.winding.bends if "from the winding" in p.what and p.points[:, 1].mean() < 0.0), None
        )
        if bend is not None and bend.radius is not None:
            c = bend.centre * MM
            angle = math.degrees(math.atan2(*(bend.points[len(bend.points) // 2] * MM - c)[[1, 0]]))
            v.round("lead bend", (float(c[0]), float(c[1])), bend.radius * MM, angle=angle, out=5.0,
                    diameter=False)  # fmt: skip


def conductor_sheet(contents: PackContents) -> Sheet | None:
    """The conductor cut across, large, and the lead pair; None without a coil."""
    coil = contents.job.coil
    if coil is None:
        return None
    c = coil.conductor
    wide, high = c.radial_size * MM, c.axial_size * MM
    pair = (coil.leads.spacing * MM + wide) if coil.leads is not None else 0.0
    scale = fitting_scale(wide + pair, high, (110.0, 80.0))
    sheet = Sheet(contents, "conductor", "Conductor and lead pair, cut across", scale)
    y = 0.5 * (LOW[1] + HIGH[1]) + 8.0
    view = sheet.view((LOW[0] + 42.0 + 0.5 * wide * scale, y))
    conductor_cut(view, c, (0.0, 0.0), detail=True)
    view.cross((0.0, 0.0), 0.5 * max(wide, high) + view.paper(4.0))
    _conductor_dimensions(view, c)
    if coil.leads is not None:
        s = coil.leads.spacing * MM
        second = sheet.view((LOW[0] + 42.0 + wide * scale + 38.0 + 0.5 * wide * scale, y))
        for x in (0.0, s):
            conductor_cut(second, c, (x, 0.0), detail=True)
            second.line((x, -0.5 * high - second.paper(4.0)), (x, 0.5 * high + second.paper(4.0)), "CENTRE")
        second.across("lead spacing", (0.0, -0.5 * high), (s, -0.5 * high), -0.5 * high - second.paper(12.0))
        second.text((0.5 * s, 0.5 * high + second.paper(12.0)), "Lead pair", across="centre")
    view.text((0.0, 0.5 * high + view.paper(24.0)), "Conductor", across="centre")
    sheet.words((HIGH[0] - COLUMN - 2.0, HIGH[1] - 5.0), list(_conductor_notes(contents)), COLUMN)
    return sheet


def _conductor_dimensions(view: View, c: Any) -> None:
    low = -0.5 * c.axial_size * MM
    if c.section == "round tube":
        view.round("outside", (0.0, 0.0), 0.5 * c.outside * MM, angle=145.0, out=8.0)
        view.round(
            "bore", (0.0, 0.0), 0.5 * c.bore * MM, angle=35.0, out=(c.outside - c.bore) * 0.5 * MM * view.scale + 8.0
        )
    elif c.section in ("round wire", "litz"):
        view.round("diameter", (0.0, 0.0), 0.5 * c.diameter * MM, angle=145.0, out=8.0)
    else:
        w = 0.5 * c.width * MM
        view.across("width, along the radius", (-w, low), (w, low), low - view.paper(10.0))
        view.up("height, along the axis", (-w, low), (-w, -low), -w - view.paper(10.0))
        if c.section == "rectangular tube":
            view.across("wall", (w - c.wall * MM, -low), (w, -low), -low + view.paper(8.0))


def _conductor_notes(contents: PackContents) -> Iterator[str]:
    coil = contents.job.coil
    if coil is None:
        return
    c = coil.conductor
    yield "CONDUCTOR:"
    yield described(c)
    if c.section == "litz":
        yield f"{c.strands} insulated strands of ⌀{c.strand_diameter * MM:g}; strands not drawn"
    yield "BENDING:"
    for what, bend in conductor_bends(contents):
        yield f"{what}: centre line R{bend.radius * MM:.4g}, usual least R{bend.least_filled * MM:.4g} filled"
        if bend.wall is not None and bend.wall_outside is not None:
            yield f"   wall {bend.wall * MM:.3g} thins to {bend.wall_outside * MM:.3g} at the outside"
        if bend.tight:
            yield "   tighter than usual practice: trial bend first"
    if "tube" in c.section:
        yield "Anneal before winding; fill against collapse; flush after."


def conductor_bends(contents: PackContents) -> Iterator[tuple[str, Bending]]:
    """The tightest turn and the lead bends."""
    coil = contents.job.coil
    if coil is None:
        return
    turns = contents.check.scene.section.turns
    yield "tightest turn", bending(coil.conductor, min(t.r for t in turns))
    if coil.leads is not None:
        winding = winding_of(coil, contents.workshop, contents.check.scene.section)
        yield (
            "lead bends",
            bending(coil.conductor, min(b.radius or math.inf for b in winding.bends), larger_size(coil.conductor)),
        )
