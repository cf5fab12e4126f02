"""The sections `[tank]`, `[[capacitor]]` and `[source]` of the job file.

```toml
[tank]
arrangement = "inductor-coupled"    # series | parallel | inductor-coupled
bank_side = "coil"                  # coil | source : which side of the transformer the tank capacitors stand on
capacitor_temperature = "45 degC"   # optional, 20 degC
derating = { voltage = 0.8, current = 0.7, reactive_power = 1.0 }       # shares of the makers' ratings this shop allows
leads = { inductance = "30 nH", resistance = "0.6 mohm" }               # bars from the capacitors to the coil's own leads
# leads = { diameter = "6 mm", centres = "10 mm", length = "200 mm", resistance = "1 mohm" }    two parallel tubes
# leads = { gap = "1 mm", width = "40 mm", length = "300 mm", resistance = "0.1 mohm" }         a busbar sandwich
inductor = { inductance = "8 uH", resistance = "15 mohm" }              # the coupling inductor
transformer = { ratio = 8, source_leakage = "0.4 uH", source_resistance = "10 mohm", coil_leakage = "5 nH",
                coil_resistance = "0.3 mohm", magnetising_inductance = "300 uH", core_resistance = "2 kohm" }
cable = { length = "3 m", inductance = "0.2 uH/m", resistance = "10 mohm/m", capacitance = "0.3 nF/m", place = "source" }
stock = "shelf.csv"                 # optional: the list `choose` picks from

[[capacitor]]                       # any number; those at one place stand in parallel
name = "film 0.33 uF"
place = "tank"                      # tank | tap (lower part of tapped capacitors) | block (in series with the source)
capacitance = "0.33 uF"
series = 1                          # cans in a string
parallel = 4                        # strings side by side
tolerance = 0.05
loss_tangent = 5e-4
rated_voltage = { at = ["50 kHz", "200 kHz"], is = ["700 V", "400 V"] }  # rms; or one text such as "700 V"
rated_current = "80 A"
rated_reactive_power = "40 kvar"
temperature_coefficient = "-250 ppm/K"
# series_resistance, series_inductance of one can; bar_resistance, bar_inductance of what feeds this group

[source]
kind = "voltage-fed full bridge"    # voltage-fed full bridge | voltage-fed half bridge | current-fed bridge
dc_voltage = "320 V"                # dc_current for a current-fed bridge
follow = "phase"                    # phase: track the resonance | frequency: stay where it is set
phase = "10 deg"                    # how far above resonance it is told to stay
# frequency = "98 kHz"
hold = "power"                      # level | power | coil current | coil voltage
power = "2 kW"                      # at the source's output; or level = 0.8, coil_current = "200 A", coil_voltage = "30 V"
regulate = "amplitude"              # amplitude (dc link, pulse width) | frequency (detune upwards at full amplitude)
resistance = "20 mohm"              # of the closed switches
dead_time = "0.5 us"
choke = { inductance = "1 mH", resistance = "50 mohm" }                  # of a current-fed bridge, for start-up
limits = { current = "48 A", voltage = "400 V", power = "5 kW", lowest_frequency = "80 kHz", highest_frequency = "120 kHz",
           least_phase = "5 deg", duty = 0.6, duty_period = "2 min" }
```
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from coilwright.errors import BadInput, Fault
from coilwright.tank import inputs as ti
from coilwright.tank.formulas import busbar_inductance, parallel_tubes_inductance
from coilwright.units import parse


def _quantity(kind: str) -> Any:
    return BeforeValidator(lambda text: parse(text, kind))


def _curve(kind: str) -> Callable[[object], ti.RatingCurve]:
    def read(raw: object) -> ti.RatingCurve:
        if not isinstance(raw, Mapping):
            value = parse(raw, kind)
            if value <= 0.0:
                raise ValueError(f"must be above zero, received {raw!r}")
            return ti.RatingCurve.constant(value)
        if set(raw) != {"at", "is"} or not isinstance(raw["at"], list) or not isinstance(raw["is"], list):
            raise ValueError(
                'a rating curve has two lists, e.g. { at = ["50 kHz", "200 kHz"], is = ["700 V", "400 V"] }'
            )
        at, values = [parse(x, "frequency") for x in raw["at"]], [parse(x, kind) for x in raw["is"]]
        return make_curve(at, values)

    return read


def make_curve(at: list[float], values: list[float]) -> ti.RatingCurve:
    """A rating curve from lists; ValueError says what is wrong with them."""
    if len(at) != len(values) or not at:
        raise ValueError(
            f"needs as many values as frequencies, received {len(at)} frequencies and {len(values)} values"
        )
    if any(b <= a for a, b in pairwise(at)) or at[0] <= 0.0:
        raise ValueError("the frequencies of a rating curve must rise from above zero")
    if min(values) <= 0.0:
        raise ValueError("every rating must be above zero")
    return ti.RatingCurve(tuple(at), tuple(values))


Positive = Field(gt=0.0)
NotNegative = Field(ge=0.0)
Ohm = Annotated[float, _quantity("resistance"), NotNegative]
Henry = Annotated[float, _quantity("inductance"), NotNegative]
Metre = Annotated[float, _quantity("length"), Positive]
Hertz = Annotated[float, _quantity("frequency"), Positive]
Ampere = Annotated[float, _quantity("current"), Positive]
Volt = Annotated[float, _quantity("voltage"), Positive]
Watt = Annotated[float, _quantity("power"), Positive]
Angle = Annotated[float, _quantity("angle"), Field(ge=0.0, lt=math.pi / 2)]
Share = Annotated[float, Field(gt=0.0, le=1.0)]
Count = Annotated[int, Field(ge=1)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", arbitrary_types_allowed=True, allow_inf_nan=False)


class _Leads(_Section):
    inductance: Henry | None = None
    resistance: Ohm = 0.0
    diameter: Metre | None = None
    centres: Metre | None = None
    gap: Metre | None = None
    width: Metre | None = None
    length: Metre | None = None

    def henries(self) -> float:
        if self.inductance is not None:
            return self.inductance
        if self.diameter is not None and self.centres is not None and self.length is not None:
            return parallel_tubes_inductance(self.diameter, self.centres, self.length)
        if self.gap is not None and self.width is not None and self.length is not None:
            return busbar_inductance(self.gap, self.width, self.length)
        return 0.0

    @model_validator(mode="after")
    def _one_way(self) -> _Leads:
        given = {
            k for k in ("inductance", "diameter", "centres", "gap", "width", "length") if getattr(self, k) is not None
        }
        if given not in ({"inductance"}, {"diameter", "centres", "length"}, {"gap", "width", "length"}):
            raise ValueError(
                "write inductance, or diameter, centres and length, or gap, width and length; received "
                + (", ".join(sorted(given)) or "none of them")
            )
        if self.diameter is not None and self.centres is not None and self.centres <= self.diameter:
            raise ValueError("centres must be farther apart than one diameter, else the tubes touch")
        return self


class _Inductor(_Section):
    inductance: Annotated[float, _quantity("inductance"), Positive]
    resistance: Ohm = 0.0


class _Transformer(_Section):
    ratio: Annotated[float, Positive]
    source_leakage: Henry = 0.0
    source_resistance: Ohm = 0.0
    coil_leakage: Henry = 0.0
    coil_resistance: Ohm = 0.0
    magnetising_inductance: Annotated[float, _quantity("inductance"), Positive] | None = None
    core_resistance: Annotated[float, _quantity("resistance"), Positive] | None = None


class _Cable(_Section):
    length: Metre
    inductance: Annotated[float, _quantity("inductance_per_length"), NotNegative] = 0.0
    resistance: Annotated[float, _quantity("resistance_per_length"), NotNegative] = 0.0
    capacitance: Annotated[float, _quantity("capacitance_per_length"), NotNegative] = 0.0
    place: ti.Side = "source"


class _Derating(_Section):
    voltage: Share = 0.8
    current: Share = 0.7
    reactive_power: Share = 1.0


class _Tank(_Section):
    arrangement: ti.Arrangement
    bank_side: ti.Side = "coil"
    capacitor_temperature: Annotated[float, _quantity("temperature")] = 293.15
    derating: _Derating = Field(default_factory=_Derating)
    leads: _Leads | None = None
    inductor: _Inductor | None = None
    transformer: _Transformer | None = None
    cable: _Cable | None = None
    stock: str | None = None


class _Capacitor(_Section):
    name: str = "capacitor"
    place: ti.Place = "tank"
    capacitance: Annotated[float, _quantity("capacitance"), Positive]
    series: Count = 1
    parallel: Count = 1
    tolerance: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    loss_tangent: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    series_resistance: Ohm = 0.0
    series_inductance: Henry = 0.0
    bar_resistance: Ohm = 0.0
    bar_inductance: Henry = 0.0
    rated_voltage: Annotated[ti.RatingCurve, BeforeValidator(_curve("voltage"))] | None = None
    rated_current: Annotated[ti.RatingCurve, BeforeValidator(_curve("current"))] | None = None
    rated_reactive_power: Annotated[ti.RatingCurve, BeforeValidator(_curve("reactive_power"))] | None = None
    temperature_coefficient: Annotated[float, _quantity("temperature_coefficient")] = 0.0


class _Choke(_Section):
    inductance: Annotated[float, _quantity("inductance"), Positive]
    resistance: Ohm = 0.0


class _Limits(_Section):
    current: Ampere = math.inf
    voltage: Volt = math.inf
    power: Watt = math.inf
    lowest_frequency: Hertz | None = None
    highest_frequency: Hertz | None = None
    least_phase: Angle = 0.0
    duty: Share = 1.0
    duty_period: Annotated[float, _quantity("time"), Positive] = math.inf

    @model_validator(mode="after")
    def _window(self) -> _Limits:
        low, high = self.lowest_frequency, self.highest_frequency
        if low is not None and high is not None and low >= high:
            raise ValueError("lowest_frequency must be below highest_frequency")
        if self.duty < 1.0 and math.isinf(self.duty_period):
            raise ValueError('a duty below 1 needs its period, e.g. duty_period = "2 min"')
        return self


class _Source(_Section):
    kind: ti.SourceKind
    dc_voltage: Volt | None = None
    dc_current: Ampere | None = None
    follow: ti.Follow = "phase"
    phase: Angle = 0.0
    frequency: Hertz | None = None
    hold: ti.Hold = "level"
    level: Share | None = None
    power: Watt | None = None
    coil_current: Ampere | None = None
    coil_voltage: Volt | None = None
    regulate: ti.Regulate = "amplitude"
    resistance: Ohm = 0.0
    dead_time: Annotated[float, _quantity("time"), NotNegative] = 0.0
    choke: _Choke | None = None
    limits: _Limits = Field(default_factory=_Limits)

    @model_validator(mode="after")
    def _consistent(self) -> _Source:
        supply, other = (
            ("dc_current", "dc_voltage") if self.kind == "current-fed bridge" else ("dc_voltage", "dc_current")
        )
        if getattr(self, supply) is None or getattr(self, other) is not None:
            raise ValueError(f"a {self.kind} is described by {supply} (and not by {other})")
        if (self.follow == "frequency") != (self.frequency is not None):
            raise ValueError('frequency belongs to follow = "frequency", and that needs it')
        key = self.hold.replace(" ", "_")
        values = {k: getattr(self, k) for k in ("level", "power", "coil_current", "coil_voltage")}
        if self.hold != "level" and values[key] is None:
            raise ValueError(f'hold = "{self.hold}" needs {key}')
        extra = [k for k, v in values.items() if v is not None and k != key]
        if extra:
            raise ValueError(f'{", ".join(extra)} stands beside hold = "{self.hold}"; keep the one that is held')
        if self.regulate == "frequency" and self.follow == "frequency":
            raise ValueError('regulate = "frequency" needs a source that follows the phase; write follow = "phase"')
        return self


def from_job_tables(tables: Mapping[str, Any], file_name: str) -> ti.TankInput:
    """The tank from the raw tables "tank", "capacitor" (a list) and "source" of a job file.

    Raises BadInput with one sentence per fault. `source` may be missing (then nothing can be driven yet).
    """
    faults: list[Fault] = []
    tank = _read(_Tank, tables.get("tank"), f"{file_name}: tank", faults)
    raw_cans = tables.get("capacitor")
    if not isinstance(raw_cans, list) or not raw_cans:
        faults.append(
            Fault(f"{file_name}: capacitor", "a tank needs at least one [[capacitor]]; write its name and capacitance")
        )
        raw_cans = []
    cans = [_read(_Capacitor, raw, f"{file_name}: {_label(raw, k)}", faults) for k, raw in enumerate(raw_cans)]
    source = None
    if tables.get("source") is not None:
        source = _read(_Source, tables["source"], f"{file_name}: source", faults)
    if tank is not None and not any(c is None for c in cans):
        faults += _together(tank, [c for c in cans if c is not None], source, file_name) if cans else []
    if faults or tank is None:
        raise BadInput(faults)
    return _build(tank, [c for c in cans if c is not None], source)


def _label(raw: object, index: int) -> str:
    name = raw.get("name") if isinstance(raw, Mapping) else None
    return f'capacitor "{name}"' if isinstance(name, str) else f"capacitor {index + 1}"


def _read(model: type[Any], raw: object, where: str, faults: list[Fault]) -> Any:
    if not isinstance(raw, Mapping):
        section = where.rsplit(": ", 1)[-1]
        faults.append(
            Fault(where, f"the section [{section}] is missing" if raw is None else f"must be a section [{section}]")
        )
        return None
    try:
        return model.model_validate(dict(raw))
    except ValidationError as error:
        faults += [_fault(where, e) for e in error.errors(include_url=False)]
        return None


def _fault(where: str, error: Any) -> Fault:
    path = ".".join(str(part) for part in error["loc"])
    place = f"{where}: {path}" if path else where
    kind, received = error["type"], f"{error.get('input')!r:.80}"
    if kind == "extra_forbidden":
        return Fault(place, "this key is not known here; look for a slip of the pen")
    if kind == "missing":
        return Fault(place, "this key must be given")
    if kind == "value_error":
        return Fault(place, str(error["ctx"]["error"]))
    if kind == "literal_error":
        return Fault(place, f"must be one of {error['ctx']['expected']}, received {received}")
    bounds = {"greater_than": "gt", "greater_than_equal": "ge", "less_than": "lt", "less_than_equal": "le"}
    if kind in bounds:
        words = kind.replace("_", " ").replace("greater than equal", "at least").replace("less than equal", "at most")
        return Fault(place, f"must be {words} {error['ctx'][bounds[kind]]:g}, received {received}")
    return Fault(place, f"{error['msg'][0].lower()}{error['msg'][1:]}, received {received}")


def _together(tank: _Tank, cans: list[_Capacitor], source: _Source | None, file_name: str) -> list[Fault]:
    where = f"{file_name}: tank"
    faults = []
    places = {c.place for c in cans}
    if "tank" not in places:
        faults.append(Fault(f"{file_name}: capacitor", 'at least one [[capacitor]] must stand at place = "tank"'))
    if "tap" in places and tank.arrangement != "inductor-coupled":
        faults.append(Fault(where, 'a [[capacitor]] with place = "tap" belongs to arrangement = "inductor-coupled"'))
    if tank.bank_side == "source" and tank.transformer is None:
        faults.append(
            Fault(f"{where}: bank_side", '"source" means the source side of a transformer; add one or leave this out')
        )
    coupled = (
        tank.inductor
        or tank.cable
        or (tank.transformer and tank.transformer.source_leakage + tank.transformer.coil_leakage)
    )
    if tank.arrangement == "inductor-coupled" and not coupled:
        faults.append(
            Fault(
                where,
                "an inductor-coupled tank needs an inductor, or a transformer with leakage, between source and "
                "capacitors; else the square voltage would stand across capacitors",
            )
        )
    if source is not None:
        fits: Literal["current-fed", "voltage-fed"] = "current-fed" if tank.arrangement == "parallel" else "voltage-fed"
        if not source.kind.startswith(fits):
            faults.append(
                Fault(
                    f"{file_name}: source: kind",
                    f'a tank with arrangement = "{tank.arrangement}" is driven by a {fits} '
                    f'bridge, received "{source.kind}"; a voltage-fed bridge drives a parallel tank through an inductor '
                    '(arrangement = "inductor-coupled")',
                )
            )
    return faults


def _build(tank: _Tank, cans: list[_Capacitor], source: _Source | None) -> ti.TankInput:
    banks = {place: _bank(cans, place, tank.capacitor_temperature) for place in ("tank", "tap", "block")}
    t = tank.transformer
    bank = banks["tank"]
    if bank is None:
        raise BadInput(Fault("capacitor", 'at least one [[capacitor]] must stand at place = "tank"'))
    return ti.TankInput(
        arrangement=tank.arrangement,
        bank=bank,
        tap=banks["tap"],
        block=banks["block"],
        bank_side=tank.bank_side,
        source=None if source is None else _source(source),
        transformer=None
        if t is None
        else ti.Transformer(
            t.ratio,
            t.source_leakage,
            t.source_resistance,
            t.coil_leakage,
            t.coil_resistance,
            t.magnetising_inductance or math.inf,
            t.core_resistance or math.inf,
        ),
        cable=None if tank.cable is None else ti.Cable(**tank.cable.model_dump()),
        inductor_inductance=tank.inductor.inductance if tank.inductor else 0.0,
        inductor_resistance=tank.inductor.resistance if tank.inductor else 0.0,
        lead_inductance=tank.leads.henries() if tank.leads else 0.0,
        lead_resistance=tank.leads.resistance if tank.leads else 0.0,
        derating=ti.Derating(**tank.derating.model_dump()),
        stock=tank.stock,
    )


def _bank(cans: list[_Capacitor], place: str, temperature: float) -> ti.Bank | None:
    groups = tuple(
        ti.BankGroup(
            ti.Can(
                c.name,
                c.capacitance,
                c.tolerance,
                c.loss_tangent,
                c.series_resistance,
                c.series_inductance,
                c.rated_voltage,
                c.rated_current,
                c.rated_reactive_power,
                c.temperature_coefficient,
            ),
            c.series,
            c.parallel,
            c.bar_resistance,
            c.bar_inductance,
        )
        for c in cans
        if c.place == place
    )
    return ti.Bank(groups, temperature) if groups else None


def _source(s: _Source) -> ti.SourceInput:
    held = getattr(s, s.hold.replace(" ", "_"))
    return ti.SourceInput(
        kind=s.kind,
        supply=(s.dc_voltage if s.dc_voltage is not None else s.dc_current) or 0.0,
        follow=s.follow,
        phase=s.phase,
        frequency=s.frequency,
        hold=s.hold,
        held=1.0 if held is None else held,
        regulate=s.regulate,
        resistance=s.resistance,
        dead_time=s.dead_time,
        choke=s.choke.inductance if s.choke else 0.0,
        choke_resistance=s.choke.resistance if s.choke else 0.0,
        limits=ti.SourceLimits(**s.limits.model_dump()),
    )
