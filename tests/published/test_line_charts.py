"""Control charts and run lengths against the handbook and the tables of the literature."""

import pytest

from coilwright.line import charts

# NIST/SEMATECH e-Handbook of Statistical Methods, doi 10.18434/M32189. Sections 6.3.2.2, 6.3.2.4, 6.3.3.1 and 6.3.3.2 read in
# public transcriptions; the CUSUM of 6.3.2.3 from memory.
EWMA_DATA = [
    52,
    47,
    53,
    49.3,
    50.1,
    47,
    51,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
EWMA_SERIES = [
    50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip
CUSUM_DATA = [
    324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6,
    324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
]  # fmt: skip
P_DATA = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]
C_DATA = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13]


def test_individuals_and_moving_range_of_the_handbook():
    single, ranges = charts.individuals(EWMA_DATA[10:]), charts.moving_range(EWMA_DATA[10:])
    assert single.centre == pytest.approx(50.81, abs=1e-9)
    assert ranges.centre == pytest.approx(1.8778, abs=5e-5)
    assert (single.upper[0], single.lower[0]) == pytest.approx((55.8041, 45.8159), abs=2e-4)
    assert ranges.upper[0] == pytest.approx(6.1349, abs=2e-4)
    assert single.alarms == ranges.alarms == ()


def test_ewma_of_the_handbook():
    chart = charts.ewma(EWMA_DATA, 50.0, 2.0539, steady=True)
    # the page rounds from step to step, hence the last digit
    assert chart.values == pytest.approx(EWMA_SERIES, abs=0.006)
    assert (chart.upper[0], chart.lower[0]) == pytest.approx((52.5884, 47.4115), abs=2e-4)
    assert chart.alarms == ()


def test_cusum_of_the_handbook():
    chart = charts.cusum(CUSUM_DATA, 325.0, 0.3175, 4.1959)
    wanted = {13: 3.01, 15: 7.45, 16: 10.63, 17: 11.99, 19: 16.0, 20: 19.04}
    for place, value in wanted.items():
        assert chart.high[place - 1] == pytest.approx(value, abs=0.0051), place
    assert chart.alarms[0] == 13  # the 14th value
    assert chart.began == 12  # the shift begins with the 13th


def test_p_and_c_charts_of_the_handbook():
    p = charts.p_chart(P_DATA, 50)
    assert (p.centre, p.upper[0], p.lower[0]) == pytest.approx((0.2313, 0.4103, 0.0524), abs=1.1e-4)
    assert [k + 1 for k in p.alarms] == [15, 23]  # the two points of the worked example
    c = charts.c_chart(C_DATA)
    assert (c.centre, c.upper[0], c.lower[0]) == pytest.approx((16.0, 28.0, 4.0), abs=1e-9)
    assert [k + 1 for k in c.alarms] == [24]  # the third stands on the limit


@pytest.mark.parametrize(("shift", "run"), [(1, 43.895), (2, 6.303), (3, 2.0)])
def test_run_length_of_single_values(shift, run):
    # three-sigma chart of single values, standard table (memory)
    assert charts.shewhart_run_length(shift) == pytest.approx(run, abs=1e-3)


@pytest.mark.parametrize(
    ("h", "shift", "run", "abs_"), [(4, 1, 8.38, 6e-3), (4, 2, 3.34, 6e-3), (5, 0, 465, 0.5), (5, 2, 4.01, 6e-3)]
)
def test_run_length_of_cusum(h, shift, run, abs_):
    # D. C. Montgomery, Introduction to Statistical Quality Control, table for k = 0.5 (memory)
    assert charts.cusum_run_length(shift, 0.5, h) == pytest.approx(run, abs=abs_)


@pytest.mark.parametrize(
    ("weight", "width", "shift", "run", "abs_"),
    [(0.1, 2.814, 0, 500, 2), (0.1, 2.814, 1, 10.3, 0.06), (0.2, 2.962, 1, 10.5, 0.06), (0.05, 2.615, 1, 11.4, 0.06)],
)
def test_run_length_of_ewma(weight, width, shift, run, abs_):
    # J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990) 1 (memory)
    assert charts.ewma_run_length(shift, weight, width) == pytest.approx(run, abs=abs_)
