"""The drawing on the page: the element, and what may be moved on it."""

from __future__ import annotations

from typing import Any

from nicegui.element import Element

from coilwright.bench import packed
from coilwright.job import Job
from coilwright.pack.looks import POWER_MAP, TEMPERATURE_MAP, colour_table
from coilwright.section.geometry import Section
from coilwright.section.scene import scene


class Drawing(Element, component="drawing.js"):
    """The section through the axis. Emits `ready`, `pick`, `moved`, `dropped` and `cancelled`."""

    def call(self, name: str, *arguments: Any) -> None:
        """Run a method of the sheet in the browser."""
        self.run_method("call", name, *arguments)


def described(job: Job) -> dict[str, Any]:
    """The drawing of a job as plain data, with what each item may do."""
    section = scene(job, checked=False).section
    return {**packed.drawing(section), "moves": _moves(job, section)}


def colours() -> dict[str, list[list[int]]]:
    return {"loss": colour_table(POWER_MAP), "temperature": colour_table(TEMPERATURE_MAP)}


def _moves(job: Job, section: Section) -> dict[str, list[str]]:
    """Item -> ways it may go ("z" along, "r" across the axis, "all" when the whole winding goes with it)."""
    ways = {f"body:{b.name}": ["z"] for b in job.bodies}
    ways |= {f"point:{p.name}": ["z", "r"] for p in job.points}
    whole = job.coil is not None and job.coil.winding != "turns"
    if section.turns:
        ways["winding:"] = ["z", "r", "all"]
    return ways | {f"turn:{t.number}": ["z", "r", "all"] if whole else ["z", "r"] for t in section.turns}
