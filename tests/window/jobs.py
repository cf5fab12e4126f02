"""Fixtures of small invented jobs, for the tests of the window."""

from functools import cache
from pathlib import Path

from coilwright.job import loads, template
from coilwright.window.stations import FixtureModel

EXAMPLES = Path(__file__).parents[2] / "examples"


def fixture_text(stations=3, spacing="60 mm", **more):
    lines = ["", "[fixture]", f"stations = {stations}", f'spacing = "{spacing}"']
    lines += [f"{key} = {value}" for key, value in more.items()]
    return "\n".join(lines) + "\n"


def ring_job(stations=3, spacing="60 mm", varies="", **more):
    """The getter ring behind glass, several times."""
    return loads(template("ring-through-glass") + fixture_text(stations, spacing, **more) + varies, "ring.toml")


def single():
    return loads(template("ring-through-glass"), "ring.toml")


@cache
def ring_model(stations=3, spacing="60 mm", feed="series", control="voltage", neighbours=True):
    job = ring_job(stations, spacing, feed=f'"{feed}"', control=f'"{control}"')
    return FixtureModel(job, level="coarse", moves=(0.0, 1e-3), neighbours=neighbours)
