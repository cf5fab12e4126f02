"""From TOML tables to materials: bundled data, a user's own file and a job's [[material]] tables share this reader.

Every fault of a table is collected; each is one sentence with the material and key it belongs to.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final, cast, get_args

import numpy as np
from numpy.typing import NDArray

from coilwright.errors import BadInput, Fault
from coilwright.evidence import Source, SourceKind, ValidRange
from coilwright.materials.charge import ChargeLaw
from coilwright.materials.curve import Curve
from coilwright.materials.magnetic import MagneticLaw, Saturation, not_magnetic
from coilwright.materials.material import GlassOptics, Limit, Material, Transition, TransitionKind, unlikely
from coilwright.units import UnitFault, parse

Array = NDArray[np.float64]
Find = Callable[[str], Material]
# The bundled files write these units only, so that reading them does not load the unit library; a test checks each factor.
PLAIN_UNITS: Final[dict[tuple[str, str], float]] = {
    ("temperature", "K"): 1.0,
    ("temperature_difference", "K"): 1.0,
    ("resistivity", "nohm m"): 1e-9,
    ("resistivity", "uohm m"): 1e-6,
    ("resistivity", "mohm m"): 1e-3,
    ("resistivity", "ohm m"): 1.0,
    ("conductivity", "W/m/K"): 1.0,
    ("specific_heat", "J/kg/K"): 1.0,
    ("density", "kg/m^3"): 1.0,
    ("specific_energy", "kJ/kg"): 1e3,
    ("flux_density", "T"): 1.0,
    ("length", "um"): 1e-6,
    ("rate", "1/s"): 1.0,
    ("activation_energy", "kJ/mol"): 1e3,
}
# property -> kind of quantity ("" = plain number)
CURVES: Final = {
    "resistivity": "resistivity",
    "thermal_conductivity": "conductivity",
    "specific_heat": "specific_heat",
    "emissivity": "",
}
NEEDED: Final = ("thermal_conductivity", "specific_heat", "density", "emissivity")
OTHER_KEYS: Final = (
    "name", "like", "aliases", "kind", "source", "notes", "density", "relative_permeability", "transitions", "limits", "glass",
)  # fmt: skip
CURVE_KEYS: Final = ("at", "at_in", "is", "is_in", "value", "source", "valid")
SATURATION_KEYS: Final = ("nominal", "saturates_at", "initial", "curie", "squareness", "source")
MOST_POINTS: Final = 10_000


def quantity(text: object, kind: str) -> float:
    """`units.parse` with a short cut for the units of the bundled files; kind "" takes a plain number."""
    if kind == "":
        if isinstance(text, bool) or not isinstance(text, int | float):
            raise UnitFault(f"{text!r:.80} is not a plain number; write e.g. 0.35")
        return _float(text)
    if isinstance(text, str):
        number, _, unit = text.partition(" ")
        try:
            if unit == "degC" and kind == "temperature":
                value = float(number) + 273.15
            else:
                value = float(f"{float(number) * PLAIN_UNITS[kind, unit]:.15g}")
        except (KeyError, ValueError):
            return parse(text, kind)
        if math.isfinite(value) and not (kind == "temperature" and value < 0.0):
            return value
    return parse(text, kind)


def _float(number: float) -> float:
    """A TOML integer may be larger than any float: then it is as good as infinite, and is refused as such."""
    return math.inf if abs(number) > 1e300 else float(number)


class TableReader:
    """Reads one [[material]] table; `faults` fills up on the way and `finish` raises them together."""

    def __init__(self, table: Mapping[str, Any], where: str, sources: Mapping[str, Source], *, strict: bool) -> None:
        self.table = table
        self.where = where
        self.sources = sources
        self.strict = strict  # bundled data: every source key must be in the sources table
        self.faults: list[Fault] = []

    def fault(self, key: str, what: str) -> None:
        self.faults.append(Fault(f"{self.where}: {key}" if key else self.where, what))

    def finish(self) -> None:
        if self.faults:
            raise BadInput(self.faults)

    def number(self, key: str, text: object, kind: str) -> float:
        """SI value, or nan with the fault noted."""
        try:
            return quantity(text, kind)
        except UnitFault as fault:
            self.fault(key, str(fault))
            return math.nan

    def positive(self, key: str, text: object, kind: str) -> float:
        value = self.number(key, text, kind)
        why = "" if math.isnan(value) and self.faults else unlikely(key, [value])
        if why:
            self.fault(key, why)
        return value

    def text(self, key: str, default: str = "") -> str:
        value = self.table.get(key, default)
        if not isinstance(value, str):
            self.fault(key, f"must be a text, but {value!r:.60} was received; put it in quotes")
            return default
        return value

    def source(self, key: str, given: object, fallback: Source) -> Source:
        if given is None:
            return fallback
        if not isinstance(given, str) or not given.strip():
            self.fault(key, f"must be a text that says where the values come from, but {given!r:.60} was received")
            return fallback
        if given in self.sources:
            return self.sources[given]
        if self.strict:
            self.fault(key, f'"{given}" is not in the sources table of this file')
        return Source(given, "user")

    def unknown(self, table: Mapping[str, Any], known: tuple[str, ...], key: str = "") -> None:
        for name in table:
            if name not in known:
                self.fault(
                    f"{key}.{name}" if key else str(name)[:60],
                    f"is not a key of this table; known are {', '.join(known)}",
                )

    def mapping(self, key: str, value: object, known: tuple[str, ...]) -> Mapping[str, Any] | None:
        if not isinstance(value, Mapping):
            self.fault(key, f"must be a table with the keys {', '.join(known)}, but {value!r:.60} was received")
            return None
        self.unknown(value, known, key)
        return value

    def curve(self, key: str, given: object, kind: str, fallback: Source) -> Curve | None:
        """A curve from a text, a number, or {at, is} / {value}; None with the fault noted."""
        before = len(self.faults)
        if not isinstance(given, Mapping):
            value = self.positive(key, given, kind)
            return None if len(self.faults) > before else Curve.constant(value, fallback)
        self.unknown(given, CURVE_KEYS, key)
        source = self.source(f"{key}.source", given.get("source"), fallback)
        if "value" in given:
            at, values = np.array([293.15]), np.array([self.positive(key, given["value"], kind)])
            valid = self._valid(key, given.get("valid"), None)
        elif "at" in given and "is" in given:
            at = self._row(f"{key}.at", given["at"], "temperature", given.get("at_in"))
            values = self._row(f"{key}.is", given["is"], kind, given.get("is_in"))
            valid = self._valid(key, given.get("valid"), at)
        else:
            self.fault(key, 'needs "at" and "is" (lists of equal length) or "value"; see the guide for the form')
            return None
        if len(self.faults) > before:
            return None
        why = unlikely(key.rpartition(".")[2] if kind else key, values.tolist())
        if at.size != values.size:
            why = f"needs as many values as temperatures, but has {at.size} temperatures and {values.size} values"
        elif at.size == 0:
            why = "needs at least one temperature and its value"
        elif np.any(np.diff(at) <= 0.0):
            why = "needs temperatures that rise from one to the next; put the pairs in order and drop doubles"
        if why:
            self.fault(key, why)
            return None
        return Curve(at, values, source, valid)

    def _row(self, key: str, given: object, kind: str, unit: object) -> Array:
        if not isinstance(given, list) or len(given) > MOST_POINTS:
            self.fault(key, f"must be a list of at most {MOST_POINTS} values, but {given!r:.60} was received")
            return np.array([])
        before = len(self.faults)
        row = []
        for entry in given:
            plain = isinstance(entry, int | float) and not isinstance(entry, bool)
            row.append(self.number(key, f"{_float(entry):.15g} {unit}" if unit is not None and plain else entry, kind))
            if len(self.faults) > before:
                break  # one sentence for a list is enough
        return np.array(row, dtype=float)

    def _valid(self, key: str, given: object, at: Array | None) -> ValidRange:
        if given is None:
            if at is None or at.size == 0:
                return ValidRange("temperature", unit="K")
            return ValidRange("temperature", float(at[0]), float(at[-1]), "K")
        if not isinstance(given, list) or len(given) != 2:
            self.fault(f"{key}.valid", 'must be two temperatures, e.g. ["20 degC", "900 degC"]')
            return ValidRange("temperature", unit="K")
        low, high = (self.number(f"{key}.valid", entry, "temperature") for entry in given)
        if low > high:
            self.fault(f"{key}.valid", "must have the lower temperature first")
        return ValidRange("temperature", low, high, "K")

    def magnetic(self, given: object, fallback: Source) -> MagneticLaw | None:
        key = "relative_permeability"
        if not isinstance(given, Mapping) or "nominal" not in given:
            curve = self.curve(key, given, "", fallback)
            return MagneticLaw(curve) if curve else None
        self.unknown(given, SATURATION_KEYS, key)
        source = self.source(f"{key}.source", given.get("source"), fallback)
        nominal = self.curve(f"{key}.nominal", given["nominal"], "", source)
        before = len(self.faults)
        missing = [name for name in ("saturates_at", "initial", "curie") if name not in given]
        if missing:
            self.fault(key, f"needs {', '.join(missing)} beside nominal to describe saturation")
            return None
        flux = self.positive(f"{key}.saturates_at", given["saturates_at"], "flux_density")
        curie = self.positive(f"{key}.curie", given["curie"], "temperature")
        initial = self.positive(f"{key}.initial", given["initial"], "")
        squareness = self.positive(f"{key}.squareness", given.get("squareness", 3.0), "")
        if nominal is None or len(self.faults) > before:
            return None
        try:
            return MagneticLaw(nominal, Saturation(flux, initial, curie, squareness, source))
        except BadInput as error:
            self.fault(key, error.faults[0].what)
            return None

    def transitions(self, given: object, fallback: Source) -> tuple[Transition, ...]:
        found = []
        for entry in self._tables("transitions", given, ("kind", "temperature", "width", "energy", "source")):
            kind = entry.get("kind")
            if kind not in get_args(TransitionKind):
                self.fault(
                    "transitions.kind",
                    f"must be one of {', '.join(get_args(TransitionKind))}, but {kind!r:.60} was received",
                )
                continue
            energy = self.number("transitions.energy", entry.get("energy", "0 kJ/kg"), "specific_energy")
            temperature = self.positive("transitions.temperature", entry.get("temperature"), "temperature")
            width = self.positive("transitions.width", entry.get("width"), "temperature_difference")
            source = self.source("transitions.source", entry.get("source"), fallback)
            if energy < 0.0:
                self.fault("transitions.energy", "must not be below 0: it is taken up on heating")
            found.append(Transition(cast(TransitionKind, kind), temperature, width, energy, source))
        return tuple(found)

    def limits(self, given: object, fallback: Source) -> tuple[Limit, ...]:
        found = []
        for entry in self._tables("limits", given, ("kind", "temperature", "text", "source")):
            temperature = self.positive("limits.temperature", entry.get("temperature"), "temperature")
            source = self.source("limits.source", entry.get("source"), fallback)
            found.append(Limit(str(entry.get("kind", "limit")), temperature, str(entry.get("text", "")), source))
        return tuple(found)

    def glass(self, given: object, fallback: Source) -> GlassOptics | None:
        entry = self.mapping("glass", given, ("edges", "absorption", "reflectance", "source"))
        if entry is None:
            return None
        edges = self._row("glass.edges", entry.get("edges", []), "length", None)
        absorption = self._row("glass.absorption", entry.get("absorption", []), "", None)
        reflectance = self._row("glass.reflectance", entry.get("reflectance", []), "", None)
        if not edges.size + 1 == absorption.size == reflectance.size:
            self.fault("glass", "needs one absorption (1/m) and one reflectance more than there are band edges")
        elif np.any(np.diff(edges) <= 0.0) or np.any(edges <= 0.0):
            self.fault("glass.edges", "must be wavelengths above 0 that rise from one to the next")
        elif np.any(absorption < 0.0) or np.any((reflectance < 0.0) | (reflectance >= 1.0)):
            self.fault("glass", "needs absorption of at least 0 and reflectance from 0 to below 1")
        source = self.source("glass.source", entry.get("source"), fallback)
        return GlassOptics(tuple(edges.tolist()), tuple(absorption.tolist()), tuple(reflectance.tolist()), source)

    def _tables(self, key: str, given: object, known: tuple[str, ...]) -> list[Mapping[str, Any]]:
        if not isinstance(given, list):
            self.fault(key, f"must be a list of tables, but {given!r:.60} was received")
            return []
        return [entry for item in given if (entry := self.mapping(key, item, known)) is not None]


def material_name(table: object, number: int, file: str) -> str:
    """The name of a [[material]] table; raises BadInput when there is none to speak of."""
    where = f"{file}: " if file else ""
    if not isinstance(table, Mapping):
        raise BadInput(
            Fault(f"{where}material {number}", f"must be a [[material]] table, but {table!r:.60} was received")
        )
    name = table.get("name")
    if not isinstance(name, str) or not name.strip() or len(name) > 100:
        raise BadInput(
            Fault(
                f"{where}material {number}: name",
                f'must be a text, but {name!r:.60} was received; write e.g. name = "trial steel"',
            )
        )
    return " ".join(name.split())


def read_material(
    table: Mapping[str, Any],
    find: Find,
    sources: Mapping[str, Source],
    *,
    file: str = "",
    number: int = 1,
    strict: bool = False,
) -> Material:
    """A material from its table; `find` answers `like` names. Raises BadInput with every fault of the table."""
    name = material_name(table, number, file)
    reader = TableReader(table, f'{file}: material "{name}"' if file else f'material "{name}"', sources, strict=strict)
    reader.unknown(table, (*OTHER_KEYS, *CURVES))
    fallback = reader.source(
        "source", table.get("source"), Source(f'given for material "{name}" without a source', "user")
    )
    base: Material | None = None
    if "like" in table:
        base = _like(reader, table["like"], find)
    fields = _fields(reader, fallback)
    missing = [key for key in NEEDED if key not in table] if "like" not in table else []
    if missing:
        listed = ", ".join(missing)
        reader.fault("", f'needs {listed}; give them, or write like = "a library name" to take the rest from there')
    reader.finish()
    origins = _origins(fields, fallback)
    if base is not None:
        kept = {"notes": base.notes, "kind": base.kind} | fields
        return replace(base, name=name, aliases=kept.pop("aliases", ()), sources=(*base.sources, *origins), **kept)
    blank: dict[str, Any] = {
        "aliases": (), "kind": "other", "resistivity": None, "magnetic": not_magnetic(), "transitions": (), "limits": (),
        "glass": None, "notes": "",
    }  # fmt: skip
    return Material(name=name, sources=origins, **(blank | fields))


def _like(reader: TableReader, given: object, find: Find) -> Material | None:
    if not isinstance(given, str):
        reader.fault("like", f"must be the name of a material in quotes, but {given!r:.60} was received")
        return None
    try:
        return find(given)
    except BadInput as error:
        reader.faults.extend(Fault(f"{reader.where}: like", fault.what) for fault in error.faults)
        return None


def _fields(reader: TableReader, fallback: Source) -> dict[str, Any]:
    """Fields of Material that the table sets."""
    table = reader.table
    fields: dict[str, Any] = {}
    for key, kind in CURVES.items():
        if key in table:
            fields[key] = reader.curve(key, table[key], kind, fallback)
    if "density" in table:
        fields["density"] = reader.positive("density", table["density"], "density")
    if "relative_permeability" in table:
        fields["magnetic"] = reader.magnetic(table["relative_permeability"], fallback)
    if "transitions" in table:
        fields["transitions"] = reader.transitions(table["transitions"], fallback)
    if "limits" in table:
        fields["limits"] = reader.limits(table["limits"], fallback)
    if "glass" in table:
        fields["glass"] = reader.glass(table["glass"], fallback)
    for key in ("kind", "notes"):
        if key in table:
            fields[key] = reader.text(key)
    if "aliases" in table:
        aliases = table["aliases"]
        if isinstance(aliases, list) and all(isinstance(entry, str) for entry in aliases):
            fields["aliases"] = tuple(aliases)
        else:
            reader.fault("aliases", "must be a list of texts")
    return fields


def _origins(fields: Mapping[str, Any], fallback: Source) -> tuple[Source, ...]:
    """Every source used by these fields, once each, in order."""
    found = [fallback]
    for value in fields.values():
        parts = value if isinstance(value, tuple) else (value,)
        for part in parts:
            if isinstance(part, MagneticLaw):
                found.append(part.nominal.source)
                found += [part.saturation.source] if part.saturation else []
            elif isinstance(part, Curve | Transition | Limit | GlassOptics):
                found.append(part.source)
    return tuple(dict.fromkeys(found))


def read_sources(tables: object, where: str) -> dict[str, Source]:
    """The [sources] table of a file: key -> Source. Raises BadInput."""
    if not isinstance(tables, Mapping):
        raise BadInput(Fault(f"{where}: sources", "must be a table of sources, each with a citation"))
    found, faults = {}, []
    for key, entry in tables.items():
        citation = entry.get("citation") if isinstance(entry, Mapping) else None
        kind = entry.get("kind", "published") if isinstance(entry, Mapping) else None
        if not isinstance(citation, str) or not citation.strip():
            faults.append(Fault(f"{where}: sources.{key}", 'needs a citation, e.g. citation = "own measurement, May"'))
        elif kind not in get_args(SourceKind):
            faults.append(
                Fault(
                    f"{where}: sources.{key}.kind",
                    f"must be one of {', '.join(get_args(SourceKind))}, but {kind!r:.60} was received",
                )
            )
        else:
            found[key] = Source(citation, cast(SourceKind, kind))
    if faults:
        raise BadInput(faults)
    return found


def read_charges(text: str) -> tuple[ChargeLaw, ...]:
    """The fills of the bundled charges file."""
    document = tomllib.loads(text)
    sources = read_sources(document["sources"], "charges.toml")
    return tuple(_charge(table, sources) for table in document["charge"])


def _charge(table: Mapping[str, Any], sources: Mapping[str, Source]) -> ChargeLaw:
    reader = TableReader(table, f'charge "{table["name"]}"', sources, strict=True)
    source = sources[table["source"]]
    release = reader.curve("release", table["release"], "", source)
    law = {
        key: reader.positive(key, table[key], kind)
        for key, kind in {
            "heat_of_reaction": "specific_energy", "rate_constant": "rate", "activation_energy": "activation_energy", "order": "",
            "metal_fraction": "", "vaporisation_heat": "specific_energy", "specific_heat": "specific_heat", "density": "density",
        }.items()
    }  # fmt: skip
    reader.finish()
    if release is None:
        raise BadInput(Fault(reader.where, "needs a release curve"))
    return ChargeLaw(
        name=table["name"],
        aliases=tuple(table["aliases"]),
        metal=table["metal"],
        release=release,
        notes=table["notes"],
        source=source,
        kinetics_source=sources[table["kinetics_source"]],
        heat_source=sources[table["heat_source"]],
        release_source=release.source,
        **law,
    )
