"""Exact tests, strata, drift and sequential plans against published answers."""

import numpy as np
import pytest

from coilwright.line import compare, course


def test_tea_tasting():
    # R. A. Fisher, The Design of Experiments (1935), as two-sided in the documentation of R's fisher.test
    assert compare.fisher([[3, 1], [1, 3]]).p == pytest.approx(0.4857142857, abs=1e-9)
    assert compare.freeman_halton([3, 1], [4, 4]).p == pytest.approx(0.4857142857, abs=1e-9)


@pytest.mark.parametrize(
    ("bad", "tried", "score", "exact"),
    [(15, 148, (0.0624, 0.1605), (0.0578, 0.1617)), (1, 29, (0.0061, 0.1718), (0.0009, 0.1776))],
)
def test_intervals_of_shares(bad, tried, score, exact):
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857, table I, methods 3 (read quoted) and 5 (memory)
    assert compare.wilson(bad, tried) == pytest.approx(score, abs=6e-5)
    assert compare.clopper_pearson(bad, tried) == pytest.approx(exact, abs=6e-5)


def test_more_intervals():
    # memory: textbook values of the exact interval and of the rule of three
    assert compare.clopper_pearson(20, 100) == pytest.approx((0.1267, 0.2918), abs=6e-5)
    assert compare.upper_bound(0, 60) == pytest.approx(0.0487, abs=6e-5)
    assert compare.wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=6e-5)  # Newcombe 1998, as above


def test_drift_of_malformations_with_alcohol():
    # A. Agresti, Categorical Data Analysis, 2nd ed. (2002), table 3.7: M^2 = (n-1) r^2 = 6.57 (memory)
    bad = np.array([48, 38, 5, 1, 1])
    tried = bad + np.array([17066, 14464, 788, 126, 37])
    z = compare.trend(bad, tried, [0, 0.5, 1.5, 4, 7])
    assert z.statistic**2 == pytest.approx(6.57, abs=0.005)
    assert z.p == pytest.approx(0.010, abs=5e-4)


def test_admissions_by_department():
    # P. J. Bickel, E. A. Hammel, J. W. O'Connell, Science 187 (1975) 398, data as UCBAdmissions of R;
    # Mantel-Haenszel chi-square without continuity correction 1.5246 (memory)
    admitted = np.array([[512, 89], [353, 17], [120, 202], [138, 131], [53, 94], [22, 24]])
    rejected = np.array([[313, 19], [207, 8], [205, 391], [279, 244], [138, 299], [351, 317]])
    got = compare.stratified(admitted, admitted + rejected)
    assert got.statistic == pytest.approx(1.5246, abs=1e-4)
    assert got.p > 0.2
    pooled = compare.fisher(np.stack([admitted.sum(0), rejected.sum(0)]).tolist())
    assert pooled.p < 1e-15  # without strata: the well-known paradox


def test_sequential_plan_of_the_handbook():
    # NIST/SEMATECH e-Handbook 6.2.6, p1 = 0.01, p2 = 0.10, alpha = 0.05, beta = 0.10 (memory)
    plan = course.sequential(0.01, 0.10)
    assert (plan.accept, plan.reject, plan.slope) == pytest.approx((0.939, 1.205, 0.0397), abs=6e-4)


def test_holm_by_hand():
    # worked by hand from the rule: 4 x 0.01, 3 x 0.02, 2 x 0.03, then never falling
    assert compare.holm([0.03, 0.01, 0.04, 0.02]) == pytest.approx([0.06, 0.04, 0.06, 0.06])
