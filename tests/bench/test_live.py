"""Quick answers against exact ones, and the process that gives them."""

import asyncio
import json
import os
import signal
import subprocess
import sys

import numpy as np
import pytest

from coilwright.bench.solver import Solver
from coilwright.errors import BadInput
from coilwright.job import loads, template
from coilwright.steps.heat import heat
from coilwright.steps.live import Follower
from tests.bench.server import RING, SHORT
from tests.heating.jobs import washer


@pytest.fixture(scope="module")
def follower():
    ready = Follower()
    ready.settle_field(washer())
    ready.settle_shot(washer())
    ready.took = 0.0  # a busy test machine must not make the curve wait
    return ready


def test_a_curve_carried_to_another_place_agrees_with_the_shot_there(follower):
    """The claim of the page: what is drawn while dragging lies within a few kelvin of the full shot."""
    for changes in ({"coil.centre": "-8.5 mm"}, {"coil.mean_diameter": "25 mm"}, {"drive.coil_current": "210 A"}):
        job = washer().with_values(changes)
        glance = follower.glance(job)
        full = heat(job, every=0.01, estimate_error=False)
        assert glance.trace is not None, glance.waits
        exact = np.interp(glance.trace.time, full.trace.time, full.trace.bodies["washer"].mean)
        assert np.max(np.abs(glance.trace.bodies["washer"].mean - exact)) < 8.0, changes
        assert [v.met for v in glance.verdicts] == [v.met for v in full.verdicts]


def test_quick_numbers_agree_with_the_exact_field_and_say_how_far_they_are_off(follower):
    moved = washer().with_values({"coil.centre": "-9 mm"})
    quick = follower.glance(moved)
    exact, report = follower.settle_field(moved)
    assert quick.field.body_powers["washer"] == pytest.approx(report.result.body_powers["washer"], rel=5e-3)
    assert follower.off.power == pytest.approx(
        abs(quick.field.body_powers["washer"] / report.result.body_powers["washer"] - 1.0), rel=1e-3, abs=1e-6
    )
    assert exact.exact and not quick.exact


def test_other_bodies_make_the_curve_wait(follower):
    bigger = washer().with_values({"body.washer.shape.outer_diameter": "9.5 mm"})
    glance = follower.glance(bigger)
    assert glance.trace is None
    assert "rests" in glance.waits
    exact, _ = follower.settle_field(bigger)  # the hand has rested
    assert "is being computed" in exact.waits
    follower.glance(washer())


def test_an_overlap_is_refused_and_the_follower_goes_on(follower):
    with pytest.raises(BadInput, match="overlap"):
        follower.glance(washer().with_values({"coil.centre": "5.5 mm", "coil.mean_diameter": "9 mm"}))
    assert follower.glance(washer()).field.body_powers["washer"] > 0.0


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ring-through-glass", "bar-in-coil", "pancake-under-disc", "ferrule-to-braze"])
def test_every_kind_of_job_can_be_followed(kind):
    job = loads(template(kind))
    following = Follower()
    glance = following.glance(job)
    exact, _ = following.settle_field(job)
    for name, power in exact.field.body_powers.items():
        assert glance.field.body_powers[name] == pytest.approx(power, rel=0.03, abs=1e-3)


def answered(*questions):
    """Answers of a real worker process."""
    process = subprocess.Popen(
        [sys.executable, "-m", "coilwright.bench.worker"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    for number, question in enumerate(questions):
        process.stdin.write(json.dumps({"id": number, "name": "job.toml", "folder": ".", **question}) + "\n")
    out, _ = process.communicate(timeout=60)
    return [a for a in map(json.loads, out.splitlines()) if "share" not in a]


def test_the_worker_answers_in_order_refuses_in_sentences_and_gives_up_for_a_newer_question():
    glance = {"kind": "glance", "text": SHORT}
    answers = answered(
        glance,
        {**glance, "changes": {"coil.centre": "17 mm"}},
        {**glance, "changes": {"coil.centre": "10 mm"}},
        {**glance, "changes": {"coil.centre": "10"}},
        {"kind": "shot", "text": RING},
        {"kind": "field", "text": "format = 1\n", "lines": True},
        {**glance, "lines": True},
    )
    assert [a["id"] for a in answers] == list(range(7))
    first, second, overlap, unit, given_up, fault, last = answers
    assert first["numbers"]["bodies"]["ring"]["power_W"] > second["numbers"]["bodies"]["ring"]["power_W"] > 0.0
    assert "corners" in first["loss"]
    assert "overlap" in overlap["refused"][0]["what"]
    assert "no unit" in unit["refused"][0]["what"]
    assert given_up == {"id": 4, "given_up": True}
    assert fault["refused"]
    assert last["lines"]["size"][0] > 10
    assert first["numbers"]["bank_voltage_V"] is None


def test_a_solving_process_that_dies_is_started_again():
    async def play():
        solver = Solver()
        question = {"kind": "glance", "text": SHORT, "name": "job.toml", "folder": "."}
        try:
            assert "numbers" in await solver.ask(question)
            os.kill(solver._process.pid, signal.SIGKILL)
            told = await solver.ask(question)
            again = await solver.ask(question)
            assert "numbers" in again, (told, again)
        finally:
            await solver.close()

    asyncio.run(play())
