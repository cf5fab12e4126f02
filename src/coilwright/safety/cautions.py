"""The cautions that belong to one job, one line each, computed where they can be, ending with who decides.

Wording is ours and neutral; it stands beside a maker's own risk assessment and never replaces it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from coilwright.evidence import Source
from coilwright.safety.emission import GROUP_SOURCE, emission_note
from coilwright.safety.exposure import ExposureDistance
from coilwright.safety.stored import RESIDUAL_SOURCE, SAFE_VOLTAGE, TOUCH_SOURCE, Store, touch_voltage
from coilwright.units import ZERO_CELSIUS

COMMON_PRACTICE = Source("common practice of the trade, no source", "common practice")
COMPUTED = Source("computed from this job", "computed")
DARK_HEAT = 773.15  # K; below about 500 degC a hot part does not glow in daylight (common practice)


@dataclass(frozen=True)
class Caution:
    """`hazard` in a word or two, `text` what to do, `figure` the computed value as text or empty, `source` of
    figure or custom.
    """

    hazard: str
    text: str
    figure: str
    source: Source

    def __str__(self) -> str:
        return f"{self.hazard}: {self.text}" + (f" ({self.figure})" if self.figure else "")


@dataclass(frozen=True)
class Facts:
    """What is known of the job. SI, rms, kelvin; None or empty where not known or not there."""

    frequency: float
    coil_voltage: float | None = None
    tank_voltage: float | None = None
    stores: tuple[Store, ...] = ()
    distances: tuple[ExposureDistance, ...] = ()
    water_cooled: bool = False
    water_outlet: float | None = None
    hottest_part: float | None = None
    evacuated_glass: bool = False
    toxic_charge: bool = False
    flux_or_filler: bool = False
    protective_gas: bool = False


def _live_parts(facts: Facts) -> Iterator[Caution]:
    touch = touch_voltage(facts.coil_voltage, wet=facts.water_cooled) if facts.coil_voltage is not None else None
    figure = ""
    if touch is not None:
        verb = "above" if touch.exceeds else "below"
        figure = f"coil {touch.voltage:.0f} V rms, {verb} the touch limit of {touch.limit:.0f} V for mains frequency"
    yield Caution(
        "live coil and leads",
        "Keep hands off coil and leads while heating; radio-frequency current burns deep and without warning.",
        figure,
        TOUCH_SOURCE if touch is not None else COMMON_PRACTICE,
    )
    if facts.tank_voltage is not None:
        yield Caution(
            "tank voltage",
            "Open the tank only when it is isolated, locked off and proved dead.",
            f"tank {facts.tank_voltage:.0f} V rms, {facts.tank_voltage * math.sqrt(2.0):.0f} V peak",
            COMPUTED,
        )
    for store in facts.stores:
        wait = store.bleed_time
        if math.isinf(wait):
            left = "no bleed resistor known: it may stay charged for days"
        else:
            left = f"{wait:.2g} s to {SAFE_VOLTAGE:.0f} V"
        yield Caution(
            "stored charge",
            f"After isolating, wait, prove {store.name} dead, then short it before touching.",
            f"{store.energy:.3g} J at {store.voltage:.0f} V, {left}",
            RESIDUAL_SOURCE,
        )


def _fields(facts: Facts) -> Iterator[Caution]:
    yield Caution(
        "implants",
        "Keep people with pacemaker, pump or other implant outside the marked area until assessed one by one.",
        "",
        COMMON_PRACTICE,
    )
    for found in facts.distances:
        level = found.level
        reach = f"{found.distance:.2g} m" if found.within_search else f"less than {found.distance:.2g} m"
        yield Caution(
            "magnetic field",
            f"Keep {'workers' if level.group == 'occupational' else 'everyone else'} beyond the computed distance; "
            "confirm it by measurement.",
            f"{reach} to {level.flux_density * 1e6:.3g} uT rms at {found.frequency / 1e3:.4g} kHz",
            level.source,
        )
    yield Caution(
        "rings and watches",
        "Take off rings, watches, bracelets; keep tools out of the coil; each is a one-turn load, hot in seconds.",
        "",
        COMMON_PRACTICE,
    )


def _heat_and_water(facts: Facts) -> Iterator[Caution]:
    if facts.hottest_part is not None and facts.hottest_part > 333.15:
        looks = "and does not glow" if facts.hottest_part < DARK_HEAT else "and looks cold again while still hot"
        yield Caution(
            "hot part",
            "Handle parts with tongs, keep flammables away, watch for fire after work.",
            f"up to {facts.hottest_part - ZERO_CELSIUS:.0f} degC {looks}",
            COMPUTED,
        )
    if facts.hottest_part is not None and facts.hottest_part > 1573.15:
        yield Caution("light", "Do not look at white-hot parts or arcs without shade.", "", COMMON_PRACTICE)
    if facts.water_cooled:
        outlet = "" if facts.water_outlet is None else f"water leaves at {facts.water_outlet - ZERO_CELSIUS:.0f} degC"
        yield Caution(
            "cooling water",
            "Interlock the source with water flow; a dry coil boils and bursts within seconds.",
            outlet,
            COMPUTED if outlet else COMMON_PRACTICE,
        )
        yield Caution("leaks", "Stop and isolate before mending any leak or wiping any damp.", "", COMMON_PRACTICE)


def _materials(facts: Facts) -> Iterator[Caution]:
    if facts.evacuated_glass:
        yield Caution(
            "evacuated glass",
            "Wear eye and face protection, put a shield between, let tubes cool; glass under vacuum can implode.",
            "",
            COMMON_PRACTICE,
        )
    if facts.toxic_charge:
        yield Caution(
            "toxic charge",
            "Do not open fired devices by hand; use gloves and extraction, and dispose as the safety data sheet says.",
            "",
            COMMON_PRACTICE,
        )
    if facts.flux_or_filler:
        yield Caution(
            "fumes",
            "Extract fumes of flux and filler at the joint; use no cadmium-bearing filler.",
            "",
            COMMON_PRACTICE,
        )
    if facts.protective_gas:
        yield Caution(
            "gas", "Work under the gas-safety rules in force, with purge proved before heating.", "", COMMON_PRACTICE
        )


def cautions(facts: Facts) -> list[Caution]:
    """Cautions that apply to these facts, gravest family first; the last one always defers to local codes and
    licensed practice.
    """
    found = [*_live_parts(facts), *_fields(facts), *_heat_and_water(facts), *_materials(facts)]
    if 9e3 <= facts.frequency <= 4e7:
        found.append(
            Caution(
                "radio emission",
                "Have the finished machine assessed for emission before use.",
                emission_note(facts.frequency).text.split(";")[0],
                GROUP_SOURCE,
            )
        )
    found.append(
        Caution(
            "who decides",
            "Local codes and licensed practice decide; have a qualified person check before power is applied.",
            "",
            COMMON_PRACTICE,
        )
    )
    return found
