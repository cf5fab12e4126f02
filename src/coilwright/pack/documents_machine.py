"""Chapters 5 and 7: what to read when the machine is handed over, and when to look again."""

from __future__ import annotations

from collections.abc import Iterator

from coilwright.pack.blocks import (
    Block,
    blanks,
    bullets,
    heading,
    notice,
    pairs,
    small,
    table,
    text,
    together,
)
from coilwright.pack.traced import Ledger, Traced, value_of
from coilwright.units import KINDS

# (printed unit, digits) of a reading by its kind
UNIT = {
    "frequency": ("kHz", 5), "current": ("A", 4), "voltage": ("V", 4), "power": ("W", 4), "temperature_difference": ("K", 3),
    "time": ("s", 3), "capacitance": ("uF", 4), "mass": ("g", 4), "resistance": ("mohm", 3), "length": ("mm", 3),
    "flow": ("L/min", 3), "pressure": ("bar", 3), "inductance": ("uH", 4), None: ("", 3),
}  # fmt: skip
BY_HAND = (
    "Hoses, fittings and the pump: damp, kinks, scale in the strainer; isolate before wiping or mending.",
    "Bolted joints of bars, leads and capacitors: darkened, warm or loose ones are cleaned and tightened dead.",
    "Coil: scale, spatter, flattened tube, cracked insulation; the setting gauge must still slide.",
    "Discharge of the capacitors and all interlocks: proved by a qualified person.",
    "Extraction, guards, emergency stop, signs about implants.",
)


def hand_over(c: Traced, ledger: Ledger, form: str) -> Iterator[Block]:
    """The blocks of the test and hand-over sheet."""
    yield _identity(c, ledger, form)
    yield from _bench(c, ledger)
    yield from _readings(c, ledger)
    yield from _conditions(c, ledger)
    yield from _row_of_parts(c, ledger)
    yield heading("Cautions for whoever reads")
    yield bullets(cautions(c, ledger))
    yield blanks(["read by, date", "accepted for the customer, date"])


def _identity(c: Traced, ledger: Ledger, form: str) -> Block:
    return text(
        "Every reading to take while the machine is right, with what the computation expects. The QR code of "
        "the first page names the job "
        f"({ledger.words(c.title.digest)}). Filled in, the sheet goes back into the job: type the values into "
        f"{form} and let the "
        "program read it; from then on these are the healthy values."
    )


def _bench(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Coil on the bench, before fitting")
    result, shop = c.field.result, c.workshop
    if value_of(result.loaded) is None:
        yield notice(
            "missing",
            "No work coil",
            "The job heats by a current through the part's own pins; there is no coil to measure.",
        )
        return
    fig = ledger.figure
    rows = []
    for name, coil in (("empty", result.unloaded), ("with a cold part at its place", result.loaded)):
        rows.append((f"inductance, {name}", fig(coil.inductance, "uH"), f"± {fig(shop.inductance_tolerance, '%')}", ""))
        rows.append(
            (f"resistance, {name}", fig(coil.resistance, "mohm"), f"± {fig(shop.resistance_tolerance, '%')}", "")
        )
    where = f"at {ledger.auto(result.frequency, 'Hz')}, at the coil without its leads"
    yield table((where, "expected", "tolerance", "measured"), rows, wide=(2, 0.8, 0.7, 1), roomy=True)


def _readings(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Machine: readings with a good part, cold unless named hot or empty")
    if not c.machine:
        yield notice("missing", "No predictions and limits", ledger.words(c.missing["machine"]))
        return
    rows = [_reading(row, ledger) for row in c.machine.rows]
    head = ("reading", "at", "expected", "green within", "red beyond", "± one sigma", "measured")
    yield table(head, rows, left=(0,), wide=(2.1, 0, 0, 0, 0, 0, 1.0), roomy=True)
    yield small(
        "At: the station, or the whole machine. Amber begins where the chance of a bad part has visibly grown, "
        "red where it has grown "
        "to scrap. A dash: not computed, read it once and keep it. (n): a limit so near that this reading "
        "cannot tell it from chance; do not "
        "use it alone, read another."
    )
    yield small(
        "How the limits were found: the part was shot at weaker and stronger currents, on coarser meshes and in longer "
        "steps than the shot of the design sheet. Where nothing saturates, the strongest shot was coupled in full and the "
        "weaker ones took its losses at equal temperature. What this does to a limit is little beside the doubt about the "
        "least power that still makes a good part, which the limits allow for."
    )


def printed(kind: str | None) -> tuple[str, int]:
    """(unit, digits) in which a kind of reading is printed."""
    return UNIT[kind] if kind in UNIT else (KINDS[str(kind)][0], 4)


def _reading(row: Traced, ledger: Ledger) -> tuple[str, ...]:
    unit, digits = printed(value_of(row.kind))
    station = value_of(row.station)
    value = row.recorded if value_of(row.recorded) is not None else row.predicted
    return (
        ledger.words(row.asked), ledger.count(row.station) if station else "whole", ledger.figure(value, unit, digits),
        _span(row, "amber", unit, digits, ledger), _span(row, "red", unit, digits, ledger),
        ledger.figure(row.sigma, unit, 2), "",
    )  # fmt: skip


def _span(row: Traced, edge: str, unit: str, digits: int, ledger: Ledger) -> str:
    parts = []
    for side, sign in ((row.low, "≥" if edge == "amber" else "<"), (row.high, "≤" if edge == "amber" else ">")):
        if side:
            unseen = "" if value_of(side.seen) else " (n)"
            parts.append(f"{sign} {ledger.figure(getattr(side, edge), unit, max(digits, 4))}{unseen}")
    return "\n".join(parts) or "–"


def _conditions(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield together(heading("Conditions at the time"), blanks([
        "mains voltage under load (a licensed person's reading)", "mains frequency", "water: inlet temperature",
        "water: flow and pressure", "timer set to", "setting gauge, number", "room temperature", "part batch",
    ]))  # fmt: skip


def _row_of_parts(c: Traced, ledger: Ledger) -> Iterator[Block]:
    t = c.test
    if not c.shot.verdicts:
        return
    yield together(
        heading("Acceptance row"),
        text(
            f"{ledger.count(t.parts)} good parts in a row, as worded in the offer; shown by it: fewer than "
            f"{ledger.figure(t.proven, '%', 3)} bad, with "
            f"{ledger.figure(t.confidence, '%')} confidence."
        ),
        blanks(["parts run", "parts bad, and why"]),
    )


def cautions(c: Traced, ledger: Ledger) -> list[str]:
    """The cautions of the job with their computed figures and who says so."""
    out = []
    for x in c.cautions:
        figure = f" ({ledger.words(x.figure)})" if value_of(x.figure) else ""
        out.append(f"{ledger.words(x.hazard)}: {ledger.words(x.text)}{figure}")
    return out


def upkeep(c: Traced, ledger: Ledger) -> Iterator[Block]:
    """The blocks of the maintenance card."""
    yield text(
        "How often to look follows from the limits: a reading is taken at least twice while it wanders, at the "
        "rate given, from healthy to "
        "amber. Beside the hours of running stands the usual turn that is short enough."
    )
    if not c.machine:
        yield notice("missing", "No intervals", ledger.words(c.missing["machine"]))
    elif not c.machine.upkeep:
        yield notice(
            "missing", "No intervals", "No reading of this machine has a limit, so nothing says how often to look."
        )
    else:
        good = [u for u in c.machine.upkeep if value_of(u.seen)]
        poor = [u for u in c.machine.upkeep if not value_of(u.seen)]
        if good:
            yield heading("Readings that show trouble in time")
            yield _turns(good, ledger)
        if poor:
            yield heading("Readings too rough for their limit")
            yield text(
                "Their limit lies within what the reading repeats to. Read them all the same and watch the "
                "trend; a single reading decides nothing."
            )
            yield _turns(poor, ledger)
        yield small("Rates of wandering: " + ledger.words(c.machine.upkeep[0].source) + ".")
    yield heading("By hand and eye, at each of these turns")
    yield bullets(BY_HAND)
    yield heading("Cautions")
    yield bullets(cautions(c, ledger), fine=True)
    if value_of(c.documents.telephone):
        yield pairs([("call", ledger.words(c.documents.telephone))])


def _turns(found: list[Traced], ledger: Ledger) -> Block:
    rows = []
    for u in found:
        turn = ledger.words(u.turn) if value_of(u.turn) else "before every use"
        if value_of(u.relative):
            room, rate = ledger.figure(u.room_share, "%", 2), f"{ledger.figure(u.rate_per_1000, '%', 2)}"
        else:
            room, rate = ledger.figure(u.room, "mm", 2), f"{ledger.figure(u.rate_per_1000, 'mm', 2)}"
        rows.append(
            (ledger.words(u.asked), turn, ledger.figure(u.hours, "h", 2), ledger.words(u.driven_by), room, rate)
        )
    head = ("what to read", "how often", "at the latest after", "shows", "room to amber", "wanders in a thousand hours")
    return table(head, rows, left=(0, 1, 3), wide=(2.0, 0.8, 0.7, 0.8, 0.6, 0.8))
