"""The shelf, the banks it makes, and what else can be matched."""

from dataclasses import replace

import pytest

from coilwright.errors import BadInput
from coilwright.tank.choose import choose_bank
from coilwright.tank.inputs import Bank, RatingCurve
from coilwright.tank.match import choose_inductor, choose_transformer
from coilwright.tank.operating import operating_point
from coilwright.tank.stock import StockItem, parse_stock, read_stock
from tests.tank.networks import COUPLED, MATCHED, PARALLEL, SERIES, can, limits

COIL = (0.0413, 1.38e-6)
SHELF = """name,capacitance,tolerance,rated_voltage,rated_current,rated_kvar,frequency,price,count,loss_tangent
film 22,22 nF,0.03,700 V,20 A,8 kvar; 5 kvar,100 kHz; 400 kHz,2.00,30,4e-4
film 33,33 nF,0.03,600 V,25 A,9 kvar; 5.4 kvar,100 kHz; 400 kHz,2.50,40,4e-4
film 47,47 nF,0.05,600 V,30 A,10 kvar; 6 kvar,100 kHz; 400 kHz,3.00,24,4e-4
film 100,100 nF,0.05,500 V,60 A,20 kvar; 12 kvar,100 kHz; 400 kHz,5.00,40,4e-4
film 330,330 nF,0.05,400 V,90 A,30 kvar; 18 kvar,100 kHz; 400 kHz,9.00,40,4e-4
"""
JOB = replace(SERIES, source=replace(SERIES.source, hold="coil current", held=156.0, limits=limits(300e3, 400e3)))


def shelf():
    return parse_stock(SHELF.splitlines(), "shelf.csv")


def test_the_shelf_is_read():
    items = shelf()
    assert [i.count for i in items] == [30, 40, 24, 40, 40] and items[0].price == 2.0
    assert items[0].can.capacitance == pytest.approx(22e-9)
    assert items[0].can.reactive_power.at(200e3) == pytest.approx((8e3 * 5e3) ** 0.5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,capacitance,count\n", "shelf.csv: the stock list is empty"),
        ("", 'the column "name" is missing'),
        ("name,capacitance,count,colour\nx,1 uF,2,red\n", 'the column "colour" is not known'),
        ("name,capacitance,count\nx,0 uF,2\n", "shelf.csv: line 2: capacitance: must be above zero"),
        ("name,capacitance,count\nx,1,2\n", "has no unit"),
        ("name,capacitance,count\nx,1 uF,two\n", 'count: must be a number, received "two"'),
        ("name,capacitance,count\nx,1 uF,-2\n", "count: must be a whole number"),
        ("name,capacitance,count,rated_voltage,frequency\nx,1 uF,2,3 V; 4 V,1 kHz\n", "as many values as frequencies"),
    ],
)
def test_a_faulty_shelf_is_a_sentence(text, words):
    with pytest.raises(BadInput) as caught:
        parse_stock(text.splitlines(), "shelf.csv")
    assert words in str(caught.value)


def test_a_missing_shelf_is_a_sentence(tmp_path):
    with pytest.raises(BadInput, match="cannot be read"):
        read_stock(tmp_path / "none.csv")


def test_every_choice_stands_up_to_the_full_solver():
    table = choose_bank(JOB, COIL, shelf(), most_series=3, most_parallel=16)
    assert table.fitting and table.fitting_count >= len(table.fitting)
    for choice in (*table.fitting[:4], *table.near_misses[:3]):
        point = operating_point(replace(JOB, bank=Bank(choice.groups)), COIL)
        assert point.frequency == pytest.approx(choice.frequency, rel=1e-9)
        assert point.coil_current == pytest.approx(choice.coil_current, rel=1e-6)
        assert max(r.used for r in point.ratings) == pytest.approx(choice.used, rel=1e-6)
        assert choice.fits == (
            choice.used <= 1.0 and choice.frequency_range[0] >= 300e3 and choice.frequency_range[1] <= 400e3
        )


def test_runners_up_and_near_misses_say_why():
    table = choose_bank(JOB, COIL, shelf(), most_series=3, most_parallel=16)
    assert table.fitting[0].verdict == ""
    assert all(c.verdict for c in (*table.fitting[1:], *table.near_misses))
    assert any("costs" in c.verdict for c in table.fitting[1:])


def test_ranking_by_price_gives_the_cheapest():
    by_price = choose_bank(
        JOB, COIL, shelf(), rank=("price", "margin", "count"), most_series=3, most_parallel=16
    ).fitting
    assert by_price[0].price == min(c.price for c in by_price)
    by_margin = choose_bank(JOB, COIL, shelf(), most_series=3, most_parallel=16).fitting
    assert by_margin[0].used <= by_price[0].used + 1e-9


def test_nothing_uses_more_than_the_shelf_holds():
    table = choose_bank(JOB, COIL, shelf())
    stock = {i.can.name: i.count for i in shelf()}
    assert all(g.cans <= stock[g.can.name] for c in table.fitting for g in c.groups)


def test_a_parallel_tank_is_chosen_for_too():
    stock = [
        StockItem(can(c, f"c{k}", current=RatingCurve.constant(400.0)), 20, 4.0)
        for k, c in enumerate((0.68e-6, 1e-6, 1.5e-6))
    ]
    table = choose_bank(PARALLEL, (0.06, 3e-6), stock, window=(20e3, 30e3))
    choice = table.fitting[0]
    assert operating_point(replace(PARALLEL, bank=Bank(choice.groups)), (0.06, 3e-6)).frequency == pytest.approx(
        choice.frequency, rel=1e-9
    )


def test_empty_and_useless_shelves():
    with pytest.raises(BadInput, match="is empty"):
        choose_bank(JOB, COIL, [])
    with pytest.raises(BadInput, match=r"no bank comes near .* it takes .* uF"):
        choose_bank(JOB, COIL, [StockItem(can(1e-12, "tiny"), 3)])
    with pytest.raises(BadInput, match="follows the phase"):
        choose_bank(replace(JOB, source=replace(JOB.source, follow="frequency", frequency=350e3)), COIL, shelf())


def twelve_kinds():
    """Forty each of twelve capacitors, also for the benchmark."""
    rated = {"voltage": RatingCurve.constant(700.0), "current": RatingCurve.constant(30.0)}
    return [StockItem(can((15 + 4.7 * k) * 1e-9, f"c{k}", **rated), 40, 2.0 + k) for k in range(12)]


def test_a_hundred_thousand_banks_are_looked_at():
    table = choose_bank(JOB, COIL, twelve_kinds())
    assert table.candidates > 100_000 and table.fitting


def test_transformer_turns_are_ranked_by_what_reaches_the_coil():
    tank = replace(MATCHED, source=replace(MATCHED.source, limits=limits(20e3, 400e3, current=30.0, power=3e3)))
    tried = choose_transformer(tank, (0.0141, 0.17e-6), [(6, 1), (8, 1), (12, 1)])
    powers = [m.coil_power for m in tried]
    assert powers == sorted(powers, reverse=True) and tried[0].verdict == "" and all(m.verdict for m in tried[1:])


def test_coupling_inductors_are_ranked_and_those_that_cannot_start_say_why():
    tried = choose_inductor(COUPLED, (0.08, 1e-6), [1.5e-6, 2.5e-6, 60e-6], q=150.0)
    assert tried[-1].point is None and "cannot start" in tried[-1].verdict
    assert tried[0].coil_power >= tried[1].coil_power > 0.0
    with pytest.raises(BadInput, match="none of"):
        choose_inductor(COUPLED, (0.08, 1e-6), [60e-6])
