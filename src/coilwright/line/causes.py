"""What can be wrong: every cause as a family of states of the machine, with how often it is met before anything is read.

Priors are from memory (shares of the trade: position 25 %, parts and lots 20 %, settings 15 %, joints 10 %, water 8 %, mains
5 %, capacitors 5 %, coil 5 %, timer 4 %), to be replaced by the maker's own records.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from coilwright.line.plant import Array, Condition, Plant

Follows = Literal["", "lot", "shift"]


@dataclass(frozen=True, eq=False)
class Cause:
    """One cause: `key` and `name`, `stations` it sits at (none: all), `prior`, its states `grid` with `weights` (sum 1) and
    the `size` of each in `unit` (None: no size). `follows`: whether scrap goes with the lot or the shift. `remedy`,
    `see`: what to do and what to look for."""

    key: str
    name: str
    stations: tuple[int, ...]
    prior: float
    grid: Condition
    weights: Array
    size: Array | None
    unit: str
    follows: Follows
    remedy: str
    see: str


def _falling(reach: float, scale: float, count: int) -> tuple[Array, Array]:
    """Sizes up to `reach`, small ones likelier (exponential), and their weights."""
    size = np.linspace(reach / count, reach, count)
    weight = np.exp(-size / scale)
    return size, weight / weight.sum()


def _even(low: float, high: float, count: int) -> tuple[Array, Array]:
    return np.linspace(low, high, count), np.full(count, 1.0 / count)


@dataclass(frozen=True)
class _Kind:
    key: str
    name: str
    prior: float
    field: str
    sizes: tuple[Array, Array] | None
    unit: str
    shown: Callable[[Array], Array]
    remedy: str
    see: str
    follows: Follows = ""
    also: tuple[tuple[str, float], ...] = ()


def _same(x: Array) -> Array:
    return x


def _percent(x: Array) -> Array:
    """A logarithm as per cent."""
    return np.asarray(100.0 * np.expm1(x))


def _share(x: Array) -> Array:
    return 100.0 * x


def _mm(x: Array) -> Array:
    return 1e3 * x


def _at_station(plant: Plant) -> list[_Kind]:
    reach = min(3e-3, plant.reach)
    scale = 0.3 * plant.reach
    back = _falling(reach, scale, 60)
    forward = _falling(plant.forward, plant.forward, 12) if plant.forward > 0.0 else None
    side = _even(plant.aside.at[-1] / 16, plant.aside.at[-1], 16)
    tilt = _even(plant.tilted.at[-1] / 12, plant.tilted.at[-1], 12)
    move = "Isolate, set the coil of station {k} with the setting gauge, pin it, check with the gauge again."
    out = [
        _Kind("coil-back", "the coil of station {k} stands back", 0.10, "coil_back", back, "mm", _mm, move,
              "a bright rub or a loose clamp at the coil, the gauge falls through"),
        _Kind("nest-worn", "the nest of station {k} holds the part too far from the coil", 0.05, "nest_back", back, "mm",
              _mm, "Renew or shim the nest of station {k}; the coil itself stands right.", "play of the part in its nest"),
        _Kind("coil-sideways", "the coil of station {k} stands sideways", 0.03, "sideways", side, "mm", _mm, move,
              "an uneven gap round the part"),
        _Kind("coil-tilted", "the coil of station {k} is tilted", 0.03, "tilt", tilt, "deg", lambda x: np.degrees(x), move,
              "the gap is wider on one side"),
        _Kind("part-missing", "station {k} was fired without a part", 0.01, "absent", None, "", _same,
              "Load every nest; fit a presence check.", "no glow at all at that station"),
        _Kind("ring-split", "the part in station {k} is cut or cracked open", 0.01, "cut", None, "", _same,
              "Reject the part; look at the joint of others of its lot.", "no glow, or a glow beside the crack"),
        _Kind("short-turn", "a turn of the coil of station {k} is shorted", 0.025, "short", None, "", _same,
              "Stop. Isolate, find where turns touch or scale bridges them, part and insulate them.",
              "one turn hot or discoloured"),
        _Kind("coil-water", "the water of the coil of station {k} is blocked", 0.03, "copper", _even(0.05, 0.6, 10), "%",
              _percent, "Stop. Flush the water path of station {k}; do not run without flow.",
              "hot hose, steam, effect that grows through the shift"),
        _Kind("leads-moved", "the leads of the coil of station {k} were bent apart", 0.01, "lead", _even(0.02, 0.3, 8), "%",
              _share, "Bring the leads of station {k} together again, insulated and tied.", "leads apart"),
    ]  # fmt: skip
    if forward is not None:
        nearer = (-forward[0], forward[1])
        out.append(_Kind("coil-forward", "the coil of station {k} stands too near", 0.02, "coil_back", nearer, "mm",
                         lambda x: -1e3 * x, move, "the gauge does not go in"))  # fmt: skip
    return out


def _common(plant: Plant) -> list[_Kind]:
    lost = np.log(1.0 - np.arange(1, min(4, plant.cans)) / plant.cans)
    lost_weights = np.array([0.8, 0.15, 0.05][: len(lost)])
    lot = "Set the lot aside, run the old lot; weigh and measure ten parts of each."
    out = [
        _Kind("plate-back", "all coils stand back together", 0.02, "coil_back", _falling(min(3e-3, plant.reach),
              0.3 * plant.reach, 30), "mm", _mm, "Set the plate that carries the coils back to its stop.", "plate off its stop"),
        _Kind("wrong-material", "the parts of this lot are of another material", 0.04, "resistivity",
              _mixed(-3.0, -0.35, 0.35, 1.5), "% of resistivity", _percent, lot, "colour, magnet, spark test", "lot"),
        _Kind("plated", "the parts of this lot are plated", 0.02, "resistivity", _even(-1.2, -0.1, 8), "% of resistivity",
              _percent, lot, "colour of a filed corner", "lot"),
        _Kind("thin-wall", "the parts of this lot have a thinner wall", 0.03, "mass", _even(-0.4, -0.04, 12), "%", _percent,
              lot, "weight of ten parts", "lot", (("resistivity", -1.0),)),
        _Kind("thick-wall", "the parts of this lot have a thicker wall", 0.03, "mass", _even(0.04, 0.4, 12), "%", _percent,
              lot, "weight of ten parts", "lot", (("resistivity", -1.0),)),
        _Kind("capacitor-lost", "a capacitor is lost", 0.025, "capacitance", (lost, lost_weights / lost_weights.sum()), "%",
              _percent, "Isolate, wait, prove dead, short; renew the can; the others carried its current.",
              "one can cold or bulged"),
        _Kind("capacitor-drift", "the capacitors have drifted", 0.02, "capacitance", _even(-0.08, -0.01, 10), "%", _percent,
              "Measure every can, isolated and proved dead; look at their cooling.", "warm cans"),
        _Kind("joint-loose", "a joint of the tank is loose", 0.08, "joint", _falling(0.4, 0.12, 16), "% of the resistance",
              _share, "Isolate, prove dead, clean and tighten the joints to their torque.",
              "a discoloured joint, readings that jump"),
        _Kind("mains-low", "the mains is low", 0.05, "mains", (-_falling(0.15, 0.06, 12)[0], _falling(0.15, 0.06, 12)[1]), "%",
              _percent, "Have the supply looked at by a licensed person; note when it happens.", "time of day"),
        _Kind("source-limit", "the source limits itself below its setting", 0.03, "limit", _limit(), "%", _percent,
              "Read the limit lamps; find what it protects itself from before changing a setting.", "limit lamp"),
        _Kind("setting-low", "the power was set lower", 0.06, "setting", _limit(), "%", _percent,
              "Set the power as on the card.", "the dial"),
        _Kind("setting-high", "the power was set higher", 0.05, "setting", _falling(0.25, 0.08, 10), "%", _percent,
              "Set the power as on the card.", "the dial"),
        _Kind("timer-short", "the on-time is short", 0.04, "timer", (-_falling(0.5, 0.2, 12)[0], _falling(0.5, 0.2, 12)[1]), "%",
              _percent, "Set the timer as on the card; time one shot by stopwatch.", "stopwatch"),
        _Kind("water-hot", "the cooling water is hot or short at all coils", 0.04, "copper", _falling(0.3, 0.08, 10), "%",
              _percent, "Restore flow and inlet temperature; do not run hot.", "season, pump, filter", "", (("flow", -4.0),)),
        _Kind("careless-placing", "parts are placed more loosely (another operator)", 0.05, "careless", _even(0.3, 1.6, 8),
              "times the spread", lambda x: np.exp(x), "Show the placing once more; give the nest a stop.", "the shift", "shift"),
        _Kind("nothing", "nothing is wrong: chance", 0.10, "joint", None, "", _same, "Go on; keep the tally by station.", ""),
    ]  # fmt: skip
    if plant.charged:
        out.append(_Kind("weak-charge", "the charges of this lot are weak", 0.06, "weak", _even(0.04, 0.96, 14), "% of parts",
                         _share, lot, "start in time but no full flash", "lot"))  # fmt: skip
    if plant.glazed:
        out.append(_Kind("thick-glass", "the glass of this lot is thicker", 0.03, "part_back", _falling(1.5e-3, 0.5e-3, 15),
                         "mm", _mm, lot, "wall by calliper", "lot"))  # fmt: skip
    return out


def _limit() -> tuple[Array, Array]:
    size, weight = _falling(0.25, 0.08, 12)
    return -size, weight


def _mixed(a: float, b: float, c: float, d: float) -> tuple[Array, Array]:
    size = np.concatenate([np.linspace(a, b, 8), np.linspace(c, d, 6)])
    return size, np.full(len(size), 1.0 / len(size))


def all_causes(plant: Plant) -> tuple[Cause, ...]:
    """Every cause this machine can have, priors summing to one."""
    n = plant.line.stations
    out = [_cause(plant, kind, k) for kind in _at_station(plant) for k in range(1, n + 1)]
    out += [_cause(plant, kind, 0) for kind in _common(plant)]
    out += _several(plant)
    total = math.fsum(c.prior for c in out)
    return tuple(Cause(**{**c.__dict__, "prior": c.prior / total}) for c in out)


def _cause(plant: Plant, kind: _Kind, station: int) -> Cause:
    n = plant.line.stations
    sizes, weights = kind.sizes if kind.sizes is not None else (np.ones(1), np.ones(1))
    grid = Condition.healthy(len(sizes), n)
    if kind.key != "nothing":
        for name, factor in ((kind.field, 1.0), *kind.also):
            values = getattr(grid, name)
            if values.ndim == 2:
                values[:, slice(None) if station == 0 else station - 1] = (factor * sizes).reshape(-1, 1) if station == 0 else (
                    factor * sizes)  # fmt: skip
            else:
                values[:] = factor * sizes
    shown = None if kind.sizes is None else kind.shown(sizes)
    share = kind.prior / (n if station else 1)
    fill = {"k": station}
    return Cause(kind.key, kind.name.format(**fill), (station,) if station else (), share, grid,
                 weights, shown, kind.unit, kind.follows,
                 kind.remedy.format(**fill), kind.see)  # fmt: skip


def _several(plant: Plant) -> list[Cause]:
    """More than one thing at once: two coils back (the same hand, or the same knock), or one coil back and low mains.

    Priors near the product of the single ones; small setbacks likelier, as with one coil.
    """
    n = plant.line.stations
    sizes, likely = _falling(min(3e-3, plant.reach), 0.3 * plant.reach, 8)
    out = []
    for a, b in combinations(range(n), 2):
        grid = Condition.healthy(len(sizes) ** 2, n)
        grid.coil_back[:, a], grid.coil_back[:, b] = (x.ravel() for x in np.meshgrid(sizes, sizes, indexing="ij"))
        weights = np.outer(likely, likely).ravel()
        name = f"more than one: the coils of stations {a + 1} and {b + 1} stand back"
        out.append(Cause("two-coils-back", name, (a + 1, b + 1), 0.01 / math.comb(n, 2), grid, weights, None, "", "",
                         "Gauge every station before touching the power.", ""))  # fmt: skip
    lows = np.array([-0.03, -0.06, -0.1])
    sizes, likely = _falling(min(3e-3, plant.reach), 0.3 * plant.reach, 24)  # fine, for the size is told
    for a in range(n):
        grid = Condition.healthy(len(sizes) * len(lows), n)
        back, low = (x.ravel() for x in np.meshgrid(sizes, lows, indexing="ij"))
        grid.coil_back[:, a], grid.mains[:] = back, low
        weights = np.repeat(likely, len(lows)) / len(lows)
        name = f"more than one: the coil of station {a + 1} stands back and the mains is low"
        out.append(Cause("back-and-mains", name, (a + 1,), 0.006 / n, grid, weights, _mm(back), "mm", "",
                         "Set the coil first; have the supply looked at.", ""))  # fmt: skip
    return out


def keys(causes: Sequence[Cause]) -> tuple[str, ...]:
    """The kinds among them, each once."""
    return tuple(dict.fromkeys(c.key for c in causes))
