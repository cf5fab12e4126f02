"""Ring-down fits: truth inside the stated interval at the stated rate, several modes, 8-bit records, honest refusals."""

import numpy as np
import pytest

from coilwright.errors import BadInput, NotConverged
from coilwright.readings.records import Capture, Channel
from coilwright.readings.ringdown import ring_down
from tests.readings.synthetic import ringing

TANK = (350e3, 75.0, 1.0, 0.3)


def test_a_tank_captured_with_eight_bits():
    """One capture, 50 MS/s, 300 us, 1 % noise: f to about 2 Hz and Q to 0.1 %."""
    found = ring_down(ringing(np.random.default_rng(3), [TANK]))
    mode = found.modes[0]
    assert mode.frequency.value == pytest.approx(350e3, abs=4 * mode.frequency.sigma)
    assert mode.q.value == pytest.approx(75.0, abs=4 * mode.q.sigma)
    assert 1.0 < mode.frequency.sigma < 3.0
    assert 5e-4 < mode.q.sigma / 75.0 < 1.2e-3
    assert mode.amplitude.value == pytest.approx(np.exp(-np.pi / 75 * 350e3 * found.window[0]), rel=0.01)
    assert found.findings == ()
    assert "350" in repr(found)


@pytest.mark.parametrize(
    ("bits", "noise", "q"), [(8, 0.01, 75.0), (8, 0.004, 30.0), (12, 0.001, 75.0), (None, 0.05, 75.0), (8, 0.01, 8.0)]
)
def test_truth_lies_inside_the_interval_at_the_stated_rate(bits, noise, q):
    """300 seeded captures: 68.3 % within one sigma, 95.4 % within two, no bias; allowed is four times the binomial scatter.

    2500 captures of the last case gave 68.0 % and 95.1 %.
    """
    rng = np.random.default_rng(20240501)
    off_q, off_f = [], []
    for _ in range(300):
        tank = (350e3 * (1 + 0.01 * rng.standard_normal()), q * (1 + 0.1 * rng.random()), 1.0, rng.uniform(-3, 3))
        mode = ring_down(ringing(rng, [tank], rate=25e6, duration=150e-6, bits=bits, noise=noise), start=0.0).modes[0]
        off_q.append((mode.q.value - tank[1]) / mode.q.sigma)
        off_f.append((mode.frequency.value - tank[0]) / mode.frequency.sigma)
    for off in (np.array(off_q), np.array(off_f)):
        assert np.mean(np.abs(off) < 1.0) == pytest.approx(0.683, abs=0.107)
        assert np.mean(np.abs(off) < 2.0) == pytest.approx(0.954, abs=0.048)
        assert abs(off.mean()) < 0.25


@pytest.mark.parametrize(
    "second", [(362e3, 60.0, 0.5, 1.0), (900e3, 40.0, 0.3, -1.0), (355e3, 90.0, 0.8, 2.0), (120e3, 25.0, 0.7, 0.0)]
)
def test_two_modes_near_and_far(second):
    found = ring_down(ringing(np.random.default_rng(5), [TANK, second], full_scale=2.2), modes=2)
    for truth in (TANK, second):
        mode = min(found.modes, key=lambda m: abs(m.frequency.value - truth[0]))
        assert mode.frequency.value == pytest.approx(truth[0], abs=4.5 * mode.frequency.sigma)
        assert mode.q.value == pytest.approx(truth[1], abs=4.5 * mode.q.sigma)


def test_three_modes():
    modes = [(150e3, 40.0, 1.0, 0.0), (350e3, 60.0, 0.8, 1.0), (700e3, 50.0, 0.5, 2.0)]
    found = ring_down(
        ringing(np.random.default_rng(6), modes, bits=12, noise=0.002, full_scale=3.0), modes=3, start=0.0
    )
    assert sorted(m.frequency.value for m in found.modes) == pytest.approx([150e3, 350e3, 700e3], rel=2e-4)


def test_a_missed_mode_is_confessed():
    found = ring_down(ringing(np.random.default_rng(7), [TANK, (362e3, 60.0, 0.3, 1.0)], full_scale=2.0))
    assert "residual-structured" in {f.code for f in found.findings}


def test_quiet_before_the_ringing_is_left_out():
    capture = ringing(np.random.default_rng(8), [TANK], quiet=4000)
    found = ring_down(capture)
    assert found.window[0] == pytest.approx(4000 / 50e6, abs=4e-6)
    assert found.modes[0].q.value == pytest.approx(75.0, abs=4 * found.modes[0].q.sigma)


def test_a_long_record_is_thinned_without_bias():
    slow = (20e3, 75.0, 1.0, 0.0)
    found = ring_down(ringing(np.random.default_rng(9), [slow], duration=8e-3))
    assert found.samples < 150_000
    assert found.modes[0].q.value == pytest.approx(75.0, abs=4 * found.modes[0].q.sigma)
    assert found.modes[0].frequency.value == pytest.approx(20e3, abs=4 * found.modes[0].frequency.sigma)


def test_a_short_noisy_record_says_how_little_it_knows():
    found = ring_down(ringing(np.random.default_rng(10), [TANK], duration=20e-6, noise=0.2, bits=None), start=0.0)
    assert "q-uncertain" in {f.code for f in found.findings}


def flat(values, step=2e-8):
    return Capture((Channel("U", np.asarray(values, dtype=float)),), step, origin="capture.csv")


@pytest.mark.parametrize(
    ("capture", "options", "error", "sentence"),
    [
        (flat(np.zeros(5000)), {}, BadInput, "shows no ringing"),
        (flat(np.zeros(5)), {}, BadInput, "shows no ringing in the window of 5 samples"),
        (flat(np.ones(5000)), {"start": 1.0}, BadInput, "must lie inside the record"),
        (flat(np.ones(5000)), {"modes": 0}, BadInput, "at least 1"),
        (flat(np.ones(5000)), {"channel": "I"}, BadInput, 'no channel "I"; it has U'),
        (
            flat(np.exp(1e4 * 2e-8 * np.arange(5000)) * np.sin(np.arange(5000) / 10)),
            {"start": 0.0},
            NotConverged,
            "not decay",
        ),
        (
            flat(np.exp(-np.arange(500) / 300) * np.cos(np.arange(500) / 60)),
            {"start": 0.0},
            BadInput,
            "at least 3 are needed",
        ),
    ],
)
def test_refusals(capture, options, error, sentence):
    with pytest.raises(error, match=sentence):
        ring_down(capture, **options)
