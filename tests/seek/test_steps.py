"""A whole search: against a brute-force grid of full shots, written and opened again, stopped and carried on."""

import json
import sys
from itertools import product

import numpy as np
import pytest

import coilwright as cw
from coilwright.errors import BadInput
from coilwright.pack.seek_pictures import seek_pictures
from coilwright.seek.evaluate import Evaluator
from coilwright.seek.figures import FIGURES
from coilwright.seek.record import NAME
from coilwright.steps.heat import heat
from coilwright.steps.seek import seek

from .jobs import SEEK, washer

LOWER = ('"-8 mm"', '"-10 mm"')  # so that three turns have room, too


def one(**more):
    return cw.seek.Effort(processes=1, **more)


@pytest.fixture(scope="module")
def grid():
    """Every point of the bounds of SEEK by full shots: values to (time, apparent power), None where it fails."""
    job, out = washer(SEEK, LOWER), {}
    for turns, amps in product((1, 2, 3), range(280, 701, 84)):
        try:
            shot = heat(job.with_values({"coil.turns": turns, "drive.coil_current": f"{amps} A"}), estimate_error=False)
        except BadInput:
            continue
        if shot.passed:
            coil = shot.trace.coil
            out[turns, amps] = (shot.verdicts[0].details["reached_at_s"], float((coil.voltage * coil.current).max()))
    return out


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    result = seek(washer(SEEK, LOWER), one(folder=folder, most=24))
    result.write(folder)
    return result, folder


def front_of(points):
    return {k for k, a in points.items() if not any(b[0] <= a[0] and b[1] <= a[1] and b != a for b in points.values())}


def places(result):
    return {(p.values["coil.turns"], int(p.values["drive.coil_current"].split()[0])) for p in result.front}


def test_the_front_is_that_of_a_brute_force_grid_of_full_shots(grid, whole):
    result, _ = whole
    assert 4 <= len(grid) < 18  # some fail, so there is something to leave out
    assert places(result) == front_of(grid)
    assert result.evaluations == 18
    assert len(result.explored) == len(grid)
    for p in result.front:
        want = grid[p.values["coil.turns"], int(p.values["drive.coil_current"].split()[0])]
        assert (p.figures["time"], p.figures["coil kVA"]) == want


@pytest.mark.slow  # that breeding comes near a known front stands in test_search
def test_a_search_that_looks_at_a_part_comes_near_that_front(grid):
    """What it found is on the true front or within a tenth of it, and every point of the front has something near."""
    result = seek(washer(SEEK, LOWER), one(evaluations=14, most=6))
    assert result.evaluations == 14
    true = np.log([grid[k] for k in front_of(grid)])
    found = np.log([[p.figures["time"], p.figures["coil kVA"]] for p in result.front])
    # how much every true point must give up for some found point to be no worse (the additive epsilon of the logs)
    assert np.exp(max(min(np.max(f - t) for f in found) for t in true)) < 1.5
    assert len(result.front) >= 3


def test_no_point_of_the_front_beats_another(whole):
    result, _ = whole
    for a, b in product(result.front, repeat=2):
        if a is not b:
            assert not (a.figures["time"] <= b.figures["time"] and a.figures["coil kVA"] <= b.figures["coil kVA"])
    first = [p.figures["time"] for p in result.front]
    assert first == sorted(first)
    assert result.balanced in result.front


def test_a_written_point_gives_exactly_its_figures_again(whole):
    result, folder = whole
    evaluator_of = lambda job: Evaluator(job, tuple(FIGURES[n] for n in ("time", "coil kVA")), ())  # noqa: E731
    for p in result.front[:2]:
        path = folder / p.file
        text = path.read_text(encoding="utf-8")
        assert "# to be wound tight" in text
        again = cw.load(path)
        assert evaluator_of(again)({}, "normal").figures == p.figures
        shot = cw.heat(again, estimate_error=False)
        assert shot.passed
        assert shot.verdicts[0].details["reached_at_s"] == p.figures["time"]
        assert float(shot.trace.coil.current.max()) == p.figures["coil current"]


def test_files_a_job_names_are_found_from_the_written_point(tmp_path):
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "wires.csv").write_text("name,diameter\nthin,3 mm\nthick,4 mm\n", encoding="utf-8")
    more = SEEK.replace("among = [1, 2, 3]", "among = [2]").replace(
        "[[seek.over]]", '[[seek.over]]\nwhat = "coil.conductor"\nstock = "wires.csv"\n[[seek.over]]', 1
    )
    more = more.replace('to = "700 A"', 'to = "448 A"')
    result = seek(washer(more, folder=tmp_path / "shop"), one(most=1))
    assert len(result.front[0].values) == 3
    out = tmp_path / "deep" / "out"
    out.mkdir(parents=True)
    paths = result.write(out)
    again = cw.load(paths[0])
    assert again.later["seek"]["over"][0]["stock"] == "../../shop/wires.csv"
    assert seek(again, one(most=1)).evaluations == result.evaluations


# stopped and carried on --------------------------------------------------------------------------------------------------


class Stop(Exception):
    pass


def stop_after(share):
    def report(done):
        if done >= share:
            raise Stop

    return report


def same(a, b):
    left, right = (r.to_dict() for r in (a, b))
    for data in (left, right):
        del data["time_s"]
    return left == right


@pytest.mark.parametrize(
    "share", [0.5, pytest.param(0.1, marks=pytest.mark.slow), pytest.param(0.85, marks=pytest.mark.slow)]
)
def test_a_stopped_search_carries_on_to_the_same_front(tmp_path, share):
    job = washer(SEEK, LOWER)
    effort = one(evaluations=9, folder=tmp_path / "a", seed=3, most=1)
    with pytest.raises(Stop):
        seek(job, effort, report=stop_after(share))
    record = tmp_path / "a" / NAME
    kept = record.read_text(encoding="utf-8").splitlines()
    # a line that was being written when the power went
    with record.open("a", encoding="utf-8") as file:
        file.write(kept[-1][: len(kept[-1]) // 2])
    carried = seek(job, one(evaluations=9, folder=tmp_path / "a", seed=3, most=1, resume=True))
    straight = seek(job, one(evaluations=9, folder=tmp_path / "b", seed=3, most=1))
    assert same(carried, straight)
    assert carried.computed == straight.computed - (len(kept) - 1)
    for line in record.read_text(encoding="utf-8").splitlines():
        json.loads(line)
    # and once more: everything is known
    assert seek(job, one(evaluations=9, folder=tmp_path / "a", seed=3, most=1)).computed == 0


def test_wider_bounds_use_what_is_known_and_another_job_is_refused(tmp_path):
    seek(washer(SEEK, LOWER), one(evaluations=8, folder=tmp_path, most=1))
    wide = washer(SEEK, LOWER, ('to = "700 A"', 'to = "820 A"'), ('title = "washer"', 'title = "wider"'))
    more = seek(wide, one(evaluations=8, folder=tmp_path, most=1))
    assert 0 < more.computed < more.evaluations + len(more.front) + 1
    before = (tmp_path / NAME).read_bytes()
    for change in (('"40 kHz"', '"44 kHz"'), ('"coil kVA"]', '"coil current"]')):
        with pytest.raises(BadInput, match="belongs to another job"):
            seek(washer(SEEK, LOWER, change), one(folder=tmp_path))
    assert (tmp_path / NAME).read_bytes() == before


def test_a_record_that_is_none_and_one_with_bad_lines(tmp_path):
    (tmp_path / NAME).write_text("shopping list\n", encoding="utf-8")
    with pytest.raises(BadInput, match="is not the record of a search"):
        seek(washer(), one(folder=tmp_path))
    other = tmp_path / "other"
    job = washer(SEEK, LOWER)
    first = seek(job, one(evaluations=8, folder=other, most=1))
    lines = (other / NAME).read_text(encoding="utf-8").splitlines()
    lines[2] = lines[2][:40]
    lines.insert(3, '{"level": "coarse"}')
    (other / NAME).write_text("\n".join(lines) + "\n", encoding="utf-8")
    again = seek(job, one(evaluations=8, folder=other, most=1))
    assert [f.code for f in again.findings if f.code == "seek-record-damaged"]
    assert [p.figures for p in again.front] == [p.figures for p in first.front]
    assert again.computed == 1
    (other / NAME).write_bytes(lines[0].encode()[:30])  # stopped while its very first line was written
    assert seek(job, one(evaluations=8, folder=other, most=1)).computed > 8


def test_resume_wants_something_to_carry_on(tmp_path):
    with pytest.raises(BadInput, match="no search to carry on"):
        seek(washer(), one(folder=tmp_path, resume=True))
    with pytest.raises(BadInput, match="--out"):
        seek(washer(), one(resume=True))
    assert not (tmp_path / NAME).exists()


# what is said --------------------------------------------------------------------------------------------------------------


def test_nothing_passes_is_said_with_what_stops_most_and_by_how_much():
    cold = washer(SEEK, LOWER, ('"200 degC"', '"900 degC"'), ("among = [1, 2, 3]", "among = [1, 2]"))
    result = seek(cold, one())
    assert not result.passed
    assert result.balanced is None
    assert result.nearest
    (finding,) = [f for f in result.findings if f.code == "seek-nothing-passes"]
    assert finding.severity == "serious"
    most = result.stopped[0]
    assert f"[{most.name}]: {most.count} of 12" in finding.text
    assert most.said in finding.text
    assert result.nearest[0].outcome.violation <= result.nearest[-1].outcome.violation


def test_without_pymoo_the_scan_goes_on_and_says_so(monkeypatch):
    monkeypatch.setitem(sys.modules, "pymoo.config", None)
    result = seek(washer(SEEK, LOWER), one(evaluations=8, most=1))
    assert result.evaluations == 8
    assert "seek-scan-only" in [f.code for f in result.findings]
    assert any("coilwright[design]" in f.advice for f in result.findings)


def test_a_front_at_the_end_of_a_bound_is_noted(tmp_path):
    job = washer(SEEK.replace("among = [1, 2, 3]", "among = [2]"), LOWER).with_value("seek.objectives", ["time"])
    result = seek(job, one(most=3))
    assert {"seek-at-bound", "seek-one-point"} <= {f.code for f in result.findings}
    assert result.front[0].values["drive.coil_current"] == "700 A"
    assert result.beats_drawn == result.front
    assert [p.name for p in seek_pictures(result, tmp_path)] == ["front.png", "choices.png"]  # one objective draws, too


def test_the_result_can_be_read_and_drawn(whole, tmp_path):
    result, _ = whole
    data = json.loads(json.dumps(result.to_dict()))
    assert [o["key"] for o in data["objectives"]] == ["time_s", "coil_apparent_power_VA"]
    assert data["front"][0]["figures"]["time_s"] == result.front[0].figures["time"]
    assert data["balanced"] in {p["number"] for p in data["front"]}
    assert sum(s["points"] for s in data["stopped"]) >= 18 - data["passed"]
    assert data["cautions"][-1]["hazard"] == "who decides"
    assert "front of time, coil kVA" in repr(result)
    path = result.plot(tmp_path / "front.png")
    assert path.stat().st_size > 10_000


@pytest.mark.slow  # two workers also stand in the test of a killed search
def test_two_workers_find_what_one_finds(whole):
    result, _ = whole
    pair = seek(washer(SEEK, LOWER), cw.seek.Effort(processes=2, most=24))
    assert same(pair, result)
