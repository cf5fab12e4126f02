"""The section and the cold field as pictures to take away."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from coilwright.bench.shown import drawn, shown, table
from coilwright.bench.study_kinds import Report
from coilwright.field.look import CheckResult
from coilwright.field.report import FieldReport
from coilwright.job import Job
from coilwright.pack.field_pictures import field_picture
from coilwright.pack.section_picture import section_picture
from coilwright.pack.tables import Table
from coilwright.steps.check import check
from coilwright.steps.field import field


def work(job: Job, settings: dict[str, Any], report: Report, folder: Path) -> dict[str, Any]:
    """Look at the job, solve its cold field, draw both."""
    looked = check(job)
    report(0.2, "solving the cold field")
    found = field(job)
    report(0.7, "drawing")
    return shown(
        "section and cold field",
        tables=_tables(looked, found),
        pictures=drawn(_draw, (looked, found), folder),
        findings=found.findings,
    )


def _draw(both: tuple[CheckResult, FieldReport], folder: Path) -> list[Path]:
    looked, found = both
    section, field_path = folder / "section.png", folder / "field.png"
    section_picture(looked, section)
    field_picture(found, field_path)
    return [section, field_path]


def _tables(looked: CheckResult, found: FieldReport) -> Iterator[Table]:
    bodies = [(b.name, b.material, b.mass * 1e3, b.thickness * 1e3) for b in looked.bodies]
    yield table("bodies", "Bodies", ("body", "material", "mass [g]", "thickness [mm]"), bodies)
    gaps = [(g.first, g.second, g.distance * 1e3) for g in looked.clearances]
    yield table("gaps", "Smallest gaps", ("between", "and", "gap [mm]"), gaps)
    powers = [*found.result.body_powers.items(), ("coil", found.result.coil_power)]
    yield table("powers", "Power, cold", ("where", "power [W]"), powers)
