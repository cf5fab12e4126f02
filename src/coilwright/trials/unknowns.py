"""What a trial may find out: a value of the job file, how far it may be off beforehand, and on which scale."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from coilwright.errors import BadInput, Fault
from coilwright.heating.tank_source import has_source
from coilwright.job import Job
from coilwright.job.faults import suggestion
from coilwright.job.lookup import kind_of, numeric_keys, value_at
from coilwright.materials import charge_law
from coilwright.section.scene import material_with
from coilwright.units import KINDS, UnitFault, factor, parse

Scale = Literal["log", "logit", "linear"]
# Short words of the bench, with the usual width of the prior: one sigma of ln(value), of the logit, or in metres.
# All from memory and common practice; the user's own width overrules them.
WORDS = {
    "power": 0.06,  # of what is held: coil current or voltage; twice that of the power
    "emissivity": 0.6,
    "support": 0.7,
    "contact": 0.7,
    "convection": 0.4,
    "resistivity": 0.10,
    "permeability": 0.30,
    "gap": 0.5e-3,
    "charge": 1.0,
    "heat content": 0.03,  # mass by calliper, specific heat by the book
    "charge heat": 0.10,
}
_USUAL = 0.1
_NUMBER = re.compile(r"^\s*[-+]?[\d.]+(?:[eE][-+]?\d+)?\s*")


@dataclass(frozen=True)
class Unknown:
    """`key` of the job file, `kind` of units.KINDS ("" for a plain number), `nominal` SI, `width` of the prior on the
    scale: sigma of ln(value), of ln(value/(1 - value)), or SI. `written` is the unit a person used."""

    name: str
    key: str
    kind: str
    nominal: float
    width: float
    scale: Scale
    written: str = ""
    aside: bool = False  # carried along because it is not exactly known, not asked about

    def value(self, u: float) -> float:
        """SI value `u` prior standard deviations away from the nominal."""
        if self.scale == "log":
            return self.nominal * math.exp(self.width * u)
        if self.scale == "logit":
            return 1.0 / (1.0 + (1.0 / self.nominal - 1.0) * math.exp(-self.width * u))
        return self.nominal + self.width * u

    def place(self, value: float) -> float:
        """Inverse of `value`."""
        if self.scale == "log":
            return math.log(value / self.nominal) / self.width
        if self.scale == "logit":
            return math.log(value / (1.0 - value) * (1.0 / self.nominal - 1.0)) / self.width
        return (value - self.nominal) / self.width

    def sigma(self, u: float, spread: float) -> float:
        """Standard deviation (SI) that belongs to `spread` on the scale u, around `u`."""
        return 0.5 * abs(self.value(u + spread) - self.value(u - spread))

    @property
    def unit(self) -> str:
        return self.written or (KINDS[self.kind][0] if self.kind else "")

    def text(self, value: float, digits: int = 9) -> Any:
        """A value as the job file takes it, in the unit it was written in."""
        if not self.kind:
            return float(f"{value:.{digits}g}")
        return f"{self._in_unit(value):.{digits}g} {self.unit}"

    def shown(self, value: float, digits: int = 4) -> str:
        return f"{self._in_unit(value):.{digits}g} {self.unit}".strip()

    def _in_unit(self, value: float) -> float:
        if not self.kind or self.unit == KINDS[self.kind][0]:
            return value
        if self.kind == "temperature":
            return value - 273.15 if self.unit in ("degC", "°C") else value
        return value / factor(self.unit, KINDS[self.kind][0])


def unknowns(job: Job, asked: Sequence[str], electrical: bool = False) -> tuple[Unknown, ...]:
    """What is to be fitted: short words or keys, each with "=WIDTH" where the usual width of the prior is not wanted.

    Without any: what applies out of power, emissivity, support, contact, convection and charge, and with `electrical`
    readings resistivity and gap too. The heat content of parts and charge goes along unasked: a temperature tells power over heat
    content, never power alone. Raises BadInput for what the job does not have.
    """
    if not asked:
        return tuple(_usual(job, electrical))
    out: list[Unknown] = []
    for text in asked:
        word, _, width = (t.strip() for t in text.partition("="))
        found = _of_word(job, word) if word in WORDS else [_of_key(job, word, bool(width))]
        if not found:
            raise BadInput(Fault(f'--fit "{text[:60]}"', f"{job.name} has nothing of that kind; {_has(job)}"))
        out += [_with_width(x, width, text) if width else x for x in found]
    keys = [x.key for x in out]
    out += [x for x in _heats(job) if x.key not in keys]
    twice = next((k for k in keys if keys.count(k) > 1), None)
    if twice is not None:
        raise BadInput(Fault("--fit", f"{twice} is asked for twice; name it once"))
    return tuple(out)


def _usual(job: Job, electrical: bool) -> Iterator[Unknown]:
    for word in ("power", "emissivity", "support", "contact", "convection", "charge"):
        yield from _of_word(job, word)
    yield from _heats(job)
    if electrical:
        for word in ("resistivity", "gap"):
            yield from _of_word(job, word)


def _has(job: Job) -> str:
    words = [w for w in WORDS if _of_word(job, w)]
    return f"it has {', '.join(words)}, and keys such as {', '.join(numeric_keys(job.document)[:3])}"


def _of_word(job: Job, word: str) -> list[Unknown]:
    """The unknowns a short word stands for in this job; empty when it has nothing of the kind."""
    finders = {
        "power": _power,
        "emissivity": _emissivity,
        "support": _support,
        "contact": _contact,
        "convection": _convection,
        "resistivity": _resistivity,
        "permeability": _permeability,
        "gap": _gap,
        "charge": _charge,
        "heat content": _heat_content,
        "charge heat": _charge_heat,
    }
    return list(finders[word](job))


def _stated(job: Job, name: str, key: str, scale: Scale, width: float) -> Unknown | None:
    raw = value_at(job.document, key)
    if raw is None:
        return None
    kind = kind_of(raw, f"{job.name}: {key}")
    nominal = float(raw) if not kind else parse(raw, kind)
    if scale != "linear" and nominal <= 0.0:
        return None
    return Unknown(name, key, kind, nominal, width, scale, _unit_of(raw) if kind else "")


def _power(job: Job) -> Iterator[Unknown]:
    """What the source holds: its own setting, else what [drive] sets."""
    if has_source(job):
        hold = str(value_at(job.document, "source.hold") or "level")
        key = "source.dc_voltage" if hold == "level" else f"source.{hold.replace(' ', '_')}"
    else:
        held = ("coil_current", "coil_voltage", "coil_power", "through.current")
        key = next((f"drive.{k}" for k in held if value_at(job.document, f"drive.{k}") is not None), "")
    width = WORDS["power"] * (2.0 if key.endswith("power") else 1.0)
    found = _stated(job, "power", key, "log", width) if key else None
    if found is not None:
        yield found


def _emissivity(job: Job) -> Iterator[Unknown]:
    for b in _work(job):
        raw = b.overrides.emissivity if b.overrides.emissivity is not None else b.emissivity
        key = f"{_path(b.name)}.{'overrides.' if b.overrides.emissivity is not None else ''}emissivity"
        if raw is None:
            curve = job.library().get(b.material).emissivity
            raw = float(curve(_middle(job, b.name)))
        if 0.0 < raw < 1.0:
            yield Unknown(_called(job, "emissivity", b.name), key, "", raw, WORDS["emissivity"], "logit")


def _support(job: Job) -> Iterator[Unknown]:
    for b in job.bodies:
        if b.support is not None and b.support.conductance > 0.0:
            found = _stated(job, _called(job, "support", b.name), f"{_path(b.name)}.support.conductance", "log", 0.7)
            if found is not None:
                yield found


def _contact(job: Job) -> Iterator[Unknown]:
    keys = [f"contact.{n}.conductance" for n in range(1, len(job.contacts) + 1)]
    keys += [f"joint.{n}.contact" for n, j in enumerate(job.joints, 1) if j.contact is not None]
    for n, key in enumerate(keys, 1):
        found = _stated(job, "contact" if len(keys) == 1 else f"contact {n}", key, "log", WORDS["contact"])
        if found is not None:
            yield found


def _convection(job: Job) -> Iterator[Unknown]:
    if not any(b.space == "air" and b.role == "work" for b in job.bodies) or job.surroundings.convection <= 0.0:
        return
    found = _stated(job, "convection", "surroundings.convection", "log", WORDS["convection"])
    h = job.surroundings.convection
    yield found or Unknown("convection", "surroundings.convection", "heat_transfer", h, WORDS["convection"], "log")


def _resistivity(job: Job) -> Iterator[Unknown]:
    for b in _work(job):
        if material_with(job.library().get(b.material), b.overrides).conducting:
            name, held = _called(job, "resistivity", b.name), b.overrides.resistivity_factor
            key = f"{_path(b.name)}.overrides.resistivity_factor"
            yield Unknown(f"{name} factor", key, "", held or 1.0, WORDS["resistivity"], "log")


def _permeability(job: Job) -> Iterator[Unknown]:
    for b in _work(job):
        if not material_with(job.library().get(b.material), b.overrides).magnetic.is_unity:
            name, held = _called(job, "permeability", b.name), b.overrides.permeability_factor
            key = f"{_path(b.name)}.overrides.permeability_factor"
            yield Unknown(f"{name} factor", key, "", held or 1.0, WORDS["permeability"], "log")


def _gap(job: Job) -> Iterator[Unknown]:
    """Where the coil stands; turns listed one by one have no single place."""
    if job.coil is not None and hasattr(job.coil, "centre"):
        found = _stated(job, "gap (coil.centre)", "coil.centre", "linear", WORDS["gap"])
        yield found or Unknown(
            "gap (coil.centre)", "coil.centre", "length", job.coil.centre, WORDS["gap"], "linear", "mm"
        )


def _charge(job: Job) -> Iterator[Unknown]:
    for b in job.bodies:
        if b.charge is not None:
            held = b.charge.rate_constant or charge_law(b.charge.kind).rate_constant
            key = f"{_path(b.name)}.charge.rate_constant"
            yield Unknown(_called(job, "charge", b.name) + " rate", key, "rate", held, WORDS["charge"], "log", "1/s")


def _heat_content(job: Job) -> Iterator[Unknown]:
    """Through the density, which the field does not feel."""
    for b in _work(job):
        density = b.overrides.density or job.library().get(b.material).density
        key = f"{_path(b.name)}.overrides.density"
        name = _called(job, "heat content", b.name)
        yield Unknown(name, key, "density", density, WORDS["heat content"], "log", "kg/m^3", aside=True)


def _charge_heat(job: Job) -> Iterator[Unknown]:
    for b in job.bodies:
        if b.charge is not None:
            heat = b.charge.heat or charge_law(b.charge.kind).heat_of_reaction
            key = f"{_path(b.name)}.charge.heat"
            name = _called(job, "charge heat", b.name)
            yield Unknown(name, key, "specific_energy", heat, WORDS["charge heat"], "log", "J/g", aside=True)


def _heats(job: Job) -> Iterator[Unknown]:
    """What goes along unasked: heat content of the parts and heat of the charge scale every power found."""
    yield from _heat_content(job)
    yield from _charge_heat(job)


def _of_key(job: Job, key: str, has_width: bool) -> Unknown:
    where = f'--fit "{key[:60]}"'
    raw = value_at(job.document, key) if key else None
    if raw is None or isinstance(raw, dict | list):
        known = [*WORDS, *numeric_keys(job.document)]
        raise BadInput(Fault(where, f"is not a quantity of {job.name}; {suggestion(key, known)}"))
    kind = kind_of(raw, where)
    nominal = float(raw) if not kind else parse(raw, kind)
    last = key.rsplit(".", 1)[-1]
    scale: Scale = (
        "logit" if last == "emissivity" else "linear" if kind in ("temperature", "") or nominal <= 0.0 else "log"
    )
    if scale == "linear" and not has_width:
        example = f"{key}=5 %" if nominal else f"{key}=0.3 mm"
        raise BadInput(Fault(where, f'must say how far it may be off, one sigma; write e.g. --fit "{example}"'))
    if scale == "logit" and not 0.0 < nominal < 1.0:
        raise BadInput(Fault(where, f"must lie between 0 and 1 to be fitted; the job says {nominal:g}"))
    width = WORDS["emissivity"] if scale == "logit" else _USUAL
    return Unknown(key, key, kind, nominal, width, scale, _unit_of(raw) if kind else "")


def _with_width(x: Unknown, text: str, where: str) -> Unknown:
    """The unknown with the prior width a person gave: a share of the value, or a width with its unit."""
    try:
        if text.endswith("%"):
            sigma = abs(x.nominal) * float(text[:-1]) / 100.0
        else:
            kind = "temperature_difference" if x.kind == "temperature" else x.kind
            sigma = parse(text, kind) if kind else float(text)
    except (UnitFault, ValueError) as error:
        said = str(error) if isinstance(error, UnitFault) else f'"{text[:40]}" is not a number; write e.g. "10 %"'
        raise BadInput(Fault(f'--fit "{where[:60]}"', said)) from None
    if not (math.isfinite(sigma) and sigma > 0.0):
        raise BadInput(Fault(f'--fit "{where[:60]}"', "must have a width above zero"))
    width = sigma
    if x.scale == "log":
        width = sigma / x.nominal
    elif x.scale == "logit":
        width = sigma / (x.nominal * (1.0 - x.nominal))
    return replace(x, width=width, aside=False)


def _work(job: Job) -> Iterator[Any]:
    return (b for b in job.bodies if b.role == "work")


def _called(job: Job, word: str, body: str) -> str:
    return (
        word
        if sum(b.role == "work" for b in job.bodies) == 1 and job.body(body).role == "work"
        else f"{word} of {body}"
    )


def _path(body: str) -> str:
    return f'body."{body}"' if "." in body or "=" in body else f"body.{body}"


def _middle(job: Job, body: str) -> float:
    """A temperature (K) in the upper half of what the body passes through."""
    asked = [a.reaches or a.above for a in job.accept if a.body == body and (a.reaches or a.above)]
    return 0.25 * job.surroundings.temperature + 0.75 * (max(t for t in asked if t) if asked else 1000.0)


def _unit_of(raw: str) -> str:
    return _NUMBER.sub("", raw).strip()
