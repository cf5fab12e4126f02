"""The common base of every table of the job file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Self

from pydantic import BaseModel, ConfigDict, model_validator
from pydantic_core import PydanticCustomError


class Table(BaseModel):
    """A table of the file: frozen, no unknown keys, and able to name what does not fit between its own values."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=False)

    def clashes(self) -> Iterator[tuple[str, str]]:
        """(key, sentence) for values that are each fine but do not fit together.

        A sentence may hold {key} placeholders: they are filled with the values as written in the file.
        """
        return iter(())

    @model_validator(mode="after")
    def _refuse_clashes(self) -> Self:
        found = list(self.clashes())
        if found:
            raise PydanticCustomError("clashes", "values that do not fit together", {"found": found})
        return self
