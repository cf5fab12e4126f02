"""Field types of the job file: a text with a unit becomes an SI float, a text with a flaw becomes a sentence.

Sizes and times have generous outer limits (a work coil is neither a nanometre nor a kilometre wide), so that a slipped
exponent is caught here and not as a strange number three layers up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, GetCoreSchemaHandler, Strict, StringConstraints
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from coilwright.units import KINDS, UnitFault, parse

LONGEST_SHOWN = 80


def as_written(value: object) -> str:
    """A received value the way it stands in the file, short enough for a sentence."""
    if isinstance(value, str):
        text = value if len(value) <= LONGEST_SHOWN else value[: LONGEST_SHOWN - 3] + "..."
        return '"' + "".join(c if c.isprintable() else " " for c in text) + '"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    try:
        return str(value)[:LONGEST_SHOWN]
    except ValueError:  # integers of thousands of digits have no text in Python
        return "a number of thousands of digits"


def custom_fault(text: str) -> PydanticCustomError:
    """An error whose text is the finished second half of a sentence."""
    return PydanticCustomError("sentence", "{text}", {"text": text})


@dataclass(frozen=True)
class Quantity:
    """Annotation that turns a text with a unit into SI.

    `kind` is a key of units.KINDS; `above` is an excluded lower bound, `at_least` and `at_most` are included
    bounds, all SI. `example` stands in the sentence when the example of the kind would mislead.
    """

    kind: str
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    example: str = ""

    @property
    def shown_example(self) -> str:
        return self.example or KINDS[self.kind][1]

    @property
    def _hint(self) -> str:
        return f'write e.g. "{self.shown_example}"'

    def read(self, value: Any) -> float:
        """SI value of a text; raises an error whose text is the second half of a sentence."""
        try:
            number = parse(value, self.kind)
        except UnitFault as fault:
            # a number or a table in place of a text is shown as it stands in the file, not as Python shows it
            general = f'write e.g. "{KINDS[self.kind][1]}"'
            text = str(fault).replace(general, self._hint) if isinstance(value, str) else self._not_text(value)
            raise custom_fault(text) from None
        self._hold_bounds(number, value)
        return number

    def _not_text(self, value: object) -> str:
        if isinstance(value, int | float) and not isinstance(value, bool):
            return f"{as_written(value)} has no unit; {self._hint}"
        return f"must be a text with a unit, not {as_written(value)}; {self._hint}"

    def _hold_bounds(self, number: float, value: object) -> None:
        hint = self._hint
        if self.above is not None and not number > self.above:
            limit = "zero" if self.above == 0.0 else f"{self.above:g} {KINDS[self.kind][0]}"
            raise custom_fault(f"must be greater than {limit}, not {as_written(value)}; {hint}")
        if self.at_least is not None and not number >= self.at_least:
            limit = (
                "must not be negative"
                if self.at_least == 0.0
                else f"must be at least {self.at_least:g} {KINDS[self.kind][0]}"
            )
            raise custom_fault(f"{limit}, but is {as_written(value)}; {hint}")
        if self.at_most is not None and not number <= self.at_most:
            raise custom_fault(
                f"must be at most {self.at_most:g} {KINDS[self.kind][0]}, not {as_written(value)}; {hint}"
            )

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)


Size = Annotated[float, Quantity("length", above=0.0, at_most=100.0)]
Place = Annotated[float, Quantity("length", at_least=-100.0, at_most=100.0, example="12 mm")]
Radius = Annotated[float, Quantity("length", at_least=0.0, at_most=100.0, example="3.5 mm")]
Duration = Annotated[float, Quantity("time", above=0.0, at_most=1e6)]
Instant = Annotated[float, Quantity("time", at_least=0.0, at_most=1e6, example="0 s")]
Temperature = Annotated[float, Quantity("temperature", at_most=6000.0)]
Frequency = Annotated[float, Quantity("frequency", above=0.0, at_most=1e9)]
Current = Annotated[float, Quantity("current", above=0.0, at_most=1e6)]
Voltage = Annotated[float, Quantity("voltage", above=0.0, at_most=1e6)]
Power = Annotated[float, Quantity("power", above=0.0, at_most=1e8)]
Mass = Annotated[float, Quantity("mass", above=0.0, at_most=1e5)]
HeatTransfer = Annotated[float, Quantity("heat_transfer", at_least=0.0, at_most=1e7)]
Conductance = Annotated[float, Quantity("conductance", at_least=0.0, at_most=1e6)]
Resistivity = Annotated[float, Quantity("resistivity", above=0.0)]
Conductivity = Annotated[float, Quantity("conductivity", above=0.0)]
SpecificHeat = Annotated[float, Quantity("specific_heat", above=0.0)]
Density = Annotated[float, Quantity("density", above=0.0)]
SpecificEnergy = Annotated[float, Quantity("specific_energy", at_least=0.0, example="60 J/g")]
Rate = Annotated[float, Quantity("rate", above=0.0, example="8.6e11 1/s")]
ActivationEnergy = Annotated[float, Quantity("activation_energy", at_least=0.0)]

# Plain numbers: strict, so that true and "5" are not taken for 1 and 5.
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Fraction = Annotated[float, Strict(), Field(ge=0.0, le=1.0, allow_inf_nan=False)]
Permeability = Annotated[float, Strict(), Field(gt=0.0, le=1e6, allow_inf_nan=False)]
Turns = Annotated[float, Strict(), Field(ge=0.05, le=500.0, allow_inf_nan=False)]
Count = Annotated[int, Strict(), Field(ge=1, le=1_000_000)]
Factor = Annotated[float, Strict(), Field(gt=0.0, le=100.0, allow_inf_nan=False)]
Flag = Annotated[bool, Strict()]
Name = Annotated[
    str,
    StringConstraints(
        min_length=1, max_length=80, pattern=r'^[^\s"\x00-\x1f\x7f]([^"\x00-\x1f\x7f]*[^\s"\x00-\x1f\x7f])?$'
    ),
]
Line = Annotated[str, StringConstraints(max_length=500)]
Words = Annotated[str, StringConstraints(max_length=100_000)]
Medium = Literal["air", "vacuum"]
