"""Which of the shelf's capacitors make a tank that rings in the window and stays within every rating.

Candidates are one kind of can in strings of s, p side by side, and two such groups in parallel (mixed banks). All are
solved at once: the followed resonance as a function of total capacitance is tabulated by the full solver, each candidate
starts from it and is settled with its own losses by secant steps on arrays, then scaled by the source's limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from coilwright.errors import BadInput, Fault
from coilwright.tank.chain import Chain, CoilImpedance, Step, build_chain, coil_at, forward, impedance, winding_coil
from coilwright.tank.inputs import Bank, BankGroup, Can, RatingCurve, SourceInput, TankInput
from coilwright.tank.resonance import find_crossings, sought
from coilwright.tank.stock import StockItem

Order = Literal["margin", "price", "count"]
TABLE_POINTS = 60
MARGIN_STEP = 0.05  # margins that differ by less count as equal when ranking
ENOUGH_MARGIN = 0.2  # and more than this over the derated ratings earns nothing more: then price and count decide
QUANTITIES = ("voltage", "current", "reactive power")


@dataclass(frozen=True)
class BankChoice:
    """One bank of the table. frequency Hz at nominal values, frequency_range Hz over the cans' tolerance; voltage (V rms)
    across the bank, coil_current A, source_power W; used: most used rating as a share of the derated one (`worst` says
    which); verdict "" for the first, else why it loses.
    """

    groups: tuple[BankGroup, ...]
    capacitance: float
    frequency: float
    frequency_range: tuple[float, float]
    bank_voltage: float
    coil_current: float
    source_power: float
    used: float
    worst: str
    price: float
    cans: int
    fits: bool
    verdict: str = ""

    @property
    def label(self) -> str:
        """Such as "4 x film 0.33 uF + 1 string of 2 x film 0.1 uF": a person can build it."""
        return " + ".join(_group_label(g) for g in self.groups)


@dataclass(frozen=True)
class BankTable:
    """The best banks, the first of them recommended, then those that nearly fit, and how many were looked at."""

    fitting: tuple[BankChoice, ...]
    near_misses: tuple[BankChoice, ...]
    candidates: int
    fitting_count: int


def _group_label(g: BankGroup) -> str:
    if g.series == 1:
        return f"{g.parallel} x {g.can.name}"
    return f"{g.parallel} {'string' if g.parallel == 1 else 'strings'} of {g.series} x {g.can.name}"


@dataclass(frozen=True)
class _Candidates:
    """Arrays over candidates: indices of one or two groups (-1: none), total C (F) of each, counts, prices."""

    first: Any
    second: Any
    capacitance: Any
    cans: Any
    price: Any


class _Groups:
    """Every s x p group the shelf allows, as arrays."""

    def __init__(self, stock: Sequence[StockItem], most_series: int, most_parallel: int) -> None:
        rows = [
            (k, s, p)
            for k, item in enumerate(stock)
            for s in range(1, min(most_series, item.count) + 1)
            for p in range(1, min(most_parallel, item.count // s) + 1)
        ]
        table = np.array(rows, int).reshape(-1, 3)
        self.stock = stock
        self.item, self.series, self.parallel = table.T
        farad = np.array([item.can.capacitance for item in stock])
        self.capacitance = farad[self.item] * self.parallel / self.series if len(rows) else np.zeros(0)
        self.tangent = np.array([item.can.loss_tangent for item in stock])[self.item] if len(rows) else np.zeros(0)
        self.cans = self.series * self.parallel
        self.price = np.array([item.price for item in stock])[self.item] * self.cans if len(rows) else np.zeros(0)

    def group(self, index: int) -> BankGroup:
        return BankGroup(self.stock[int(self.item[index])].can, int(self.series[index]), int(self.parallel[index]))


def choose_bank(
    tank: TankInput,
    coil: CoilImpedance | tuple[float, float],
    stock: Sequence[StockItem],
    window: tuple[float, float] | None = None,
    rank: tuple[Order, ...] = ("margin", "price", "count"),
    most_series: int = 4,
    most_parallel: int = 24,
    rows: int = 10,
) -> BankTable:
    """Banks from `stock` for the tank's main bank (its own is ignored), best first.

    coil: Z(f) or (R, L); window (Hz, Hz): where the followed frequency must lie over the cans' tolerance, default the
    source's. rank: what decides, in this order; margins count in steps of 5 % up to 20 %, so that price has a say.
    Raises BadInput for an empty stock list, no source, or when no bank comes near the window (the sentence says which
    capacitance would).
    """
    source = _source_of(tank)
    if source.follow == "frequency":
        raise BadInput(
            Fault("[source] follow", 'choosing a bank needs a source that follows the phase; write follow = "phase"')
        )
    if not stock or all(item.count == 0 for item in stock):
        raise BadInput(
            Fault("stock list", "is empty, so no bank can be made; add capacitors with their count on the shelf")
        )
    window = window or source.limits.window
    z = winding_coil(*coil) if isinstance(coil, tuple) else coil
    table_c, table_f = _frequency_table(tank, source, z, window, stock)
    groups = _Groups(stock, most_series, most_parallel)
    low, high = table_c.min(), table_c.max()
    found = _enumerate(groups, low, high)
    if len(found.first) == 0:
        raise BadInput(
            Fault(
                "stock list",
                f"no bank comes near the {window[0] / 1e3:.4g} to {window[1] / 1e3:.4g} kHz window: it "
                f"takes {low * 1e6:.4g} to {high * 1e6:.4g} uF; add cans of suitable capacitance",
            )
        )
    solved = _solve(tank, source, z, groups, found, table_c, table_f)
    return _rank(tank, groups, found, solved, window, (table_c, table_f), rank, rows)


def _source_of(tank: TankInput) -> SourceInput:
    if tank.source is None:
        raise BadInput(Fault("[source]", "choosing needs a source; add a [source] section"))
    return tank.source


def _frequency_table(
    tank: TankInput, source: SourceInput, coil: CoilImpedance, window: tuple[float, float], stock: Sequence[StockItem]
) -> tuple[Any, Any]:
    """Followed frequency against total capacitance, over capacitances that bring it into the window with 20 % to spare."""
    middle = math.sqrt(window[0] * window[1])
    inductive = coil_at(coil, middle).imag / (2.0 * math.pi * middle) + tank.lead_inductance
    if tank.transformer is not None and tank.bank_side == "source":
        inductive *= tank.transformer.ratio**2
    centre = 1.0 / ((2.0 * math.pi * middle) ** 2 * inductive)
    span = 4.0 * (window[1] / window[0]) ** 1.05
    capacitances = np.geomspace(centre / span, centre * span, TABLE_POINTS)
    search = (window[0] / 1.3, window[1] * 1.3)
    rows = []
    for c in capacitances:
        trial = replace(tank, bank=Bank((BankGroup(Can("trial", float(c))),)))
        crossings = find_crossings(build_chain(trial), coil, search, source.target_angle, source.current_fed)
        rows += [(float(c), x.frequency) for x in crossings if x.followed]
    if len(rows) < 2:
        raise BadInput(
            Fault(
                "[source]",
                f"no tank capacitance between {capacitances[0] * 1e6:.3g} and {capacitances[-1] * 1e6:.3g} uF "
                f"brings a resonance into {window[0] / 1e3:.4g} to {window[1] / 1e3:.4g} kHz; change the coil's turns, "
                "the transformer ratio or the window",
            )
        )
    c, f = np.array(rows).T
    return c, f


def _enumerate(groups: _Groups, low: float, high: float) -> _Candidates:
    """Single groups and pairs of groups of different cans whose total lies between low and high (F)."""
    c = groups.capacitance
    single = np.flatnonzero((c >= low) & (c <= high))
    order = np.argsort(c)
    pairs_a, pairs_b = [], []
    for rank, a in enumerate(order):
        partners = order[rank + 1 :]
        total = c[a] + c[partners]
        keep = partners[(total >= low) & (total <= high) & (groups.item[partners] != groups.item[a])]
        pairs_a.append(np.full(len(keep), a))
        pairs_b.append(keep)
    first = np.concatenate([single, *pairs_a]).astype(int)
    second = np.concatenate([np.full(len(single), -1), *pairs_b]).astype(int)
    has = second >= 0
    return _Candidates(
        first,
        second,
        c[first] + np.where(has, c[second], 0.0),
        groups.cans[first] + np.where(has, groups.cans[second], 0),
        groups.price[first] + np.where(has, groups.price[second], 0.0),
    )


@dataclass(frozen=True)
class _BankArray:
    """The banks of all candidates at once, in the place of a Bank: two groups with loss tangent in parallel."""

    first: Any
    tangent_first: Any
    second: Any
    tangent_second: Any

    def impedance(self, omega: Any) -> Any:
        y = 1j * omega * (self.first / (1.0 + 1j * self.tangent_first) + self.second / (1.0 + 1j * self.tangent_second))
        return 1.0 / y


@dataclass(frozen=True)
class _Solved:
    frequency: Any
    bank_voltage: Any
    coil_current: Any
    power: Any


def _solve(
    tank: TankInput,
    source: SourceInput,
    coil: CoilImpedance,
    groups: _Groups,
    found: _Candidates,
    table_c: Any,
    table_f: Any,
) -> _Solved:
    has = found.second >= 0
    banks = _BankArray(
        groups.capacitance[found.first],
        groups.tangent[found.first],
        np.where(has, groups.capacitance[found.second], 0.0),
        groups.tangent[found.second],
    )
    chain: Chain = tuple(Step(s.kind, s.name, banks) if s.name == "tank" else s for s in build_chain(tank))
    coil_of = _coil_table(coil, 0.7 * float(table_f.min()), 1.4 * float(table_f.max()))
    guess = np.exp(np.interp(np.log(found.capacitance), np.log(table_c), np.log(table_f)))
    f = _settle(chain, source, coil_of, guess)
    omega, z = 2.0 * np.pi * f, coil_of(f)
    unit = np.ones(len(f), complex) if source.current_fed else 1.0 / impedance(chain, z, omega)
    voltage, flows = forward(chain, z, omega, unit)
    bank = next(flow for flow in flows if flow.name == "tank")
    a = _amplitude(source, voltage, unit, flows[-1])
    return _Solved(f, a * np.abs(bank.voltage), a * np.abs(flows[-1].current), a**2 * (voltage * unit.conj()).real)


def _coil_table(coil: CoilImpedance, low: float, high: float) -> Any:
    """The coil as a function of an array of frequencies, from 41 of its values (R and L straight between them)."""
    points = np.geomspace(low, high, 41)
    values = np.array([coil_at(coil, float(x)) for x in points])
    henry = values.imag / points
    return lambda f: np.interp(f, points, values.real) + 1j * f * np.interp(f, points, henry)


def _settle(chain: Chain, source: SourceInput, coil_of: Any, guess: Any) -> Any:
    """Secant steps on all candidates; NaN where one does not settle on a crossing of the right kind."""
    tangent = math.tan(source.target_angle)

    def at(f: Any) -> Any:
        return sought(impedance(chain, coil_of(f), 2.0 * np.pi * f), tangent, source.current_fed)

    before, now = guess, guess * (1.0 + 1e-4)
    old = at(before)
    slope = np.ones_like(guess)
    with np.errstate(all="ignore"):
        for _ in range(12):
            new = at(now)
            slope = np.where(now == before, slope, (new - old) / np.where(now == before, 1.0, now - before))
            change = np.where(slope > 0.0, -new / slope, np.nan)
            before, old = now, new
            now = now + np.where(np.abs(change) < 1e-13 * now, 0.0, change)
            if not np.any(np.abs(change) > 1e-11 * now):
                break
        good = np.abs(now - before) < 1e-9 * now
    return np.where(good, now, np.nan)


def _amplitude(source: SourceInput, voltage: Any, current: Any, coil: Any) -> Any:
    """Array form of `drive.scale`: the least of full drive, limits and held quantity."""
    power = (voltage * current.conj()).real
    if source.hold == "level":
        held = np.full(len(power), source.full_amplitude * source.held)
    elif source.hold == "power":
        held = np.sqrt(source.held / power)
    else:
        held = source.held / np.abs(coil.current if source.hold == "coil current" else coil.voltage)
    limits = source.limits
    tops = [
        held,
        np.full(len(power), source.full_amplitude),
        limits.current / np.abs(current),
        limits.voltage / np.abs(voltage),
        np.sqrt(limits.power / power),
    ]
    return np.min(tops, axis=0)


def _used(tank: TankInput, groups: _Groups, index: Any, solved: _Solved) -> Any:
    """(3, n) shares of the derated ratings of one group's cans; NaN where a rating is not stated or there is no group."""
    can_voltage = solved.bank_voltage / groups.series[index]
    used = np.full((3, len(index)), np.nan)
    for k, item in enumerate(groups.stock):
        here = np.flatnonzero((index >= 0) & (groups.item[index] == k) & np.isfinite(solved.frequency))
        if len(here) == 0:
            continue
        f, v, can = solved.frequency[here], can_voltage[here], item.can
        current = v * 2.0 * np.pi * f * can.capacitance / math.hypot(1.0, can.loss_tangent)
        curves: tuple[tuple[RatingCurve | None, Any, float], ...] = (
            (can.voltage, v, tank.derating.voltage),
            (can.current, current, tank.derating.current),
            (can.reactive_power, current**2 / (2.0 * np.pi * f * can.capacitance), tank.derating.reactive_power),
        )
        for row, (curve, value, share) in enumerate(curves):
            if curve is not None:
                used[row, here] = value / (curve.at(f) * share)
    return used


def _rank(
    tank: TankInput,
    groups: _Groups,
    found: _Candidates,
    solved: _Solved,
    window: tuple[float, float],
    table: tuple[Any, Any],
    rank: tuple[Order, ...],
    rows: int,
) -> BankTable:
    every = np.concatenate([_used(tank, groups, found.first, solved), _used(tank, groups, found.second, solved)])
    filled = np.where(np.isnan(every), -np.inf, every)
    worst = filled.argmax(axis=0)
    used = np.where(np.isfinite(filled.max(axis=0)), filled.max(axis=0), 0.0)
    low, high = _frequency_range(groups, found, solved)
    inside = (low >= window[0]) & (high <= window[1])
    fits = inside & (used <= 1.0)
    keys = {
        "margin": np.round(np.maximum(used - 1.0, -ENOUGH_MARGIN) / MARGIN_STEP),
        "price": found.price,
        "count": found.cans,
    }
    order = np.lexsort((used, *[keys[k] for k in reversed(rank)]))
    chosen = order[fits[order]]
    outside = np.maximum(0.0, np.log(window[0] / low)) + np.maximum(0.0, np.log(high / window[1]))
    excess = np.maximum(used, 1.0) + 20.0 * outside
    misses = np.flatnonzero(~fits & np.isfinite(solved.frequency))
    misses = misses[np.argsort(excess[misses], kind="stable")][:rows]

    def choice(k: int) -> BankChoice:
        members = [int(found.first[k])] + ([int(found.second[k])] if found.second[k] >= 0 else [])
        group = groups.group(members[0 if worst[k] < 3 or len(members) == 1 else 1])
        return BankChoice(
            tuple(groups.group(m) for m in members),
            float(found.capacitance[k]),
            float(solved.frequency[k]),
            (float(low[k]), float(high[k])),
            float(solved.bank_voltage[k]),
            float(solved.coil_current[k]),
            float(solved.power[k]),
            float(used[k]),
            f"{QUANTITIES[int(worst[k]) % 3]} of {group.can.name}",
            float(found.price[k]),
            int(found.cans[k]),
            bool(fits[k]),
        )

    best = [choice(int(k)) for k in chosen[:rows]]
    fitting = tuple(replace(c, verdict=_loses(c, best[0])) if n else c for n, c in enumerate(best))
    near = tuple(replace(c, verdict=_fails(c, window)) for c in map(choice, map(int, misses)))
    return BankTable(fitting, near, len(found.first), len(chosen))


def _frequency_range(groups: _Groups, found: _Candidates, solved: _Solved) -> tuple[Any, Any]:
    """Frequencies with every can at its upper and its lower tolerance: df/f = -dC/2C, exact for f ~ C^-1/2."""
    tolerance = np.array([item.can.tolerance for item in groups.stock])
    has = found.second >= 0
    swing = groups.capacitance[found.first] * tolerance[groups.item[found.first]]
    swing = swing + np.where(has, groups.capacitance[found.second] * tolerance[groups.item[found.second]], 0.0)
    share = swing / found.capacitance
    return solved.frequency / np.sqrt(1.0 + share), solved.frequency / np.sqrt(1.0 - share)


def _loses(c: BankChoice, best: BankChoice) -> str:
    """Why a bank that fits stands below the first."""
    parts = []
    if c.used - best.used > 0.005:
        parts.append(f"its {c.worst} is used to {c.used:.0%} of what is allowed, the first to {best.used:.0%}")
    if c.price > best.price:
        parts.append(f"it costs {c.price - best.price:.2f} more")
    if c.cans > best.cans:
        parts.append(f"it takes {c.cans - best.cans} more cans")
    return "; ".join(parts) or "equal to the first in what counts"


def _fails(c: BankChoice, window: tuple[float, float]) -> str:
    """Why a bank does not fit."""
    parts = []
    if c.used > 1.0:
        parts.append(f"{c.worst} would be {c.used:.0%} of what is allowed")
    low, high = c.frequency_range
    if low < window[0] or high > window[1]:
        edges = f"{window[0] / 1e3:.4g} to {window[1] / 1e3:.4g} kHz"
        parts.append(f"over its tolerance it rings from {low / 1e3:.4g} to {high / 1e3:.4g} kHz, outside {edges}")
    return "; ".join(parts)
