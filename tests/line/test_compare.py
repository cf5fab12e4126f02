"""Properties of the exact tests: against brute force, against each other, and under the null."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from coilwright.errors import BadInput
from coilwright.line import compare, course


@pytest.mark.parametrize(("scraps", "p"), [(3, 0.04), (4, 0.008), (5, 0.0016), (6, 0.00032)])
def test_all_scraps_from_one_of_five(scraps, p):
    assert compare.largest_cell([0, 0, scraps, 0, 0], 20).p == pytest.approx(p, rel=1e-9)  # 5 (1/5)^k


def test_largest_cell_by_brute_force():
    bad, stations = [1, 4, 0], 3
    hits = sum(max(np.bincount(w, minlength=stations)) >= 4 for w in product(range(stations), repeat=sum(bad)))
    assert compare.largest_cell(bad, 30).p == pytest.approx(hits / stations ** sum(bad), rel=1e-9)


def test_largest_cell_keeps_its_risk_with_unequal_trays():
    rng = np.random.default_rng(1)
    tried = np.array([50, 50, 50, 10])
    p = [compare.largest_cell(rng.multinomial(8, tried / tried.sum()), tried).p for _ in range(400)]
    assert np.mean(np.array(p) < 0.05) <= 0.05 + 0.03


def test_many_bad_pieces_do_not_overflow():
    assert 0.0 < compare.largest_cell([500, 510, 490, 505], 10_000).p <= 1.0
    assert compare.largest_cell([500, 700, 490, 505], 10_000).p < 1e-6


def test_many_and_few_bad_pieces_are_counted_alike(monkeypatch):
    bad = [330, 371, 322, 318, 340, 309]
    few = compare.largest_cell(bad, 20_000).p
    monkeypatch.setattr(compare, "_MANY", 10)
    assert compare.largest_cell(bad, 20_000).p == pytest.approx(few, rel=1e-9)
    assert compare.largest_cell([0, 0, 16, 0, 0], 20).p == pytest.approx(5 * 0.2**16, rel=1e-9)  # far below rounding
    assert 0.0 < compare.largest_cell([5, 14, 401, 12, 12, 16], 800).p < 1e-200


def test_freeman_halton_by_brute_force():
    bad, tried = np.array([3, 0, 1]), np.array([4, 3, 5])
    weights = {}
    for table in product(*(range(n + 1) for n in tried)):
        if sum(table) == bad.sum():
            weights[table] = np.prod([stats.binom.pmf(b, n, 0.5) for b, n in zip(table, tried, strict=True)])
    total = sum(weights.values())
    own = weights[tuple(bad)]
    wanted = sum(w for w in weights.values() if w <= own * (1 + 1e-9)) / total
    assert compare.freeman_halton(bad, tried).p == pytest.approx(wanted, rel=1e-9)


def test_sampled_and_enumerated_agree():
    exact = compare.freeman_halton([2, 5, 1], [20, 20, 20])
    rng = np.random.default_rng(0)
    drawn = rng.multivariate_hypergeometric([20, 20, 20], 8, size=100_000)
    logs = compare._log_ways(drawn, np.array([20.0, 20.0, 20.0]))
    assert exact.p == pytest.approx(np.mean(logs <= exact.statistic + 1e-7), abs=0.005)
    sampled = compare.freeman_halton([20, 30, 25, 40, 33, 12], 200)
    chi = stats.chi2_contingency([[20, 30, 25, 40, 33, 12], [180, 170, 175, 160, 167, 188]]).pvalue
    assert sampled.p_error > 0
    assert sampled.p == pytest.approx(chi, rel=0.8)


def test_holm_controls_false_alarms():
    rng = np.random.default_rng(3)
    alarms = np.mean([compare.holm(rng.uniform(size=6)).min() < 0.05 for _ in range(2000)])
    assert alarms <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 2000)


def test_one_station_is_named():
    raw, adjusted = compare.each_against_rest([0, 1, 12, 0, 1, 0], 20)
    assert int(np.argmin(adjusted)) == 2
    assert adjusted[2] < 1e-6
    assert np.all(adjusted >= raw)


def test_one_dead_station_is_too_even_for_chance():
    even = course.dispersion([1] * 13 + [2, 1], 5)
    assert even.index < 0.13
    assert even.p_even < 0.01
    assert "one bad station" in even.verdict()
    bunched = course.dispersion([0, 0, 5, 0, 4, 0, 0, 0, 5, 0], 5)
    assert bunched.p_bunched < 0.01
    assert "bunches" in bunched.verdict()
    rng = np.random.default_rng(5)
    usual = [course.dispersion(rng.binomial(5, 0.2, 15), 5).p_even < 0.05 for _ in range(100)]
    assert np.mean(usual) <= 0.12


def test_trays_that_show_one_station():
    # five stations at 1 % risk: 98 % against 1 % bad is shown by 5 trays in 97 % of cases
    assert course.power_of_trays(5, 5, 0.98, 0.01) == pytest.approx(0.97, abs=0.03)
    assert course.power_of_trays(20, 5, 0.5, 0.02) == pytest.approx(0.97, abs=0.03)
    assert course.trays_needed(5, 0.98, 0.01) in (4, 5)
    assert course.trays_needed(5, 0.021, 0.02, most=64) is None


@pytest.mark.parametrize(("shift", "number"), [(5, 11), (2, 67), (1, 268)])
def test_values_per_group(shift, number):
    assert course.values_needed(shift, 3.0) == number


def test_change_of_share_is_found_and_noise_is_not():
    found = course.change_of_share([0, 1, 0, 0, 0, 4, 5, 3, 4], 20)
    assert found.at == 5
    assert found.p < 0.01
    assert found.before < 0.02 < 0.1 < found.after
    quiet = course.change_of_share([1, 0, 2, 1, 1, 0, 2, 1], 20)
    assert quiet.p > 0.1


def test_change_of_mean():
    rng = np.random.default_rng(2)
    found = course.change_of_mean(np.concatenate([rng.normal(4.8, 0.2, 30), rng.normal(5.4, 0.2, 20)]))
    assert found.interval[0] <= 30 <= found.interval[1]
    assert found.p < 0.01


def test_sequential_test_keeps_its_risks():
    plan, rng = course.sequential(0.01, 0.10), np.random.default_rng(0)

    def run(share):
        bad = tried = 0
        while True:
            bad, tried = bad + int(rng.random() < share), tried + 1
            answer = plan.decide(bad, tried)
            if answer != "go on":
                return answer

    assert np.mean([run(0.01) == "bad" for _ in range(300)]) <= 0.05 + 0.03
    assert np.mean([run(0.10) == "good" for _ in range(300)]) <= 0.10 + 0.03


@pytest.mark.parametrize("call", [
    lambda: compare.largest_cell([3, 1], [2, 5]),
    lambda: compare.largest_cell([], []),
    lambda: compare.largest_cell([-1], [3]),
    lambda: compare.trend([1], [3]),
    lambda: course.sequential(0.1, 0.01),
    lambda: course.change_of_share([1], [2]),
])  # fmt: skip
def test_nonsense_is_refused_in_words(call):
    with pytest.raises(BadInput, match=r"needs|must"):
        call()
