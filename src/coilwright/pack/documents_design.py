"""Chapter 2, the design: section, field, shot, machine and tolerances as computed, with how far the figures may be off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from coilwright.pack.blocks import Block, beside, heading, notice, pairs, picture, sheet, small, table, text, together
from coilwright.pack.traced import Ledger, Traced, called, entries_of, pick, value_of

Pictures = Mapping[str, str]  # what it shows -> file
_NO_FLUX = 1e-10  # T, far below what any loop could read
_CURVES = {
    "resistivity": ("resistivity", "uohm m"),
    "relative_permeability": ("relative permeability", ""),
    "thermal_conductivity": ("thermal conductivity", "W/m/K"),
    "specific_heat": ("specific heat", "J/kg/K"),
    "emissivity": ("emissivity", ""),
}


def design(c: Traced, ledger: Ledger, pictures: Pictures) -> Iterator[Block]:
    """The blocks of the design sheet."""
    yield from _section(c, ledger, pictures)
    yield from _field(c, ledger, pictures)
    yield from _shot(c, ledger, pictures)
    yield from _machine(c, ledger, pictures)
    yield from _window(c, ledger, pictures)
    yield from _materials(c, ledger)
    yield from _findings(c, ledger)


def _section(c: Traced, ledger: Ledger, pictures: Pictures) -> Iterator[Block]:
    yield heading("Section")
    yield picture(pictures["section"], "half-section of coil and part, mirrored about the axis", height=150)
    rows = []
    for body in c.check.bodies:
        depth = f"{ledger.auto(body.skin_cold, 'm', 3)} / {ledger.auto(body.skin_hot, 'm', 3)}"
        none = value_of(body.skin_cold) is None
        rows.append(
            (ledger.words(body.name), ledger.words(body.material), ledger.auto(body.mass, "kg", 4),
             ledger.auto(body.thickness, "m", 3), "–" if none else depth, ledger.figure(body.hot, "degC", 4))
        )  # fmt: skip
    head = ("body", "material", "mass", "thickness", "skin depth cold / hot", "hot is")
    yield table(head, rows, left=(0, 1))
    near = [
        (ledger.words(g.first), ledger.words(g.second), ledger.figure(g.distance, "mm", 3)) for g in c.check.clearances
    ]
    if near:
        yield table(("smallest gaps between", "and", "gap"), near[:6], left=(0, 1), wide=(1, 1, 0.5))


def _field(c: Traced, ledger: Ledger, pictures: Pictures) -> Iterator[Block]:
    fig, result = ledger.figure, c.field.result
    yield heading("Cold field")
    yield picture(pictures["field"], "lines of flux and loss density in the section", height=125)
    if value_of(result.loaded) is not None:
        error = result.error
        rows = [
            (name, fig(coil.inductance, "uH"), fig(coil.resistance, "mohm"), fig(coil.q, "", 3))
            for name, coil in (("coil with the part", result.loaded), ("coil empty", result.unloaded))
        ]
        if error:
            rows.append(("estimated error", fig(error.inductance, "%", 2), fig(error.resistance, "%", 2), ""))
        leads = c.field.leads
        rows.append(("leads, to be added", fig(leads.inductance, "uH"), fig(leads.resistance, "mohm"), ""))
        yield table(("at the coil", "inductance", "resistance", "Q"), rows)
    powers = []
    for name, power in entries_of(result.body_powers):
        known = result.error and value_of(name) in value_of(result.error.power)
        off = fig(result.error.power[value_of(name)], "%", 2) if known else "–"
        powers.append((ledger.words(name), ledger.auto(power, "W"), off))
    powers.append(("coil", ledger.auto(result.coil_power, "W"), ""))
    yield table(("power, cold", "", "estimated error"), powers)
    yield pairs(
        [
            (
                "frequency, coil current rms",
                f"{ledger.auto(result.frequency, 'Hz')}, {fig(pick('abs', result.coil_current), 'A')}",
            ),
            ("power in the work over power supplied", fig(result.efficiency, "%", 3)),
            ("power balance off by", fig(result.power_mismatch, "%", 2)),
        ]
    )
    points = [
        (ledger.words(name), *(_flux(pick("abs", part), ledger) for part in flux))
        for name, flux in entries_of(result.points)
    ]
    if points:
        yield table(("flux density rms at", "radial", "axial"), points)
    yield small("Method: " + ledger.words(result.method) + ".")


def _flux(flux: Traced, ledger: Ledger) -> str:
    """A flux density in mT; what symmetry forbids leaves nothing but rounding."""
    return "none" if value_of(flux) < _NO_FLUX else ledger.figure(flux, "mT", 3)


def _shot(c: Traced, ledger: Ledger, pictures: Pictures) -> Iterator[Block]:
    fig, shot = ledger.figure, c.shot
    yield heading("The shot, and the acceptance with its margins")
    yield acceptance(c, ledger)
    yield picture(pictures["shot"], "temperatures through the shot with the acceptance", height=88)
    yield picture(pictures["map"], "temperatures at the end of the shot", height=120)
    rows = []
    for name, body in entries_of(shot.trace.bodies):
        ends = [fig(x[len(value_of(x)) - 1], "degC") for x in (body.minimum, body.mean, body.maximum)]
        rows.append((ledger.words(name), *ends, fig(pick("max", body.maximum), "degC")))
    yield table(("at the end", "coldest", "mean", "hottest", "hottest ever"), rows)
    coil, last = shot.trace.coil, len(value_of(shot.trace.time)) - 1
    rows = [
        (name, fig(x[0], unit), fig(x[last], unit), fig(pick("max", x), unit))
        for name, x, unit in (
            ("coil current, rms", coil.current, "A"), ("coil voltage, rms", coil.voltage, "V"), ("coil power", coil.power, "W"),
            ("inductance, loaded", coil.inductance, "uH"), ("resistance, loaded", coil.resistance, "mohm"),
            ("frequency", coil.frequency, "kHz"),
        )
    ]  # fmt: skip
    electrical = table(("electrical, leads included", "first", "last", "largest"), rows)
    e, off = shot.energy, shot.error
    heat = [(n, ledger.auto(x, "J")) for n, x in (
        ("induced", e.induced), ("from the charge", e.charge), ("stored", e.stored), ("radiated", e.radiated),
        ("carried off by air", e.convected), ("led away", e.led_away))]  # fmt: skip
    yield together(beside([electrical], [table(("heat of the whole shot", ""), heat)], 0.6))
    yield text(
        f"Estimated error: {fig(off.temperature_K, 'K', 2)} in temperatures, {fig(off.time_s, 's', 2)} in the "
        "instants above; "
        f"power balance off by {fig(off.power_balance, '%', 2)}."
    )
    yield small(
        f"Method: {ledger.words(shot.method)}; {ledger.count(shot.steps)} steps, {ledger.count(shot.nodes)} nodes."
    )


def acceptance(c: Traced, ledger: Ledger) -> Block:
    """Every line of the acceptance with what happened and the margin."""
    if not c.shot.verdicts:
        return notice("missing", "No acceptance", "The job has no [[accept]]; nothing can be passed or failed.")
    rows = []
    for v in c.shot.verdicts:
        margins = [(v.margin_K, "K"), (v.margin_s, "s"), (v.margin, "%")]
        shown = ", ".join(ledger.figure(m, unit, 3, sign=True) for m, unit in margins if value_of(m) is not None)
        rows.append((ledger.words(v.body), ledger.words(v.asked), "met" if value_of(v.met) else "FAILS", shown))
    return table(("body", "asked", "", "margin"), rows, left=(0, 1, 2), wide=(0.8, 1.6, 0, 0.8))


def _machine(c: Traced, ledger: Ledger, pictures: Pictures) -> Iterator[Block]:
    yield heading("Source, tank and water")
    if not c.tank:
        yield notice("missing", "Not computed", ledger.words(c.missing["tank"]) + ".")
        return
    t, fig = c.tank, ledger.figure
    points = [("cold", t.cold), ("end of shot", t.hot), *([("coil empty", t.empty)] if t.empty else [])]
    lines = (
        ("frequency", "frequency", "kHz"), ("phase, current lagging", "phase", "deg"), ("coil current", "coil_current", "A"),
        ("coil voltage", "coil_voltage", "V"), ("coil power", "coil_power", "W"), ("source voltage", "source_voltage", "V"),
        ("source current", "source_current", "A"), ("source power", "source_power", "W"), ("share of full drive", "drive", "%"),
        ("loaded Q", "loaded_q", ""),
    )  # fmt: skip
    rows = [(name, *(fig(getattr(p, read), unit) for _, p in points)) for name, read, unit in lines]
    yield table(("rms", *(name for name, _ in points)), rows)
    if not t.empty:
        yield small("The source finds no place to run on the empty coil.")
    if t.worst:
        rows = [
            (ledger.words(r.component), ledger.words(r.quantity), _rated(r.value, r, ledger), _rated(r.rating, r, ledger),
             fig(r.derating, "%", 3), fig(r.used, "%", 3), fig(r.margin, "%", 3))
            for r in t.worst
        ]  # fmt: skip
        head = ("capacitors, worst of shot and empty", "", "carries", "rated", "allowed of it", "used", "margin")
        yield table(head, rows, left=(0, 1))
    else:
        yield notice(
            "missing", "No capacitor ratings", "The job gives no ratings; the stresses are compared with nothing."
        )
    if t.start_up:
        up = t.start_up.ring_up
        yield text(
            f"At switch-on the current is within a tenth of its end after {fig(up.ring_up_time, 'us', 3)}; peaks: "
            f"{fig(up.peak_source_current, 'A', 3)} at the source, {fig(up.peak_coil_current, 'A', 3)} in the coil, "
            f"{fig(up.peak_bank_voltage, 'V', 3)} on the bank."
        )
    yield _water(c, ledger)
    yield sheet(
        pictures["tank"], "circuit of source, tank and coil with the values at the operating point", 297.0, 150.0, 12.0
    )


def _rated(value: Traced, check: Traced, ledger: Ledger) -> str:
    unit = {"voltage": "V", "current": "A"}.get(value_of(check.quantity), "kvar")
    return ledger.figure(value, unit, 3)


def _water(c: Traced, ledger: Ledger) -> Block:
    water = c.tank.cooling
    if not water:
        return notice("missing", "No water circuit", ledger.words(c.missing["cooling"]) + ".")
    fig = ledger.figure
    rows = [
        (ledger.words(e.name), ledger.auto(e.loss, "W", 3), fig(e.flow, "L/min", 3), fig(e.pressure_drop, "bar", 2),
         fig(e.outlet_temperature, "degC", 3), fig(e.wall_temperature, "degC", 3), fig(e.boiling_margin, "K", 3))
        for e in water.elements
    ]  # fmt: skip
    head = ("water through", "takes up", "flow", "drop", "leaves at", "hottest wall", "below boiling by")
    return table(head, rows)


def _window(c: Traced, ledger: Ledger, pictures: Pictures) -> Iterator[Block]:
    yield heading("How far things may be out")
    if not c.window:
        yield notice("missing", "No window", ledger.words(c.missing["window"]) + ".")
        return
    w, fig = c.window, ledger.figure
    yield picture(pictures["ladder"], "how far each quantity may be out, alone and all at once", height=105)
    rows = []
    for t in w.tolerances:
        q = t.quantity
        low, high = (_end(t, side, n, ledger) for n, side in enumerate(("low", "high")))
        both = " .. ".join(ledger.words(called(q.shown, x)) for x in t.together)
        rows.append((ledger.words(q.what), ledger.words(called(q.shown, q.nominal)), low, high, both))
    yield table(("quantity", "drawn", "alone from", "to", "all at once"), rows)
    stations = []
    for n, share in enumerate(w.forecast.stations):
        s = w.stations
        stations.append(
            (ledger.count(Traced(n + 1, f"{n} + 1")), fig(s.powers[n], "W", 3), fig(s.currents[n], "A", 4),
             fig(s.start_times[n], "s", 3) if s.start_times else "–", fig(share.share, "%", 4))
        )  # fmt: skip
    yield table(("station", "power in the part, cold", "coil current", "done at", "yield"), stations)


def _end(t: Traced, side: str, n: int, ledger: Ledger) -> str:
    value = getattr(t, side)
    if value_of(value) is not None:
        return ledger.words(called(t.quantity.shown, value))
    return "beyond " + ledger.words(called(t.quantity.shown, t.searched[n]))


def _materials(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("Materials and where their values come from")
    scene, seen = c.check.scene, set()
    names = [scene.materials[n] for n in value_of(scene.materials)]
    if value_of(scene.conductor) is not None:
        names.append(scene.conductor)
    for material in names:
        name = value_of(material.name)
        if name in seen:
            continue
        seen.add(name)
        rows = []
        curves = called(material.curves)
        for key in value_of(curves):
            label, unit = _CURVES[key]
            curve = curves[key]
            ends = f"{ledger.figure(curve.values[0], unit, 3)} … {ledger.figure(curve.values[len(curve.values) - 1], unit, 3)}"
            if value_of(curve.is_constant):
                ends = ledger.figure(curve.values[0], unit, 3)
            ends_at = [ledger.figure(curve.at[n], "degC") for n in (0, len(curve.at) - 1)]
            span = "–" if value_of(curve.is_constant) else " … ".join(ends_at)
            rows.append((label, ends, span, ledger.words(curve.source)))
        title = f"{ledger.words(material.name)}, {ledger.figure(material.density, 'kg/m^3')}"
        yield table(
            (title, "ends of the curve", "from … to", "source"), rows, left=(0, 1, 2, 3), wide=(0.9, 1.0, 0.8, 1.7)
        )


def _findings(c: Traced, ledger: Ledger) -> Iterator[Block]:
    yield heading("What a careful reader would point out")
    sources = [c.check.findings, c.field.findings, c.shot.findings]
    sources += [x.findings for x in (c.tank, c.window, c.quick) if x]
    said, rows = set(), []
    for findings in sources:
        for f in findings:
            key = (value_of(f.code), value_of(f.where), value_of(f.text))
            if key not in said:
                said.add(key)
                told = ledger.words(f.text) + (" " + ledger.words(f.advice) if value_of(f.advice) else "")
                rows.append((ledger.words(f.severity), ledger.words(f.where), told))
    if not rows:
        yield text("Nothing.")
        return
    order = {"serious": 0, "warning": 1, "note": 2}
    rows.sort(key=lambda r: order.get(r[0], 3))
    yield table(("", "where", "what"), rows, left=(0, 1, 2), wide=(0, 0.7, 2.6))
