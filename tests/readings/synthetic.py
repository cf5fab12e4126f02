"""Synthetic captures with known truth; everything seeded."""

import numpy as np

from coilwright.readings.records import Capture, Channel


def digitised(y, bits, full_scale):
    """Samples as an 8- or 12-bit instrument stores them: whole steps, clipped at full scale (peak)."""
    if bits is None:
        return {"samples": y}
    step = 2.0 * full_scale / 2**bits
    half = 2 ** (bits - 1)
    kind = np.int8 if bits <= 8 else np.int16
    return {"samples": np.clip(np.round(y / step), -half, half - 1).astype(kind), "scale": step}


def ringing(rng, modes, rate=50e6, duration=300e-6, noise=0.01, bits=8, full_scale=1.3, offset=0.02, quiet=0):
    """Decaying sinusoids (frequency, q, amplitude, phase) in noise, after `quiet` samples at rest."""
    t = np.arange(round(rate * duration)) / rate
    y = offset + sum(a * np.exp(-np.pi * f / q * t) * np.cos(2 * np.pi * f * t + p) for f, q, a, p in modes)
    y = np.concatenate([np.full(quiet, offset), y]) + noise * rng.standard_normal(len(t) + quiet)
    return Capture((Channel("U", unit="V", **digitised(y, bits, full_scale)),), 1.0 / rate, origin="synthetic")


def shot(rng, frequency, voltage, current, lag, rate=10e6, duration=5e-3, noise=0.005, on=None, third=0.0):
    """Two channels of a running source: rms values, `lag` rad of the current, `third` share of third harmonic in the voltage."""
    t = np.arange(round(rate * duration)) / rate
    turn = 2 * np.pi * frequency * t
    gate = np.ones_like(t) if on is None else ((t >= on[0]) & (t < on[1])).astype(float)
    u = np.sqrt(2) * voltage * gate * (np.sin(turn) + third * np.sin(3 * turn))
    i = np.sqrt(2) * current * gate * np.sin(turn - lag)
    u = u + noise * voltage * rng.standard_normal(len(t))
    i = i + noise * current * rng.standard_normal(len(t))
    return Capture((Channel("U", u, "V"), Channel("I", i, "A")), 1.0 / rate, origin="synthetic")
