"""Prices built up from a file of rates."""

import pytest

import coilwright as cw
from coilwright.job.price import price, read_rates

TOML = """currency = "EUR"
overhead = 0.2
risk = 0.05
profit = 0.1
valid = "60 days"
[[line]]
what = "tube"
of = "coil conductor, m"
unit = "m"
rate = 10.0
[[line]]
what = "winding"
amount = 5
unit = "h"
rate = 60.0
"""
CSV = """what,amount,of,unit,rate
currency,EUR,,,
overhead,0.2,,,
risk,0.05,,,
profit,0.1,,,
valid,60 days,,,
tube,,"coil conductor, m",m,10
winding,5,,h,60
"""


@pytest.mark.parametrize(("name", "text"), [("rates.toml", TOML), ("rates.csv", CSV), ("rates.csv", "\ufeff" + CSV)])
def test_both_kinds_of_file_give_the_same_price(tmp_path, name, text):
    (tmp_path / name).write_text(text, encoding="utf-8")
    sheet = price(read_rates(tmp_path / name), {"coil conductor, m": 0.5}, name)
    assert [(x.what, x.amount, x.cost, x.counted) for x in sheet.lines] == [
        ("tube", 0.5, 5.0, True), ("winding", 5.0, 300.0, False),
    ]  # fmt: skip
    assert sheet.direct == 305.0
    assert sheet.overhead_cost == pytest.approx(61.0)
    assert sheet.risk_cost == pytest.approx(0.05 * 366.0)
    assert sheet.profit_cost == pytest.approx(0.1 * 366.0 * 1.05)
    assert sheet.total == pytest.approx(305.0 * 1.2 * 1.05 * 1.1)
    assert (sheet.currency, sheet.valid) == ("EUR", "60 days")


@pytest.mark.parametrize(
    ("name", "text"),
    [
        (
            "rates.toml",
            'delivery = "six weeks"\npayment = "30 days net"\n' + TOML
            + '[[line]]\nwhat = "trial in our shop"\namount = 8\nrate = 60.0\noption = true\n',
        ),
        (
            "rates.csv",
            CSV.replace("\n", ",\n").replace("rate,\n", "rate,option\n")
            + "delivery,six weeks,,,,\npayment,30 days net,,,,\ntrial in our shop,8,,h,60,yes\n",
        ),
    ],
)  # fmt: skip
def test_an_option_is_priced_but_not_in_the_total(tmp_path, name, text):
    (tmp_path / name).write_text(text, encoding="utf-8")
    sheet = price(read_rates(tmp_path / name), {"coil conductor, m": 0.5}, name)
    assert [x.option for x in sheet.lines] == [False, False, True]
    assert sheet.total == pytest.approx(305.0 * 1.2 * 1.05 * 1.1)
    assert sheet.with_additions(sheet.lines[2].cost) == pytest.approx(480.0 * 1.2 * 1.05 * 1.1)
    assert (sheet.delivery, sheet.payment) == ("six weeks", "30 days net")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            TOML.replace("coil conductor, m", "unicorns"),
            'line 1: counts "unicorns", which this job does not have; there are coil',
        ),
        (TOML.replace("amount = 5\n", ""), "amount"),
        (TOML.replace("rate = 60.0", 'rate = "cheap"'), "rate"),
        (TOML.replace("rate = 60.0", "rate = -1.0"), "rate"),
        (TOML + 'option = "perhaps"\n', "option"),
        (TOML.replace('currency = "EUR"', ""), "currency"),
        ("currency = ", "is not readable TOML"),
    ],
)
def test_faults_name_file_and_line(tmp_path, text, said):
    path = tmp_path / "rates.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(cw.BadInput, match=said) as caught:
        price(read_rates(path), {"coil conductor, m": 0.5}, path.name)
    assert "rates.toml" in str(caught.value)


def test_files_that_are_none(tmp_path):
    with pytest.raises(cw.BadInput, match="is not a file of rates"):
        read_rates(tmp_path / "none.toml")
    (tmp_path / "latin.csv").write_bytes("what\nG\xfcte".encode("latin-1"))
    with pytest.raises(cw.BadInput, match="UTF-8"):
        read_rates(tmp_path / "latin.csv")
