"""The rough shot of a job: coarser meshes and looser steps, quick, and behind every stated error."""

from __future__ import annotations

from collections.abc import Callable

from coilwright.heating.march import Steps
from coilwright.heating.model import ROUGHLY_SETTLED, SETTLED, ShotModel, shot_model
from coilwright.heating.result import ShotResult
from coilwright.heating.setup import drive_of
from coilwright.heating.shot import shoot
from coilwright.section.scene import Scene
from coilwright.section.sizes import Level

NORMAL, FINE = Steps(tolerance=1.0), Steps(tolerance=0.5, burnt=0.04)
_SATURATING = 2.0  # how much looser where the mesh of what saturates leaves several kelvin, whatever the steps


def rough_shot(
    drawn: Scene,
    *,
    every: float | None = None,
    watch: float = 0.0,
    fine: bool = False,
    report: Callable[[float], None] | None = None,
) -> ShotResult:
    """The shot of a scene on meshes one level coarser than `steps.heat` takes and in steps twice as loose."""
    drive = drive_of(drawn.job)
    level: Level = "normal" if fine else "coarse"
    model = shot_model(drawn, drive.frequency, level, settled=SETTLED if fine else ROUGHLY_SETTLED)
    return shoot(model, drive, every=every, watch_after=watch, steps=steps_of(model, fine, 2.0), report=report)


def steps_of(model: ShotModel, fine: bool, looser: float = 1.0) -> Steps:
    """Step control of a shot that is reported, or so many times looser."""
    asked = FINE if fine else NORMAL
    saturating = _SATURATING if model.field.nonlinear else 1.0
    return Steps(looser * saturating * asked.tolerance, burnt=looser * asked.burnt)
