"""The figures of docs/orders-of-magnitude.md for one station of five, computed anew."""

import math
import re
from functools import cache
from pathlib import Path

import pytest

from coilwright.job import load
from coilwright.window.faults import shorted_turn
from coilwright.window.stations import FixtureModel, Station
from tests.window.jobs import EXAMPLES

PAGE = Path(__file__).parents[2] / "docs" / "orders-of-magnitude.md"
K = 3
FIGURES = {
    "power there": lambda r, h: r.powers[K - 1] / h.powers[K - 1] - 1.0,
    "power of the others": lambda r, h: (r.powers.sum() - r.powers[K - 1]) / (h.powers.sum() - h.powers[K - 1]) - 1.0,
    "coil current": lambda r, h: r.current / h.current - 1.0,
    "loaded Q": lambda r, h: r.q / h.q - 1.0,
    "frequency": lambda r, h: r.frequency / h.frequency - 1.0,
    "volts of that station": lambda r, h: r.voltage_shares[K - 1] / h.voltage_shares[K - 1] - 1.0,
}


@cache
def model():
    job = load(EXAMPLES / "indicator-tube-getter" / "six-stations.toml").with_value("fixture.stations", 5)
    return FixtureModel(job, level="coarse")


def everywhere(station):
    return dict.fromkeys(range(1, 6), station)


def states(change):
    """(stations, further arguments of `solve`) of a change in the page's words."""
    job = model().job
    number = re.search(r"([\d.]+) (?:mm|mohm)", change)
    size = 1e-3 * float(number[1]) if number else 0.0
    made = {
        "one coil back": lambda: {K: Station(up=size)},
        "one coil forward": lambda: {K: Station(up=-size)},
        "all five back": lambda: everywhere(Station(up=size)),
        "part missing": lambda: {K: Station(part=False)},
        "one part of half": lambda: {K: Station(variant=job.with_value("body.ring.overrides.resistivity", "0.36 uohm m"))},
        "all strips 10 % thinner": lambda: everywhere(Station(variant=job.with_value("body.ring.shape.wall", "0.27 mm"))),
        "one turn of four": lambda: {K: Station(variant=shorted_turn(job))},
        "joint of": lambda: {K: Station(extra_resistance=size)},
        "water 20 K": lambda: everywhere(Station(variant=job.with_value("coil.water_temperature", "45 degC"))),
        "coil aside": lambda: {K: Station(sideways=size)},
    }
    for word, make in made.items():
        if change.startswith(word):
            return make(), {}
    return {}, {"capacitance": 5 / 6} if "capacitors" in change else {"setting": 0.95}


@cache
def solved(change):
    stations, more = states(change)
    return model().solve(stations, **more)


def rows():
    text = PAGE.read_text(encoding="utf-8")
    first = text.split("## ")[1]
    table = [[c.strip() for c in line.strip("|").split("|")] for line in first.splitlines() if line.startswith("|")]
    return [tuple(r[:4]) for r in table[2:]]


@pytest.mark.parametrize(("change", "reading", "estimate", "stated"), rows())
def test_a_row_of_the_page(change, reading, estimate, stated):
    got = 100.0 * float(FIGURES[reading](solved(change), model().solve()))
    wanted = float(stated.removesuffix(" %"))
    digits = len(stated.split(".")[1].split()[0])
    assert got == pytest.approx(wanted, abs=0.51 * 10.0**-digits + 1e-3 * abs(wanted))
    # of the same kind as the estimate, save where the page says that the part stands on the other side of the balance
    told = float(estimate.removesuffix(" %"))
    if "half resistivity" not in change and "thinner" not in change and not (reading == "power there" and "capac" in change):
        assert math.copysign(1.0, got) == math.copysign(1.0, told)
        assert 0.5 < got / told < 2.0 or abs(got - told) < 0.05


def test_the_page_has_what_the_trade_asks():
    assert len(rows()) > 25
