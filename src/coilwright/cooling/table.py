"""The `[cooling]` table of a job file: what a person writes, read into a Circuit.

[cooling]
inlet = "18 degC"
flow = "2 L/min"                # or rise = "10 K", pressure = "3 bar", pump = { flow = [...], pressure = [...] }
back_pressure = "0.5 bar"       # gauge, at the end of the return
room = { temperature = "25 degC", humidity = 0.6 }
hose = { bore = "8 mm", length = "3 m" }          # feed, and the same again for the return
path = [{ through = ["coil", "leads"] }, { through = ["capacitors"] }]   # left out: everything in series
part.capacitors = { drop = "0.3 bar", at = "2 L/min", loss = "120 W" }
part.transformer = { bore = "6 mm", length = "1.2 m", bends = 6, bend_radius = "15 mm", loss = "200 W" }
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from coilwright.cooling import inputs
from coilwright.errors import BadInput, Fault
from coilwright.units import parse

_ATMOSPHERE = 101325.0


def _reads(kind: str) -> BeforeValidator:
    return BeforeValidator(lambda text: parse(text, kind))


Length = Annotated[float, _reads("length"), Field(gt=0.0)]
Temperature = Annotated[float, _reads("temperature")]
Flow = Annotated[float, _reads("flow"), Field(ge=0.0)]
Pressure = Annotated[float, _reads("pressure"), Field(ge=0.0)]
Power = Annotated[float, _reads("power"), Field(ge=0.0)]
Rise = Annotated[float, _reads("temperature_difference"), Field(gt=0.0)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PumpTable(_Table):
    flow: tuple[Flow, ...]
    pressure: tuple[Pressure, ...]


class RoomTable(_Table):
    temperature: Temperature
    humidity: Annotated[float, Field(gt=0.0, le=1.0)]


class HoseTable(_Table):
    bore: Length
    length: Length


class PathTable(_Table):
    name: str | None = None
    through: tuple[str, ...]


class PartTable(_Table):
    """Either a rated drop (drop, at) or a run of tube (bore, length, ...)."""

    loss: Power = 0.0
    drop: Pressure | None = None
    at: Flow | None = None
    bore: Length | None = None
    length: Length | None = None
    coil_diameter: Length | None = None
    bends: Annotated[int, Field(ge=0)] = 0
    bend_radius: Length | None = None
    fittings: Annotated[float, Field(ge=0.0)] = 0.0

    @model_validator(mode="after")
    def _one_description(self) -> PartTable:
        rated = self.drop is not None and self.at is not None
        tube = self.bore is not None and self.length is not None
        if rated == tube:
            raise ValueError('needs either drop and at ("0.3 bar" at "2 L/min") or bore and length, not both')
        if self.bends and self.bend_radius is None:
            raise ValueError("has bends but no bend_radius; give the centre-line radius")
        return self


class CoolingTable(_Table):
    inlet: Temperature = 293.15
    flow: Flow | None = None
    rise: Rise | None = None
    pressure: Pressure | None = None
    pump: PumpTable | None = None
    back_pressure: Pressure = 0.0
    room: RoomTable | None = None
    hose: HoseTable | None = None
    path: tuple[PathTable, ...] = ()
    part: dict[str, PartTable] = {}

    @model_validator(mode="after")
    def _one_supply(self) -> CoolingTable:
        given = [k for k in ("flow", "rise", "pressure", "pump") if getattr(self, k) is not None]
        if len(given) != 1:
            received = " and ".join(given) if given else "none of them"
            raise ValueError(f"needs exactly one of flow, rise, pressure or pump, received {received}")
        return self


_MODELS: Mapping[str, type[_Table]] = {
    "pump": PumpTable,
    "room": RoomTable,
    "hose": HoseTable,
    "path": PathTable,
    "part": PartTable,
}


def _sentence(error: Any) -> str:
    kind, given = error["type"], error.get("input")
    if kind == "extra_forbidden":
        model = next((_MODELS[k] for k in error["loc"][:-1] if k in _MODELS), CoolingTable)
        return "is not a key of this table; it knows " + ", ".join(model.model_fields)
    if kind == "missing":
        return "is missing; write it with its unit"
    if kind == "value_error":
        return str(error["ctx"]["error"])
    return f"{error['msg'][0].lower()}{error['msg'][1:]}, received {given!r:.80}"


def read_cooling(raw: Mapping[str, Any], where: str) -> CoolingTable:
    """The checked `[cooling]` table. `where` names the file; raises BadInput with one sentence for each fault."""
    try:
        return CoolingTable.model_validate(dict(raw))
    except ValidationError as error:
        faults = []
        for found in error.errors():
            key = ".".join(str(k) for k in ("cooling", *found["loc"]))
            faults.append(Fault(f"{where}: {key}", _sentence(found)))
        raise BadInput(faults) from None


def _part(name: str, table: PartTable) -> inputs.Element:
    if table.drop is not None and table.at is not None:
        return inputs.Element(name, inputs.RatedDrop(table.at, table.drop), table.loss)
    passage = inputs.round_bore(
        table.bore or 0.0,
        table.length or 0.0,
        coil_diameter=table.coil_diameter,
        bends=table.bends,
        bend_radius=table.bend_radius or 0.0,
        fittings=table.fittings,
    )
    return inputs.Element(name, passage, table.loss)


def _supply(table: CoolingTable) -> inputs.Supply:
    if table.flow is not None:
        return inputs.SetFlow(table.flow)
    if table.rise is not None:
        return inputs.SetRise(table.rise)
    if table.pressure is not None:
        return inputs.SetPressure(table.pressure)
    if table.pump is not None:
        return inputs.Pump(table.pump.flow, table.pump.pressure)
    raise BadInput(Fault("cooling", "needs exactly one of flow, rise, pressure or pump"))


def _hose(table: HoseTable | None, name: str) -> tuple[inputs.Element, ...]:
    return (inputs.Element(name, inputs.round_bore(table.bore, table.length)),) if table else ()


def circuit_from(table: CoolingTable, known: Mapping[str, inputs.Element], where: str) -> inputs.Circuit:
    """The circuit of a job: `known` holds what the job already describes (coil, leads, ...), the table's own parts
    come on top.

    A part of the table named like a known one replaces it. Raises BadInput when a path names what is not there.
    """
    parts = {**known, **{name: _part(name, p) for name, p in table.part.items()}}
    if not parts:
        raise BadInput(Fault(f"{where}: cooling", "has nothing to cool; describe a coil or a part"))
    tables = table.path or (PathTable(through=tuple(parts)),)
    used: set[str] = set()
    paths, faults = [], []
    for number, row in enumerate(tables):
        key = f"{where}: cooling.path.{number}.through"
        for name in row.through:
            if name not in parts:
                faults.append(Fault(key, f'names "{name}", which is not there; it can run through {", ".join(parts)}'))
            elif name in used:
                faults.append(Fault(key, f'names "{name}" a second time; the water passes each part once'))
            used.add(name)
        if not row.through:
            faults.append(Fault(key, "must name at least one part"))
        elif not faults:
            paths.append(inputs.Path(row.name or "-".join(row.through), tuple(parts[n] for n in row.through)))
    for name in parts:
        if name not in used and parts[name].loss > 0.0:
            faults.append(Fault(f"{where}: cooling.path", f'leaves out "{name}", which makes {parts[name].loss:.0f} W'))
    if faults:
        raise BadInput(faults)
    try:
        return inputs.Circuit(
            supply=_supply(table),
            paths=tuple(paths),
            inlet_temperature=table.inlet,
            feed=_hose(table.hose, "feed hose"),
            back=_hose(table.hose, "return hose"),
            outlet_pressure=_ATMOSPHERE + table.back_pressure,
            room=inputs.Room(table.room.temperature, table.room.humidity) if table.room else None,
        )
    except BadInput as error:
        raise BadInput([Fault(f"{where}: {f.where}", f.what) for f in error.faults]) from None
