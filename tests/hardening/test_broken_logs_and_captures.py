"""Logs, maps and instrument files with damage: every one is read or refused in a sentence, and what was kept before stays."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from coilwright.errors import CoilwrightError
from coilwright.line.log import add_log
from coilwright.line.mapping import read_map
from coilwright.steps.reading import reading
from coilwright.store.shots import Shot, ShotStore
from tests.line.test_log import HEAD, MAP, NOW

from .damage import blows, damage


def row(k):
    when = f"2026-05-{4 + k // 48:02d}T{8 + k // 6 % 8:02d}:0{k % 6}:00"
    return f"{when};{k % 6 + 1};{'NOK' if k % 11 == 0 else 'OK'};T{k // 6};A;{4800 + k},5\n"


LOG = (HEAD + "".join(map(row, range(48)))).encode()
KEPT = [Shot(NOW + 60.0 * k, 1 + k % 6, k % 7 > 0, f"T{k}", "B", "", {"start": 4.5}) for k in range(12)]
few = settings(max_examples=100, deadline=None, database=None, suppress_health_check=list(HealthCheck))
many = settings(few, max_examples=2000)


def proper(error):
    """A refusal that a person can read."""
    text = str(error)
    assert 10 < len(text) < 4000
    assert not any(word in text for word in ("Traceback", "object at 0x", "pydantic", "<class"))


def content(store):
    """Everything kept of the press that the damaged files are not about."""
    return (
        store.tally("other press", ["station"]).to_dict(),
        store.readings("other press", "start")[0].tolist(),
        store.span("other press"),
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("damaged")


@pytest.fixture(scope="module")
def store(folder):
    with ShotStore(folder / "log.db") as opened:
        with opened.delivery("other press", "before", "d") as put:
            put.add(KEPT)
        yield opened


@pytest.fixture(scope="module")
def before(store):
    return content(store)


def one_log(folder, store, before, hits, lines):
    """A damaged delivery: each row is kept, known already or set aside, or the file is refused whole."""
    file = folder / "log.csv"
    file.write_bytes(damage(LOG, hits) + lines.encode("utf-8", "surrogatepass"))
    (folder / "map.toml").write_text(MAP, encoding="utf-8")
    try:
        got = add_log(file, read_map(folder / "map.toml"), store, NOW)
    except CoilwrightError as error:
        proper(error)
    else:
        assert got.rows == got.written + got.known + sum(got.aside.values())
    assert content(store) == before


def one_map(folder, store, before, hits):
    (folder / "whole.csv").write_bytes(LOG)
    file = folder / "bad-map.toml"
    file.write_bytes(damage(MAP.encode(), hits))
    try:
        mapping = read_map(file)
        if mapping.machine != "other press":
            add_log(folder / "whole.csv", mapping, store, NOW)
    except CoilwrightError as error:
        proper(error)
    assert content(store) == before


TIME = np.arange(400) * 1e-7
RING = np.exp(-TIME / 2e-5) * np.cos(2e6 * TIME)
FREQUENCY = np.linspace(5e4, 5e5, 21)


def lines(head, text):
    return (head + "\n" + "".join(text)).encode()


NAMED = {
    "scope.csv": lines(
        "time [s],CH1 [V],CH2 [A]", (f"{t:.3e},{v:.6f},{2 * v:.6f}\n" for t, v in zip(TIME, RING, strict=True))
    ),
    "meter.csv": lines("Frequency [Hz],Ls [uH],Rs [mohm]", (f"{f:.0f},0.85,{f / 1e4:.2f}\n" for f in FREQUENCY)),
    "net.s1p": lines("! test\n# Hz S RI R 50", (f"{f:.0f} -0.99 {f / 1e7:.5f}\n" for f in FREQUENCY)),
    "trace.csv": lines("time [s],spot [degC]", (f"{0.1 * k:.1f},{20 + 3 * k}\n" for k in range(60))),
}
HOW = st.sampled_from([{}, {"modes": 1}, {"frequency": 1e5}])


def binary(folder):
    file = folder / "capture.npz"
    np.savez(file, time=TIME, CH1=RING)
    return file.read_bytes()


def one_capture(folder, name, data, hits, how):
    """A damaged file of an instrument, and the file itself stays as it was found."""
    file = folder / name
    broken = damage(data, hits)
    file.write_bytes(broken)
    try:
        got = reading(file, **how)
    except CoilwrightError as error:
        proper(error)
    else:
        assert got.quantities
    assert file.read_bytes() == broken


def test_the_files_are_read_before_they_are_damaged(folder, store):
    (folder / "good.csv").write_bytes(LOG)
    (folder / "good.toml").write_text(MAP, encoding="utf-8")
    with ShotStore(folder / "good.db") as fresh:
        got = add_log(folder / "good.csv", read_map(folder / "good.toml"), fresh, NOW)
    assert (got.rows, got.written, dict(got.aside)) == (48, 48, {})
    for name, data in {**NAMED, "capture.npz": binary(folder)}.items():
        (folder / name).write_bytes(data)
        assert reading(folder / name, frequency=1e5).quantities, name


@seed(1)
@few
@given(hits=blows, lines=st.text(max_size=60))
def test_broken_logs(folder, store, before, hits, lines):
    one_log(folder, store, before, hits, lines)


@seed(1)
@few
@given(hits=blows)
def test_broken_maps(folder, store, before, hits):
    one_map(folder, store, before, hits)


@seed(1)
@few
@given(name=st.sampled_from(sorted([*NAMED, "capture.npz"])), hits=blows, how=HOW)
def test_broken_captures(folder, name, hits, how):
    one_capture(folder, name, NAMED.get(name) or binary(folder), hits, how)


@pytest.mark.slow
@seed(2)
@many
@given(hits=blows, lines=st.text(max_size=60))
def test_two_thousand_broken_logs(folder, store, before, hits, lines):
    one_log(folder, store, before, hits, lines)


@pytest.mark.slow
@seed(2)
@many
@given(hits=blows)
def test_two_thousand_broken_maps(folder, store, before, hits):
    one_map(folder, store, before, hits)


@pytest.mark.slow
@seed(2)
@many
@given(name=st.sampled_from(sorted([*NAMED, "capture.npz"])), hits=blows, how=HOW)
def test_two_thousand_broken_captures(folder, name, hits, how):
    one_capture(folder, name, NAMED.get(name) or binary(folder), hits, how)
