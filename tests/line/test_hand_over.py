"""The hand-over record: hot and empty machines, the model beside it, one coil moved on purpose."""

import math
from dataclasses import replace

import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.line.limits import limits
from coilwright.line.machine import Signature, baseline
from coilwright.line.plant import Condition
from coilwright.line.posterior import build_board
from coilwright.line.record import guided_step, look
from coilwright.line.signature import setback_gain
from coilwright.line.taken import Readings, Taken, from_tables
from coilwright.line.why import predicted_healthy, why
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from tests.line.machines import board, ring_job


def reading(what, value, **more):
    lines = [
        f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}"
        for k, v in {"what": what, "value": value, **more}.items()
    ]
    return "[[machine.reading]]\n" + "\n".join(lines) + "\n"


def test_hot_readings_against_a_full_shot():
    """The end of a full shot at the machine's own accuracy: what f, Q, current and power read while the part is hot."""
    trace = heat(ring_job(1, control="current"), estimate_error=False).trace
    told = predicted_healthy(board(1, control="current").plant)
    r, x = trace.coil.resistance, trace.coil.inductance
    assert told["frequency-hot"] / told["frequency"] == pytest.approx(math.sqrt(x[0] / x[-1]), abs=2e-4)
    assert told["q-hot"] / told["q"] == pytest.approx(x[-1] / x[0] * r[0] / r[-1], rel=0.01)
    assert told["coil-current-hot"] == pytest.approx(told["coil-current"], rel=1e-9)  # the source holds it
    assert told["source-power-hot"] / told["source-power"] == pytest.approx(r[-1] / r[0], rel=0.01)


def test_empty_readings_against_the_field():
    job = ring_job(1, control="current")
    report = field(job, estimate_error=False)
    loaded, empty = report.result.loaded, report.result.unloaded
    leads = report.leads
    told = predicted_healthy(board(1, control="current").plant)
    l1, l0 = (z.inductance + leads.inductance for z in (loaded, empty))
    r1, r0 = (z.resistance + leads.resistance for z in (loaded, empty))
    assert told["frequency-empty"] / told["frequency"] == pytest.approx(math.sqrt(l1 / l0), abs=2e-4)
    assert told["q-empty"] / told["q"] == pytest.approx(l0 / l1 * r1 / r0, rel=0.01)
    assert told["source-power-empty"] / told["source-power"] == pytest.approx(r0 / r1, rel=0.01)
    assert told["inductance"] == pytest.approx(l1, rel=0.005)
    assert told["resistance-empty"] == pytest.approx(r0, rel=0.01)


def test_hot_and_empty_values_of_the_record_are_the_healthy_ones():
    more = "\n[machine]\n" + reading("frequency", "350 kHz") + reading("frequency", "349 kHz", condition="hot")
    more += reading("q", 70, state="empty")
    base = baseline(ring_job(more=more))
    assert {k: v[0] for k, v in base.values.items()} == {
        ("frequency", 0): 350e3, ("frequency-hot", 0): 349e3, ("q-empty", 0): 70.0,
    }  # fmt: skip
    raw = {"reading": [
        {"what": "frequency", "value": "349.1 kHz", "condition": "hot"}, {"what": "q", "value": 68, "state": "empty"},
    ]}  # fmt: skip
    hot, empty = from_tables(raw, "r.toml", base, 6).taken
    assert (hot.what, empty.what) == ("frequency-hot", "q-empty")
    assert hot.value == pytest.approx(math.log(349.1 / 349))
    assert empty.value == pytest.approx(math.log(68 / 70))


def test_an_empty_machine_clears_the_parts():
    """A loose joint and a lot of parts that take less both lower the Q; with all parts out only the joint is left."""
    b = board()
    c = Condition.healthy(1, 6)
    c.joint[:] = 0.12
    got = b.plant.predict(c).ratios
    names = ("q", "frequency", "coil-current")
    cold = tuple(Taken(w, 0, float(got[w][0]), 0.01 if w != "frequency" else 1e-3) for w in names)
    more = tuple(Taken(w, 0, float(got[w][0]), 0.01) for w in ("q-empty", "coil-current-empty", "source-power-empty"))
    less, full = why(b, Readings(cold)), why(b, Readings((*cold, *more)))
    joint = [next((r.probability for r in a.ranked if r.key == "joint-loose"), 0.0) for a in (less, full)]
    assert full.ranked[0].key == "joint-loose"
    assert joint[1] > joint[0] + 0.05


@pytest.mark.parametrize(("more", "said"), [
    (reading("pick-up", "1 V", station=1, condition="hot"), "pick-up is not read hot, only frequency"),
    (reading("mains", "230 V", state="empty"), "not read empty"),
    ("[machine.moved]\nstation = 1\nback = \"0 mm\"\n", "between 0.01 mm"),
    ("[machine.moved]\nstation = 1\nback = \"1 kg\"\n", "back"),
    ("[machine.moved]\nstation = 1\nback = \"1 mm\"\nchange = { smell = 0.9 }\n", "smell"),
    ("[machine.moved]\nstation = 1\nback = \"1 mm\"\n[[machine.moved.reading]]\nwhat = \"pick-up\"\n"
     "before = \"1 V\"\nafter = \"0 V\"\n", "greater than zero"),
    ("control = \"power\"\n", "make them agree"),
])  # fmt: skip
def test_a_faulty_record_is_refused_in_words(more, said):
    with pytest.raises(BadInput, match=said):
        baseline(ring_job(more="\n[machine]\n" + more))


def moved(gain, sigma=0.004, back=1e-3, noise=0.0, rng=None, what=("pick-up", "start", "gauge-step")):
    """What a machine whose setbacks do `gain` times as much shows when coil 2 is moved."""
    c = Condition.healthy(1, 6)
    c.coil_back[0, 1] = back
    got = replace(board().plant, gain=gain).predict(c).ratios
    jitter = (lambda: 0.0) if rng is None else (lambda: noise * rng.standard_normal())
    return Signature(2, back, 1e-6, {w: (float(got[w][0, 1]) + jitter(), sigma) for w in what})


@pytest.mark.parametrize("gain", [0.7, 1.0, 1.4])
def test_the_moved_coil_gives_the_gain(gain):
    found = setback_gain(board().plant, moved(gain))
    assert found.measured
    assert found.value == pytest.approx(gain, abs=0.02)
    assert found.sigma < 0.06


def test_the_stated_uncertainty_of_the_gain_covers():
    rng = np.random.default_rng(4)
    inside = []
    for _ in range(30):
        found = setback_gain(board().plant, moved(1.25, 0.02, noise=0.02, rng=rng, what=("pick-up", "gauge-step")))
        inside.append(abs(found.value - 1.25) < 1.645 * found.sigma)
    assert np.mean(inside) > 0.75


def test_readings_that_contradict_each_other_widen_it():
    agreed, both = moved(1.3), moved(1.3)
    other = {**both.changes, "start": moved(0.8).changes["start"]}
    wide = setback_gain(board().plant, replace(both, changes=other))
    assert wide.sigma > 3.0 * setback_gain(board().plant, agreed).sigma


def test_limits_close_in_with_the_measured_gain():
    plain, steep = limits(board(), ring_job()), limits(build_board(board().plant, moved(1.5)), ring_job())

    def red(found):
        return next(x for x in found if (x.what, x.station, x.driven_by) == ("setback", 2, "coil moves back"))

    assert red(steep).red == pytest.approx(red(plain).red / 1.5, rel=0.02)
    assert 0.0 < red(steep).doubt < 0.1 * red(steep).red


def test_a_total_that_moves_more_than_the_model_says_is_learnt():
    """Metal beside the coil may shift the frequency where the model sees nothing; afterwards the frequency speaks."""
    signature = replace(moved(1.0), changes={**moved(1.0).changes, "frequency": (-1.5e-3, 1e-4)})
    taught = build_board(board().plant, signature)
    slope, sigma = taught.gain.slopes["frequency"]
    assert -1.5 < slope < -1.3  # the model itself says the rest
    assert sigma == pytest.approx(0.1, rel=0.01)
    index = next(k for k, c in enumerate(taught.causes) if (c.key, c.stations) == ("coil-back", (3,)))
    sizes, shown = taught.causes[index].grid.coil_back[:, 2], taught.column("frequency", 0)[taught.owner == index]
    assert np.interp(1e-3, sizes, shown) == pytest.approx(-1.5e-3, rel=0.02)


def test_the_guided_step_says_what_ought_to_happen():
    step = guided_step(board(), ring_job(), 2, 1e-3)
    rows = {s.what: s for s in step.rows}
    assert rows["pick-up"].seen
    assert not rows["frequency"].seen
    assert "Isolate" in step.steps[1]
    assert "[machine.moved]" in step.to_fill_in
    assert not step.gain.measured


def test_the_record_beside_the_model():
    more = '\n[machine]\ncontrol = "voltage"\n' + reading("frequency", "351 kHz")
    more += "".join(reading("pick-up", v, station=k) for k, v in ((1, "1.50 V"), (2, "1.51 V"), (3, "1.20 V")))
    found = look(board(), ring_job(more=more))
    rows = {(r.what, r.station): r for r in found.rows}
    assert found.control == "voltage"
    assert rows["frequency", 0].against == "model"
    assert rows["frequency", 0].agrees
    assert rows["pick-up", 3].against == "stations"
    assert not rows["pick-up", 3].agrees
    assert any("signature" in m for m in found.lacking)
