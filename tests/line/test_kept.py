"""A solved machine kept from one question to the next: exact, never stale, never in the way."""

from dataclasses import replace

import numpy as np
import pytest

from coilwright.line import kept
from coilwright.line.plant import Condition
from coilwright.line.why import machine_board
from tests.line.machines import board, ring_job


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv(kept.VARIABLE, str(tmp_path / "kept"))
    return tmp_path / "kept"


def _asked(job, *given):
    """The kept or made machine, and whether it was made."""
    made = []

    def build(job, *given):
        made.append(given)
        return replace(board().plant, spread=given[0] if given else 0.04)

    return kept.kept_plant(job, build, *given), bool(made)


def test_a_kept_machine_predicts_exactly_what_it_did(folder):
    made, fresh = _asked(ring_job())
    again, anew = _asked(ring_job())
    assert (fresh, anew) == (True, False)
    states = Condition.healthy(6, 6)
    for name in ("coil_back", "sideways", "tilt", "resistivity", "cut", "short"):
        getattr(states, name)[1, 2] = 0.1e-3 if name == "coil_back" else 0.3e-3 if name == "sideways" else 0.3
    a, b = made.predict(states), again.predict(states)
    assert all(np.array_equal(a.ratios[k], b.ratios[k]) for k in a.ratios)
    assert np.array_equal(a.bad, b.bad)


@pytest.mark.parametrize("change", [
    {"drive.coil_current": "140 A"}, {"body.ring.shape.wall": "0.31 mm"}, {"fixture.stations": 5}, {"accept.1.within": "6.5 s"},
])  # fmt: skip
def test_a_changed_job_is_solved_anew(folder, change):
    _asked(ring_job())
    assert _asked(ring_job().with_values(change))[1]


def test_so_is_one_with_another_record(folder):
    _asked(ring_job(), 0.04, None)
    assert not _asked(ring_job(), 0.04, None)[1]
    assert _asked(ring_job(), 0.05, None)[1]
    assert _asked(ring_job(), 0.04, 75.0)[1]


def test_a_file_the_job_names_counts(folder, tmp_path):
    drawing = tmp_path / "part.dxf"
    job = replace(ring_job(), folder=tmp_path, document={**ring_job().document, "part": {"file": "part.dxf"}})
    drawing.write_text("one", encoding="utf-8")
    assert _asked(job)[1]
    assert not _asked(job)[1]
    drawing.write_text("two", encoding="utf-8")
    assert _asked(job)[1]


def test_a_text_that_names_a_device_or_a_folder_is_only_a_text(folder, tmp_path):
    names = ["/dev/zero", "/", ".", "/proc/kmsg", "\x00", "x" * 250]
    job = replace(ring_job(), folder=tmp_path, document={**ring_job().document, "notes": names})
    assert _asked(job)[1]
    assert not _asked(job)[1]


def test_another_version_of_the_program_solves_anew(folder, monkeypatch):
    _asked(ring_job())
    monkeypatch.setattr(kept, "_program", lambda: b"another version")
    assert _asked(ring_job())[1]


@pytest.mark.parametrize(
    "spoil", [lambda t: t[: len(t) // 2], lambda t: t.replace("1", "2"), lambda t: "", lambda t: "{}\n{}"]
)
def test_a_spoilt_file_is_not_believed(folder, spoil):
    _asked(ring_job())
    (path,) = folder.glob("*.json")
    path.write_text(spoil(path.read_text(encoding="utf-8")), encoding="utf-8")
    assert _asked(ring_job())[1]
    assert not _asked(ring_job())[1]


def test_nowhere_to_keep_it_is_no_matter(folder):
    folder.write_text("a file where the folder should be", encoding="utf-8")
    assert _asked(ring_job())[1]
    assert _asked(ring_job())[1]


def test_off_keeps_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(kept.VARIABLE, "off")
    assert all(_asked(ring_job())[1] for _ in range(2))
    assert not list(tmp_path.iterdir())


def test_only_the_newest_stay(folder, monkeypatch):
    monkeypatch.setattr(kept, "_MOST", 3)
    for k in range(5):
        _asked(ring_job(), 0.01 * k)
    assert len(list(folder.iterdir())) == 3
    assert not _asked(ring_job(), 0.04)[1]


def test_the_verb_uses_it(folder, monkeypatch):
    first = machine_board(ring_job())
    monkeypatch.setattr("coilwright.line.why.build_plant", lambda *given: pytest.fail("solved again"))
    second = machine_board(ring_job())
    assert np.array_equal(first.outcome.power, second.outcome.power)
