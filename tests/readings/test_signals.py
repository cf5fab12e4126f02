"""Running frequency, rms, phase, power with skew, harmonics, envelope, shot - on captures with known truth."""

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.readings.records import Capture, Channel
from coilwright.readings.signals import (
    dominant_frequency,
    electrical,
    envelope,
    find_shot,
    harmonics,
    running_frequency,
)
from tests.readings.synthetic import digitised, ringing, shot


def rng():
    return np.random.default_rng(11)


@pytest.mark.parametrize("frequency", [9.87e3, 100.123e3, 1.0007e6])
def test_frequency_without_whole_periods(frequency):
    capture = shot(rng(), frequency, 100.0, 50.0, 0.3, noise=0.01)
    found = dominant_frequency(capture.channel("U").values(), capture.step)
    assert found == pytest.approx(frequency, rel=2e-6)


@pytest.mark.parametrize("lag", [0.05, 0.5, 1.2, 1.55])
def test_rms_phase_and_power(lag):
    found = electrical(shot(rng(), 98.7e3, 30.0, 386.0, lag), "U", "I")
    assert found.voltage == pytest.approx(30.0, rel=1e-3)
    assert found.current == pytest.approx(386.0, rel=1e-3)
    assert found.phase == pytest.approx(lag, abs=2e-4)
    truth = 30.0 * 386.0 * np.cos(lag)
    assert found.power.value == pytest.approx(truth, abs=2e-4 * 30 * 386)
    assert found.reactive == pytest.approx(30.0 * 386.0 * np.sin(lag), rel=2e-3)
    assert abs(found.power.value - truth) < found.power.sigma


def test_skew_moves_the_power_as_stated():
    """At phase p, a delay d of one probe changes P by 2 pi f S sin(p) d: check by delaying the current channel."""
    late = 3e-9
    straight = electrical(shot(rng(), 350e3, 100.0, 150.0, 1.55), "U", "I", skew=late)
    skewed = electrical(shot(rng(), 350e3, 100.0, 150.0, 1.55 + 2 * np.pi * 350e3 * late), "U", "I", skew=late)
    assert straight.power.value - skewed.power.value == pytest.approx(straight.power_per_skew * late, rel=0.02)
    assert "power-skew" in {f.code for f in straight.findings}
    assert "ns between the probes" in straight.findings[0].text


def test_no_skew_warning_where_phase_is_small():
    assert electrical(shot(rng(), 20e3, 100.0, 150.0, 0.2), "U", "I").findings == ()


def test_swapped_and_reversed_channels_are_found():
    capture = shot(rng(), 100e3, 100.0, 150.0, 0.4)
    bare = Capture(tuple(Channel(c.name, c.samples) for c in capture.channels), capture.step)
    assert {f.code for f in electrical(bare, "I", "U").findings} == {"channels-swapped"}
    assert electrical(bare, "I", "U", inductive=False).findings == ()
    backwards = Capture((bare.channels[0], Channel("I", -bare.channels[1].samples)), capture.step)
    assert "power-negative" in {f.code for f in electrical(backwards).findings}
    with pytest.raises(BadInput, match="two channels swapped"):
        electrical(capture, "I", "U")


def test_harmonics_of_a_square_wave():
    """A square wave of +-1: 4/(pi k) peak for odd k, nothing for even k (any text on Fourier series)."""
    t = np.arange(200_000) * 1e-8
    square = np.sign(np.sin(2 * np.pi * 51.3e3 * t))
    found = harmonics(Capture((Channel("U", square),), 1e-8), orders=7)
    odd = 4 / (np.pi * np.array([1, 3, 5, 7])) / np.sqrt(2)
    assert found.rms[::2] == pytest.approx(odd, rel=2e-3)
    assert np.all(found.rms[1::2] < 2e-3)
    assert found.distortion == pytest.approx(np.linalg.norm(odd[1:]) / odd[0], rel=5e-3)


def test_third_harmonic_with_eight_bits():
    capture = shot(rng(), 40e3, 100.0, 50.0, 0.3, third=0.1)
    coarse = Channel("U", unit="V", **digitised(capture.channel("U").values(), 8, 180.0))
    found = harmonics(Capture((coarse,), capture.step), orders=3)
    assert found.rms[2] / found.rms[0] == pytest.approx(0.1, abs=1e-3)
    assert found.distortion == pytest.approx(0.1, abs=2e-3)


def test_orders_beyond_half_the_sampling_rate_are_left_out():
    assert len(harmonics(shot(rng(), 1.9e6, 1.0, 1.0, 0.0), "U", orders=9).rms) == 2


def test_running_frequency_follows_a_sweep():
    t = np.arange(400_000) * 1e-7
    start, slope = 90e3, 2e5  # Hz, Hz/s
    y = np.sin(2 * np.pi * (start * t + 0.5 * slope * t**2))
    times, found = running_frequency(Capture((Channel("U", y),), 1e-7), window=5e-4)
    assert found == pytest.approx(start + slope * times, rel=2e-5)


def test_envelope_of_a_ring_down_falls_with_its_q():
    capture = ringing(rng(), [(350e3, 75.0, 1.0, 0.0)], noise=0.001, bits=None)
    found = envelope(capture)
    decay = -np.polyfit(found.time[:12], np.log(found.amplitude[:12]), 1)[0]
    assert decay == pytest.approx(np.pi * 350e3 / 75.0, rel=0.01)


def test_start_and_end_of_a_shot():
    capture = shot(rng(), 100e3, 100.0, 50.0, 0.3, duration=20e-3, on=(4.13e-3, 15.71e-3))
    found = find_shot(capture, "I")
    assert found.start.value == pytest.approx(4.13e-3, abs=3 * found.start.sigma)
    assert found.end.value == pytest.approx(15.71e-3, abs=3 * found.end.sigma)
    assert found.level == pytest.approx(50.0 * np.sqrt(2), rel=0.01)


def test_a_record_inside_the_shot_has_no_edges():
    found = find_shot(shot(rng(), 100e3, 100.0, 50.0, 0.3), "U")
    assert found.start is None
    assert found.end is None


def test_quiet_stretches_have_no_frequency():
    capture = shot(rng(), 100e3, 100.0, 50.0, 0.3, duration=20e-3, on=(5e-3, 15e-3))
    times, found = running_frequency(capture, "U")
    assert np.all(np.isnan(found[times < 4.5e-3]))
    inside = (times > 5.5e-3) & (times < 14.5e-3)
    assert found[inside] == pytest.approx(100e3, rel=1e-4)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda c: electrical(c, start=1.0), "must lie inside the record"),
        (lambda c: running_frequency(c, window=1e-6), "at least 3 periods"),
        (lambda c: envelope(c, window=1.0), "fit into the record"),
        (lambda c: harmonics(Capture((Channel("U", np.zeros(100)),), 1e-6)), "nothing periodic"),
        (lambda c: harmonics(Capture((Channel("U", np.arange(100.0)),), 1e-6)), "fewer than three periods"),
    ],
)
def test_refusals(call, sentence):
    with pytest.raises(BadInput, match=sentence):
        call(shot(rng(), 100e3, 1.0, 1.0, 0.1))
