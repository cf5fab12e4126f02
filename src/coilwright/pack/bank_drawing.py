"""The capacitor bank from the front: every can in its string between the bars, with what stands across them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from coilwright.heating.bank_stress import BankStress, bank_stresses
from coilwright.heating.electrical import TankReport
from coilwright.pack.contents import PackContents
from coilwright.pack.drawing import View, fitting_scale
from coilwright.pack.sheet import COLUMN, HIGH, LOW, Sheet
from coilwright.safety.stored import clearance_hint
from coilwright.tank.layout import AIR_GAP, BAR_RISE, BankLayout

MM: Final = 1e3
_NAMES: Final = {"tank": "capacitor-bank", "tap": "tap-bank", "block": "blocking-bank"}
_TITLES: Final = {"tank": "Capacitor bank and busbars", "tap": "Tap capacitors", "block": "Blocking capacitors"}


def bank_sheets(contents: PackContents) -> Iterator[Sheet]:
    """One sheet per bank of the tank; none for a job without one."""
    if contents.tank is None:
        return
    for stress in bank_stresses(contents.tank, contents.job, contents.workshop):
        yield _sheet(contents, contents.tank, stress)


def _sheet(contents: PackContents, report: TankReport, stress: BankStress) -> Sheet:
    bank = stress.layout
    wide, high = bank.width * MM, bank.height * MM
    room = (HIGH[0] - LOW[0] - COLUMN - 50.0, HIGH[1] - LOW[1] - 62.0)
    scale = fitting_scale(wide, high, room)
    sheet = Sheet(contents, _NAMES[bank.place], _TITLES[bank.place], scale)
    x = LOW[0] + 26.0
    y = 0.5 * (LOW[1] + HIGH[1]) - 0.5 * high * scale
    _front(sheet.view((x, y)), bank)
    sheet.words((HIGH[0] - COLUMN - 2.0, HIGH[1] - 5.0), list(_notes(report, stress)), COLUMN)
    return sheet


def _front(v: View, bank: BankLayout) -> None:
    out = v.paper
    wide, high = bank.width * MM, bank.height * MM
    for b in bank.bars:
        low, top = (b.x * MM, b.y * MM), ((b.x + b.width) * MM, (b.y + b.height) * MM)
        v.box(low, top, "CONDUCTOR")
        v.hatch([low, (top[0], low[1]), top, (low[0], top[1])], spacing=2.4)
    for c in bank.cans:
        low, top = (c.x * MM, c.y * MM), ((c.x + c.width) * MM, (c.y + c.height) * MM)
        v.box(low, top)
        middle = 0.5 * (low[0] + top[0])
        for y in (low[1], top[1]):
            v.circle((middle, y), min(out(0.9), 0.2 * c.width * MM), "THIN")
        if c.width * MM * v.scale > 5.0:
            v.text((middle, 0.5 * (low[1] + top[1])), f"{c.string}.{c.row}", height=min(2.5, c.width * MM * v.scale / 5.0),
                   across="centre", up="middle")  # fmt: skip
    ends = ("from the source", "to the coil") if bank.place == "tank" else ("in", "out")
    v.text((out(1.0), high + out(2.5)), ends[0], height=2.2)
    v.text((wide - out(1.0), -out(2.5)), ends[1], height=2.2, across="right", up="top")
    _dimensions(v, bank)


def _dimensions(v: View, bank: BankLayout) -> None:
    out, wide, high = v.paper, bank.width * MM, bank.height * MM
    first = bank.cans[0]
    v.up("bar width", (0.0, high - bank.bar_width * MM), (0.0, high), -out(8.0))
    v.up("between the bars", (0.0, bank.bar_width * MM), (0.0, high - bank.bar_width * MM), -out(8.0))
    v.up("height over the bars", (0.0, 0.0), (0.0, high), -out(18.0))
    v.across("length of the bars", (0.0, 0.0), (wide, 0.0), -out(18.0))
    tops = [c for c in bank.cans if c.row == 1]
    if len(tops) > 1:
        x0, x1 = ((c.x + 0.5 * c.width) * MM for c in tops[-2:])
        v.across("pitch of the strings", (x0, high), (x1, high), high + out(9.0))
    v.up("height of a can", ((first.x + first.width) * MM, first.y * MM),
         ((first.x + first.width) * MM, (first.y + first.height) * MM), wide + out(8.0))  # fmt: skip


def _notes(report: TankReport, stress: BankStress) -> Iterator[str]:
    bank = stress.layout
    yield "CAPACITORS:"
    for group in stress.bank.groups:
        size, origin = bank.sizes[group.can.name]
        in_row = f" of {group.series} in series" if group.series > 1 else ""
        yield f"{group.parallel} {'string' if group.parallel == 1 else 'strings'}{in_row}: {group.cans} x {group.can.name}"
        yield f"   {size[0] * MM:g} x {size[1] * MM:g} x {size[2] * MM:g} (width, depth, height), {origin}"
    yield f"total {stress.bank.capacitance * 1e6:.4g} µF"
    yield "ACROSS THE BARS AT WORST:"
    yield f"{stress.voltage:.4g} V rms, {bank.peak_voltage:.4g} V peak, {bank.current:.4g} A rms, {bank.frequency / 1e3:.4g} kHz"
    yield "BARS:"
    yield f"copper, {bank.bar_width * MM:g} x {bank.bar_thickness * MM:g}; width for {BAR_RISE:g} K rise in still air"
    yield "   or narrower with a water tube brazed on"
    yield "source and coil at opposite ends: every string has the same length of bar"
    yield f"air between cans {AIR_GAP * MM:g} (assumed)"
    yield "CLEARANCE:"
    yield clearance_hint(bank.peak_voltage, bank.frequency).text
    yield "the drawn gap is set by the cans; the distance to frame and covers follows the standard"
    yield "CAUTION:"
    yield "Capacitors may hold a dangerous charge after isolation. Isolate, lock off, wait, prove dead, short, then touch."
