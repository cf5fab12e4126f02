"""The hand calculation: what a practitioner works out on paper before anything is computed properly.

Every line carries its formula and the formula's source. Expect 30 %; `field` and `heat` give the proper numbers.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Finding
from coilwright.field.formulas_conductors import pair_inductance, pair_resistance, tube_resistance
from coilwright.field.formulas_hand import PartSize, part_in_coil
from coilwright.field.formulas_inductance import ring_stack_inductance
from coilwright.field.formulas_skin import MU_0, skin_depth, surface_resistance
from coilwright.heat.formulas_lumped import radiated_power
from coilwright.heating.hand_sheet import QuickBody, QuickLine, QuickResult
from coilwright.heating.setup import drive_of
from coilwright.heating.tank_source import has_source
from coilwright.job import Job
from coilwright.materials import Material
from coilwright.section.scene import Scene, scene
from coilwright.units import ZERO_CELSIUS

TRADE: Final = "common practice, no source"
SKIN: Final = "Ramo, Whinnery & Van Duzer, Fields and Waves, ch. 3"
_NEIGHBOURS: Final = 1.3  # turns crowd each other's current: common practice 1.2 to 1.5
_SOURCE: Final = 0.85  # share of the mains power that reaches the coil's terminals: common practice 0.8 to 0.9
_WATER_HEAT: Final = 4.18e6  # J/m^3/K, of water at room temperature (handbook value)
_WATER_RISE: Final = 10.0  # K
_FALLBACK: Final = 1073.15  # K, when the job asks for no temperature


def quick(job: Job) -> QuickResult:
    """Work out a job on paper. Raises BadInput when no body is to be heated or bodies overlap.

    Without a frequency in [drive] the middle of the range of the job's source is taken (its own when it is fixed).
    """
    job = _with_frequency(job)
    drawn = scene(job)
    names = [b.name for b in drawn.section.bodies if job.body(b.name).role == "work"]
    if not names:
        what = 'must hold at least one body with role = "work" and a solid shape; there is nothing to heat'
        raise BadInput(Fault(f"{job.name}: body", what))
    findings: list[Finding] = []
    coil, resistance, inductance = _coil(drawn)
    reflected: dict[str, float] = {}
    bodies = []
    for name in names:
        lines = _thermal(drawn, name, findings)
        if job.drive.frequency is not None:
            lines += _electrical(drawn, name, job.drive.frequency, findings, reflected)
        bodies.append(QuickBody(name, tuple(lines)))
    if len(reflected) > 1:
        text = "each part is estimated as if it were alone; parts inside or beside one another shade each other."
        advice = "Take the outermost part's figure, or compute the field."
        findings.append(Finding("parts-shade-each-other", "warning", ", ".join(reflected), text, advice))
    if reflected and resistance > 0:
        coil += _supply(drawn, bodies, reflected, resistance, inductance)
    return QuickResult(job.title, tuple(bodies), tuple(coil), tuple(findings))


def _with_frequency(job: Job) -> Job:
    if job.drive.frequency is not None or not has_source(job):
        return job
    return replace(job, drive=job.drive.model_copy(update={"frequency": drive_of(job).frequency}))


def _size(drawn: Scene, name: str) -> PartSize:
    body = drawn.section.body(name)
    low_r, high_r, low_z, high_z = _box(drawn, name)
    length = float(body.outer.lengths.sum())
    if low_r <= 0.0:  # the axis is no surface
        length -= high_z - low_z
    return PartSize(low_r, high_r, low_z, high_z, float(body.outer.area), length, float(body.volume))


def _box(drawn: Scene, name: str) -> tuple[float, float, float, float]:
    points = drawn.section.body(name).outer.polyline(1e-5)
    (low_r, low_z), (high_r, high_z) = points.min(axis=0), points.max(axis=0)
    return float(low_r), float(high_r), float(low_z), float(high_z)


def _surface(drawn: Scene, name: str) -> float:
    points = drawn.section.body(name).outer.polyline(1e-5)
    step = np.roll(points, -1, axis=0) - points
    return float(np.sum(np.pi * (points[:, 0] + np.roll(points[:, 0], -1)) * np.hypot(step[:, 0], step[:, 1])))


def _asked(drawn: Scene, name: str) -> tuple[float | None, float | None]:
    """(temperature K, time s) asked of a body; the time of the drive when acceptance gives none."""
    wanted = [a for a in drawn.job.accept if a.body == name and (a.reaches or a.above)]
    if not wanted:
        return None, drawn.job.drive.on_time
    most = max(wanted, key=lambda a: a.reaches or a.above or 0.0)
    return most.reaches or most.above, most.within or drawn.job.drive.on_time


def _thermal(drawn: Scene, name: str, findings: list[Finding]) -> list[QuickLine]:
    material, body = drawn.materials[name], drawn.job.body(name)
    volume = float(drawn.section.body(name).volume)
    target, time = _asked(drawn, name)
    if target is None:
        target = _FALLBACK
        text = "the job asks for no temperature of this body; 800 degC is taken."
        findings.append(
            Finding("no-temperature-asked", "note", f'body "{name}"', text, "Give an [[accept]] with reaches.")
        )
    start, room = drawn.start_temperature(name), drawn.job.surroundings.temperature
    energy = volume * float(material.volumetric_enthalpy(target) - material.volumetric_enthalpy(start))
    area = _surface(drawn, name)
    _, high_r, low_z, high_z = _box(drawn, name)
    emissivity = body.emissivity if body.emissivity is not None else float(material.emissivity(target))
    radiation = float(radiated_power(area, emissivity, target, room))
    air = drawn.job.surroundings.convection * area * (target - room) if body.space == "air" else 0.0
    support = body.support.conductance * (target - room) if body.support is not None else 0.0
    out = [
        QuickLine("mass_kg", "mass", volume * material.density, "kg", "m = ρ V", "textbook"),
        QuickLine("target_degC", "temperature wanted", target - ZERO_CELSIUS, "degC", "from [[accept]]", "job file"),
        QuickLine("energy_J", "energy to get there", energy, "J", "m (∫c dT + latent)", "material's enthalpy curve"),
        QuickLine("radiation_W", "radiation there", radiation, "W", "ε A σ (T⁴ - Ts⁴)", "Stefan & Boltzmann"),
        QuickLine("convection_W", "convection there", air, "W", "h A (T - Ts)", "job file's h"),
        QuickLine("support_W", "conduction through supports", support, "W", "G (T - Ts)", "job file's G"),
    ]
    if drawn.section.turns and (high_z - low_z) > 1.4 * (np.ptp(_turns(drawn)[:, 1]) + 2 * high_r):
        text = "the part is longer than the coil heats; energy and power are those of the whole part, an upper limit."
        findings.append(
            Finding("heated-in-part-only", "note", f'body "{name}"', text, "Compute the shot for the zone alone.")
        )
    if time:
        mean = energy / time + 0.5 * (radiation + air + support)
        out += [
            QuickLine("time_s", "time allowed", time, "s", "from [[accept]] or on_time", "job file"),
            QuickLine(
                "power_needed_W", "mean power into the part", mean, "W", "E/t + ½ losses there", "energy balance"
            ),
        ]
    return out


def _properties(material: Material, kelvin: float) -> tuple[float, float]:
    if material.resistivity is None:
        return math.inf, 1.0
    at = np.array([kelvin])
    return float(material.resistivity(at)[0]), float(material.magnetic.relative_permeability(at)[0])


def _electrical(
    drawn: Scene, name: str, frequency: float, findings: list[Finding], reflected: dict[str, float]
) -> list[QuickLine]:
    material, part = drawn.materials[name], _size(drawn, name)
    target = _asked(drawn, name)[0] or _FALLBACK
    states = {"cold": drawn.start_temperature(name), "hot": target}
    if not material.conducting:
        text = "its material does not conduct; no eddy current heats it directly."
        findings.append(
            Finding("not-heated-directly", "warning", f'body "{name}"', text, "Heat it through a susceptor.")
        )
        return []
    out: list[QuickLine] = []
    for state, kelvin in states.items():
        rho, mur = _properties(material, kelvin)
        delta = float(skin_depth(frequency, rho, mur))
        out.append(QuickLine(f"skin_depth_{state}_m", f"skin depth {state}", delta, "m", "δ = sqrt(ρ/(π f µ))", SKIN))
        ratio = part.thickness / delta
        out.append(
            QuickLine(f"thickness_over_depth_{state}", f"thickness in skin depths {state}", ratio, "1", "d/δ", SKIN)
        )
        if drawn.job.coil is not None:
            load = part_in_coil(part, _turns(drawn), frequency, rho, mur)
            key, label = f"reflected_resistance_{state}_ohm", f"resistance it adds to the coil, {state}"
            out.append(QuickLine(key, label, load.resistance, "ohm", load.formula, load.source))
            reflected[name] = load.resistance
            current = drawn.job.drive.coil_current
            if current is not None:
                power = current**2 * load.resistance
                key, label = f"power_{state}_W", f"power at the given current, {state}"
                out.append(QuickLine(key, label, power, "W", "I² ΔR", load.source))
    if drawn.job.coil is None:  # a current through the part's own pins asks for no particular frequency
        return out
    return out + _band(part, *_properties(material, target), name, frequency, findings)


def _band(
    part: PartSize, rho: float, mur: float, name: str, frequency: float, findings: list[Finding]
) -> list[QuickLine]:
    """Lowest and highest sensible frequency: round the best of a thin ring, or three to eight depths in a solid part."""
    if part.hollow:
        radius = part.volume / (2 * np.pi * part.area)
        best = rho / (np.pi * MU_0 * radius * part.thickness)
        low, high, formula = best / 3, 10 * best, "⅓ to 10 times f where ωL = R of the wall, ρ/(π µ0 r t)"
        source = "Landau & Lifshitz § 59 (thin hollow cylinder); width " + TRADE
    else:
        low, high = (n**2 * rho / (np.pi * MU_0 * mur * part.thickness**2) for n in (3.0, 8.0))
        formula, source = "d/δ = 3 to 8, hot", TRADE + " (power by d/δ: Lupi eqs 6.9-6.17)"
    if frequency < low:
        text = f"{frequency / 1e3:.3g} kHz is below the {low / 1e3:.3g} kHz from which the part takes power well."
        findings.append(
            Finding("frequency-low", "warning", f'body "{name}"', text, "Raise it, or accept low efficiency.")
        )
    elif frequency > high:
        text = f"{frequency / 1e3:.3g} kHz is above the {high / 1e3:.3g} kHz up to which the part heats through."
        findings.append(
            Finding("frequency-high", "note", f'body "{name}"', text, "Right for heating the surface only.")
        )
    return [
        QuickLine("frequency_low_Hz", "sensible frequency from", low, "Hz", formula, source),
        QuickLine("frequency_high_Hz", "sensible frequency to", high, "Hz", formula, source),
    ]


def _turns(drawn: Scene) -> NDArray[np.float64]:
    return np.array([[t.r, t.z, t.weight] for t in drawn.section.turns])


def _coil(drawn: Scene) -> tuple[list[QuickLine], float, float]:
    """Lines, resistance (ohm, 0 when unknown) and inductance (H) of the empty coil with its leads."""
    coil, copper = drawn.job.coil, drawn.conductor
    if coil is None or copper is None:
        return [], 0.0, 0.0
    turns, wire = _turns(drawn), coil.conductor
    size = (wire.radial_size + wire.axial_size) / 2
    share = float(turns[:, 2].sum()) / len(turns)
    inwards = 0.0 if coil.winding == "spiral" else wire.radial_size / 8
    inductance = share**2 * ring_stack_inductance(turns[:, 0] - inwards, turns[:, 1], size / 2)
    formula = "Σ rings, self and mutual" + (", at r - d/8 (current crowds inwards)" if inwards else "")
    source = "Maxwell, Treatise, art. 701; Rosa & Grover 1912" + ("; 1/8: own field solutions" if inwards else "")
    out = [QuickLine("inductance_H", "inductance, empty", inductance, "H", formula, source)]
    frequency = drawn.job.drive.frequency
    current = drawn.job.drive.coil_current
    if current is not None:
        total = current * float(turns[:, 2].sum())
        out.append(QuickLine("ampere_turns_A", "ampere-turns", total, "A", "N I", "textbook"))
    if frequency is None:
        return out, 0.0, inductance
    rho = _properties(copper, drawn.coil_temperature)[0]
    if wire.section == "round tube":
        per_metre = float(tube_resistance(wire.outside / 2, wire.bore / 2, frequency, rho))
    else:
        per_metre = float(surface_resistance(frequency, rho)) / (2 * (wire.radial_size + wire.axial_size))
    length = 2 * math.pi * float(turns[:, 0] @ turns[:, 2])
    resistance = _NEIGHBOURS * per_metre * length
    formula = f"{_NEIGHBOURS:g} x skin resistance x length"
    out.append(
        QuickLine("resistance_ohm", "resistance, empty", resistance, "ohm", formula, "Dwight 1918; 1.3: " + TRADE)
    )
    if coil.leads is not None and coil.leads.spacing > size:
        leads = float(pair_inductance(size, coil.leads.spacing)) * coil.leads.length
        lost = float(pair_resistance(size, coil.leads.spacing, frequency, rho)) * coil.leads.length
        source = "Ramo, Whinnery & Van Duzer, table 8.09"
        out += [
            QuickLine("leads_inductance_H", "inductance of the leads", leads, "H", "µ0/π arcosh(s/d) l", source),
            QuickLine(
                "leads_resistance_ohm", "resistance of the leads", lost, "ohm", "2 Rs l/(π d sqrt(1-(d/s)²))", source
            ),
        ]
        return out, resistance + lost, inductance + leads
    return out, resistance, inductance


def _supply(
    drawn: Scene, bodies: list[QuickBody], reflected: dict[str, float], resistance: float, inductance: float
) -> list[QuickLine]:
    """Efficiency and what the supply must give, from the hot parts and the power they need."""
    load = sum(reflected.values())
    efficiency = load / (load + resistance)
    out = [QuickLine("efficiency", "efficiency of coil and leads, hot", efficiency, "1", "ΔR/(ΔR + R)", TRADE)]
    needed = [b.value("power_needed_W") for b in bodies if any(x.key == "power_needed_W" for x in b.lines)]
    frequency = drawn.job.drive.frequency
    if not needed or load <= 0 or frequency is None:
        return out
    power = sum(needed)
    current = math.sqrt(power / load)
    reactive = 2 * math.pi * frequency * inductance * current**2
    return [
        *out,
        QuickLine("current_needed_A", "coil current for the power needed", current, "A", "sqrt(ΣP/ΣΔR)", "textbook"),
        QuickLine("coil_power_W", "power at the coil's terminals", power / efficiency, "W", "ΣP/η", "textbook"),
        QuickLine("reactive_power_VA", "reactive power of the tank", reactive, "VA", "ω L I², empty coil", "textbook"),
        QuickLine(
            "water_m3_per_s",
            "water for the coil's loss, 10 K rise",
            _water(power, efficiency),
            "m^3/s",
            "P/(ρ c ΔT)",
            "heat balance",
        ),
        QuickLine("supply_power_W", "power from the mains", power / efficiency / _SOURCE, "W", "ΣP/(0.85 η)", TRADE),
    ]


def _water(power: float, efficiency: float) -> float:
    """Flow (m^3/s) that carries the coil's own loss away."""
    return power * (1.0 / efficiency - 1.0) / (_WATER_HEAT * _WATER_RISE)
