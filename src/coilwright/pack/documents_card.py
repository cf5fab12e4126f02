"""Chapter 6, the operator's card: one side, large type, plain words, in the language of the line."""

from __future__ import annotations

from typing import Any

from coilwright.pack.card_words import Words
from coilwright.pack.documents_machine import printed
from coilwright.pack.traced import Ledger, Traced, pick, value_of

_MOST_LIMITS = 5
# Readings an operator can take, in the order in which they are worth a line on the card.
READ_BY_OPERATOR = ("start", "on-time", "setback", "coil-current", "source-power", "frequency", "outlet-rise")
# Cautions that stand on the card before others when there is no room for all of them.
FIRST = (
    "live coil and leads",
    "implants",
    "rings and watches",
    "hot part",
    "evacuated glass",
    "fumes",
    "toxic charge",
    "gas",
    "light",
    "leaks",
)
_MOST_CAUTIONS = 8


def card(c: Traced, ledger: Ledger, words: Words, pictures: list[dict[str, Any]]) -> dict[str, Any]:
    """The data of the card as the template takes it."""
    rows = _limits(c, ledger, words)
    hazards = [value_of(x.hazard) for x in c.cautions]
    return {
        "lang": words.language,
        "title": words["title"],
        "fails": "" if value_of(c.passed) else words["not_released"],
        "subtitle": f"{ledger.words(c.title.title)} · {ledger.words(c.title.digest)}",
        "settings": {"title": words["settings"], "rows": _settings(c, ledger, words)},
        "before": {"title": words["before"], "items": _before(c, words)},
        "pictures": pictures,
        "limits": {
            "title": words["limits"], "rows": rows, "none": words["no_limits"],
            "head": [words["reading"], words["green"], words["amber"], words["red"]],
            "note": words["colours"] if rows else "",
        },
        "passed": {"title": words["passed"], "items": _passed(c, ledger, words)},
        "never": {"title": words["never"], "items": _never(c, words)},
        "cautions": {"title": words["cautions"], "items": _cautions(c, ledger, words, hazards)},
        "decides": words.hazard("who decides"),
        "check": words["native_check"],
    }  # fmt: skip


def _settings(c: Traced, ledger: Ledger, words: Words) -> list[list[str]]:
    rows = []
    if value_of(c.job.drive.shot_time) is not None:
        rows.append([words["on_time"], ledger.figure(c.job.drive.shot_time, "s")])
    coil = c.shot.trace.coil
    rows.append([words["coil_current"], ledger.figure(pick("max", coil.current), "A", 3)])
    rows.append([words["frequency"], ledger.figure(coil.frequency[0], "kHz", 4)])
    if c.tank:
        rows.append([words["source_power"], ledger.auto(pick("max", c.tank.shot.trace.source.power), "W", 3)])
        if c.tank.cooling:
            rows.append([words["water_flow"], ledger.figure(c.tank.cooling.flow, "L/min", 2)])
            rows.append([words["water_leaves"], ledger.figure(c.tank.cooling.outlet_temperature, "degC", 2)])
    gap = _gap(c)
    if gap is not None:
        rows.append([words["gap"], ledger.figure(gap, "mm", 3)])
    for v in c.shot.verdicts:
        fired = v.details._value.get("start_at_s")
        if fired is not None:
            rows.append([words["starts"], ledger.figure(v.details["start_at_s"], "s", 2)])
            break
    return rows


def _gap(c: Traced) -> Traced | None:
    """The nearest place between the coil and anything else."""
    for clearance in c.check.clearances:
        names = (value_of(clearance.first), value_of(clearance.second))
        if any("turn" in n for n in names) and not all("turn" in n for n in names):
            return clearance.distance
    return None


def _before(c: Traced, words: Words) -> list[str]:
    out = [] if _gap(c) is None else [words["gauge_slides"], words["look_at_coil"]]
    if _water_cooled(c):
        out.append(words["water_runs"])
    return [*out, words["jewellery_off"], words["first_part"]]


def _water_cooled(c: Traced) -> bool:
    return any(value_of(x.hazard) == "cooling water" for x in c.cautions)


def _limits(c: Traced, ledger: Ledger, words: Words) -> list[list[str]]:
    if not c.machine:
        return []
    rows: list[list[str]] = []
    for what in READ_BY_OPERATOR:
        found = [r for r in c.machine.rows if value_of(r.what) == what and _usable(r)]
        if found and len(rows) < _MOST_LIMITS:
            # without a charge nothing starts: the instant is that at which the part is hot enough
            name = "hot-enough" if what == "start" and not _charged(c) else what
            rows.append(_limit(name, found[0], len(found) > 1, ledger, words))
    return rows


def _usable(row: Traced) -> bool:
    return any(side and value_of(side.seen) for side in (row.low, row.high))


def _charged(c: Traced) -> bool:
    return any(value_of(b.charge) is not None for b in c.job.bodies)


def _limit(name: str, row: Traced, every: bool, ledger: Ledger, words: Words) -> list[str]:
    unit, digits = printed(value_of(row.kind))
    cells: dict[str, list[str]] = {"green": [], "amber": [], "red": []}
    for side, inside, outside in ((row.low, "≥", "<"), (row.high, "≤", ">")):
        if side and value_of(side.seen):
            amber, red = (ledger.figure(x, unit, digits) for x in (side.amber, side.red))
            cells["green"].append(f"{inside} {amber}")
            cells["amber"].append(f"{outside} {ledger.figure(side.amber, unit, digits)}")
            cells["red"].append(f"{outside} {red}")
    label = words.reading(name) + (f" ({words['every_station']})" if every else "")
    return [label, *("\n".join(cells[k]) for k in ("green", "amber", "red"))]


def _passed(c: Traced, ledger: Ledger, words: Words) -> list[str]:
    telephone = ledger.words(c.documents.telephone)
    call = f"{words['call']} {telephone or '_' * 24}"
    several = [words["one_station"]] if value_of(c.cycle.stations) > 1 else []
    return [words["at_amber"], words["at_red"], *several, call]


def _never(c: Traced, words: Words) -> list[str]:
    out = [words["never_dial"], words["never_reach"], words["never_bridge"], words["never_open"]]
    return [*out, words["never_refire" if _charged(c) else "never_again"]]


def _cautions(c: Traced, ledger: Ledger, words: Words, hazards: list[str]) -> list[str]:
    shown = [h for h in FIRST if h in hazards]
    out = [words.hazard(h) for h in shown[:_MOST_CAUTIONS]]
    if c.distances:
        far = ledger.figure(c.distances[len(c.distances) - 1].distance, "m", 2)
        out.insert(min(2, len(out)), words["keep_away"].replace("{distance}", far))
    return out
