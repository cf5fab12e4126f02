"""Chapter 1, the offer: what is asked, what was assumed, what it takes, what is promised and how that is tested."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from coilwright.pack.blocks import Block, blanks, bullets, heading, notice, pairs, small, table, text, together
from coilwright.pack.known import known_values
from coilwright.pack.traced import Ledger, Traced, called, pick, value_of

EXCLUDED = (
    "Supply, earthing and connection of mains and cooling water up to the machine; these are work for licensed persons.",
    "Assessment of the workplace for electromagnetic fields, of the finished machine for emission, and of fumes and fire.",
    "Guards, interlocks and risk assessment of the line into which the machine is built, unless ordered.",
    "Parts and batches other than those described here; a change of part, material or rate asks for a new computation.",
    "Production parts used for trials and for the acceptance test.",
)
DUTIES = (
    "An electrical point and cooling water as listed under power, supply and water.",
    "Extraction at the work station where flux, charge or coating gives off fumes.",
    "Sample parts of the batch as it will be run, in the number of the acceptance test and as many again for trials.",
)


def offer(c: Traced, ledger: Ledger) -> Iterator[Block]:
    """The blocks of the offer."""
    yield from _asked(c, ledger)
    yield from _assumed(c, ledger)
    yield from _feasible(c, ledger)
    yield from _supply(c, ledger)
    yield from _forecast(c, ledger)
    yield from _test(c, ledger)
    yield heading("Not included, unless ordered")
    yield bullets([*EXCLUDED, *(ledger.words(x) for x in c.documents.excluded)])
    yield heading("What the site provides")
    yield bullets(DUTIES)
    *price, terms = _price(c, ledger)
    yield from price
    yield together(terms, blanks(["for the maker, date", "for the customer, date"]))


def _asked(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("What is asked")
    rows = []
    for body in c.job.bodies:
        does = {"work": "to be heated", "bystander": "to be spared"}.get(value_of(body.role), value_of(body.role))
        rows.append((ledger.words(body.name), does, ledger.words(body.material), _mass(c, body, ledger)))
    yield table(("body", "", "material", "mass"), rows, left=(0, 1, 2))
    if c.shot.verdicts:
        yield text("A part is good when:")
        yield bullets(f"{ledger.words(v.body)}: {ledger.words(v.asked)}" for v in c.shot.verdicts)
    else:
        yield notice("missing", "No acceptance", "The job has no [[accept]]; nothing is promised about the part.")
    rate, cycle = c.documents.rate, c.cycle
    sentences = [f"One shot takes {ledger.figure(cycle.shot, 's')} at {ledger.count(cycle.stations)} station(s)"]
    if cycle.per_second:
        sentences[0] += (
            f"; with {ledger.figure(cycle.handling, 's')} for handling that makes "
            f"{ledger.figure(cycle.per_second, '1/h', 3)}."
        )
    else:
        sentences[0] += "; the rate follows when the handling time is known (documents.handling)."
    if value_of(rate) is not None:
        wanted = f"Asked are {ledger.figure(rate, '1/h', 3)}"
        enough = value_of(cycle.enough)
        sentences.append(wanted + {True: ": met.", False: ": NOT met.", None: "."}[enough])
    yield text(*sentences)
    notes = value_of(c.job.note.notes)
    if notes:
        yield small("Notes of the job: " + ledger.words(c.job.note.notes))


def _mass(c: Traced, body: Traced, ledger: Ledger) -> str:
    for looked in c.check.bodies:
        if value_of(looked.name) == value_of(body.name):
            return ledger.auto(looked.mass, "kg", 3)
    return "film"


def _assumed(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("What was assumed")
    yield text(
        "Told: from the enquiry, taken as it stands. Measured: by the customer or by us. Guessed: taken because "
        "somebody had to say "
        "something. Usual: left out of the job, a usual value stands in. What is guessed or usual should be "
        "settled before the order."
    )
    rows = [
        (ledger.words(k.key), ledger.words(k.value), ledger.words(k.how))
        for k in Traced(known_values(value_of(c)), "known_values(contents)")
    ]
    yield table(("value", "as written", "how known"), rows, left=(0, 1, 2), wide=(1.5, 1.5, 0.6))
    if c.machine:
        yield text("What a difference makes, one at a time, the source holding what it holds:")
        yield _effects(c, ledger)
    if c.window:
        yield text("What is never quite the same, and how much of the doubt about the margin comes from it:")
        yield _varied(c, ledger)


def _effects(c: Traced, ledger: Ledger) -> Block:
    rows = []
    for x in c.machine.effects:
        by, power = ledger.figure(x.by, value_of(x.unit), 2), ledger.figure(x.power, "%", 2, sign=True)
        rows.append((f"{ledger.words(x.what)} {by}", power, ledger.figure(x.time, "%", 2, sign=True)))
    return table(("if", "power in the part", "time until done"), rows, left=(0,))


def _varied(c: Traced, ledger: Ledger) -> Block:
    total = c.window.variance.total
    rows = []
    for t in c.window.tolerances:
        name = value_of(t.quantity.what)
        share = ledger.figure(total[name], "%", 2) if name in value_of(total) else "–"
        width = _width(t.quantity, ledger)
        rows.append((ledger.words(t.quantity.what), width, ledger.words(t.quantity.shape), share))
    return table(("quantity", "by", "shape", "of the variance"), rows, left=(0, 2))


def _width(q: Traced, ledger: Ledger) -> str:
    """How much a quantity varies; a width of temperature is a difference, not a temperature."""
    if value_of(q.shape) == "sample":
        return "sample"
    if value_of(q.kind) == "temperature":
        return ledger.figure(pick("abs", q.width), "K", 3)
    return ledger.words(called(q.shown, pick("abs", q.width)))


def _feasible(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Is it feasible: the hand calculation")
    if not c.quick:
        yield notice("missing", "No hand calculation", ledger.words(c.missing["quick"]))
        return
    yield small(
        "Worked out on paper formulas, to be expected within a third; the computed figures stand in the design sheet."
    )
    for body in c.quick.bodies:
        rows = [_hand(line, ledger) for line in body.lines]
        yield table((ledger.words(body.name), "", "formula", "source"), rows, left=(0, 2, 3), wide=(1.25, 0, 1.0, 1.35))
    if c.quick.coil:
        rows = [_hand(line, ledger) for line in c.quick.coil]
        yield table(("coil and supply", "", "formula", "source"), rows, left=(0, 2, 3), wide=(1.25, 0, 1.0, 1.35))


def _hand(line: Traced, ledger: Ledger) -> tuple[str, str, str, str]:
    value = ledger.auto(line.value, value_of(line.unit), 3)
    return ledger.words(line.label), value, ledger.words(line.formula), ledger.words(line.source)


def _supply(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Power, supply, water")
    coil = c.shot.trace.coil
    rows = [
        ("frequency", ledger.auto(c.field.result.frequency, "Hz")),
        ("largest power at the coil terminals", ledger.auto(_most(coil.power), "W", 3)),
        (
            "largest coil current and voltage, rms",
            f"{ledger.figure(_most(coil.current), 'A', 3)}, {ledger.figure(_most(coil.voltage), 'V', 3)}",
        ),
    ]
    if c.tank:
        source = c.tank.shot.trace.source
        rows.append(("largest power the source gives", ledger.auto(_most(source.power), "W", 3)))
    hand = _quick_line(c, "supply_power_W")
    if hand is not None:
        rows.append(("power from the mains, hand calculation", ledger.auto(hand.value, "W", 3)))
    if c.tank and c.tank.cooling:
        water = c.tank.cooling
        flow, drop = ledger.figure(water.flow, "L/min", 3), ledger.figure(water.pressure_drop, "bar", 3)
        said = f"{flow} at {drop}, leaving at {ledger.figure(water.outlet_temperature, 'degC', 3)}"
        rows.append(("cooling water", said))
        rows.append(("heat into the water", ledger.auto(water.heat, "W", 3)))
    else:
        hand = _quick_line(c, "water_m3_per_s")
        if hand is not None:
            rows.append((ledger.words(hand.label), ledger.auto(hand.value, "m^3/s", 2)))
    yield pairs(rows)
    if not c.tank:
        yield notice(
            "missing",
            "Source and tank not computed",
            ledger.words(c.missing["tank"]) + "; supply and stresses are the hand calculation's.",
        )
    elif not c.tank.cooling:
        yield notice("missing", "Water circuit not computed", ledger.words(c.missing["cooling"]) + ".")


def _most(values: Traced) -> Traced:
    return pick("max", values)


def _quick_line(c: Traced, key: str) -> Any:
    if not c.quick:
        return None
    return next((line for line in c.quick.coil if value_of(line.key) == key), None)


def _forecast(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Tolerance forecast")
    if not c.window:
        yield notice(
            "missing",
            "No forecast of yield",
            ledger.words(c.missing["window"]) + "; how far things may be out is not promised.",
        )
        return
    parts, shots = c.window.forecast.parts, c.window.forecast.shots
    yield text(
        f"Of {ledger.count(parts.of)} virtual parts {ledger.figure(parts.share, '%')} meet the acceptance "
        f"({ledger.figure(parts.low, '%')} to {ledger.figure(parts.high, '%')} with what the computation may be "
        "wrong); whole shots without a bad part: "
        f"{ledger.figure(shots.share, '%')}. Forecast from {ledger.count(c.window.runs)} full computed shots."
    )


def _test(c: Traced, ledger: Ledger) -> Iterator[Block]:
    t = c.test
    if not c.shot.verdicts:
        yield heading("Acceptance test")
        yield notice(
            "missing", "No acceptance test", "The job has no [[accept]], so there is nothing to test a part against."
        )
        return
    yield together(heading("Acceptance test"), text(
        f"The machine is accepted when {ledger.count(t.parts)} parts, taken as they come from an agreed batch "
        "and run at the settings of the "
        "hand-over sheet without adjustment in between, all meet every line of the acceptance above, judged by "
        "the means agreed in the order."
    ), text(
        f"What that proves: had {ledger.figure(t.allowed, '%')} or more of such parts been bad, a row of "
        f"{ledger.count(t.parts)} good ones would come about in "
        f"less than {ledger.figure(t.chance_wrong, '%')} of all tries. The test shows, with "
        f"{ledger.figure(t.confidence, '%')} confidence, that fewer than {ledger.figure(t.proven, '%', 3)} are bad; it "
        "does not show that none are."
    ), *_chance(c, ledger))  # fmt: skip
    yield small(
        "Several stations: the row is run at each station. A bad part ends the row; the cause is found before a "
        "new one begins."
    )


def _chance(c: Traced, ledger: Ledger) -> list[Block]:
    if value_of(c.test.chance) is None:
        return []
    return [
        text(
            f"With the yield forecast above, such a row succeeds with a chance of {ledger.figure(c.test.chance, '%', 2)}."
        )
    ]


def _price(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Price")
    if not c.price:
        yield notice("missing", "No price", ledger.words(c.missing["price"]) + ".")
        return
    p = c.price
    money = ledger.words(p.currency)
    rows = []
    for line in _lines(p, option=False):
        amount = f"{ledger.figure(line.amount, '', 4)} {ledger.words(line.unit)}".strip()
        how = "counted" if value_of(line.counted) else "rates file"
        rows.append((ledger.words(line.what), how, amount, _money(line.rate, ledger), _money(line.cost, ledger)))
    rows.append(("direct cost", "", "", "", _money(p.direct, ledger)))
    for name in ("overhead", "risk", "profit"):
        if getattr(value_of(p), name):
            rows.append(
                (name, "", ledger.figure(getattr(p, name), "%"), "", _money(getattr(p, name + "_cost"), ledger))
            )
    rows.append(("total", "", "", "", _money(p.total, ledger)))
    head = ("item", "amount from", "amount", f"rate, {money}", f"cost, {money}")
    yield together(table(head, rows, left=(0, 1)))
    options = [(ledger.words(x.what), _money(called(p.with_additions, x.cost), ledger)) for x in _lines(p, option=True)]
    if options:
        yield together(table(("option, not in the total", f"price, {money}"), options, left=(0,)))
    terms = [f"{said} {ledger.words(term)}." for said, term in _terms(p) if value_of(term)]
    lacking = [said for said, term in _terms(p) if not value_of(term)]
    if lacking:
        terms.append(f"Not in the file of rates, to be agreed: {', '.join(lacking).lower()}.")
    yield small(" ".join(["Without taxes and carriage.", *terms]))


def _lines(p: Traced, *, option: bool) -> list[Traced]:
    return [line for line in p.lines if value_of(line.option) is option]


def _terms(p: Traced) -> tuple[tuple[str, Traced], ...]:
    return ("Valid for", p.valid), ("Delivery", p.delivery), ("Payment", p.payment)


def _money(traced: Traced, ledger: Ledger) -> str:
    return ledger.figure(traced, "", -2)
