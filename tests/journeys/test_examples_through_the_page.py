"""Every example beside the getter through the page, from the hand calculation to the service report, figure by figure.

One leg after the other on one server, as a person would walk it: by hand, field, shot; then with its machine: tank, pack, the
form of the hand-over brought back, record and limits, a rehearsed fault, its cause, the report; then the window.
"""

import pytest

from .paging import (
    by_hand,
    choose_job,
    filled_in,
    go,
    rehearsed,
    same_cause,
    same_field,
    same_log,
    same_pack,
    same_record,
    same_shot,
    same_tank,
    same_window,
    save,
    taken,
)
from .test_examples import EXAMPLES

# What is rehearsed, in mm of a coil that stands back; full shots the window is built on.
CASES = {
    "brazed-ferrule": (1.5, 24),
    "disc-over-pancake": (1.5, 24),
    "graphite-susceptor": (2.0, 24),
    "hardened-pin": (0.8, 12),
}
# In `make test` as far as the hand calculation; the getter's own journey goes on to the shot there.
QUICK = "disc-over-pancake"
VARIES = '\n[[varies]]\nwhat = "coil.centre"\nby = "0.3 mm"\n'  # INVENTED: how well a coil is set by hand


def examples(*, quick=True):
    """All of them; only the quick one, and only where it is asked for, is not slow."""
    return [pytest.param(n, marks=() if quick and n == QUICK else pytest.mark.slow) for n in sorted(CASES)]


def test_the_list_is_complete():
    assert {p.name for p in EXAMPLES.iterdir() if p.is_dir()} == {*CASES, "indicator-tube-getter"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("examples")
    for example in CASES:
        (out / example).mkdir()
        for name in ("job.toml", "with-tank.toml"):
            (out / example / name).write_bytes((EXAMPLES / example / name).read_bytes())
    return out


@pytest.mark.parametrize("name", examples())
def test_field_and_hand_calculation(page, folder, name):
    choose_job(page, f"{name}/job.toml")
    same_field(page, folder / name / "job.toml")
    by_hand(page, folder / name / "job.toml")


@pytest.mark.parametrize("name", examples(quick=False))
def test_shot(page, folder, name):
    choose_job(page, f"{name}/job.toml")
    assert same_shot(page, folder / name / "job.toml")["verdict"] == "pass"


@pytest.mark.parametrize("name", examples(quick=False))
def test_from_tank_to_service_report(page, folder, tmp_path, monkeypatch, name):
    monkeypatch.setenv("COILWRIGHT_CACHE", str(folder / "kept"))
    machine = folder / name / "with-tank.toml"
    choose_job(page, f"{name}/with-tank.toml")
    tank = same_tank(page, machine)
    same_pack(page, machine, tmp_path / "pack", tank)
    job = filled_in(page, tmp_path / "pack" / "hand-over.csv", machine, tmp_path)
    record = same_record(page, job)
    assert all(r["agrees"] for r in record["readings"] if r["predicted"] is not None)
    case = tmp_path / "case"
    number, told = rehearsed(page, job, case, "coil-back", CASES[name][0])
    same_log(page, number, case / "s.db")
    answer = same_cause(page, job, number, case, told)
    assert told["cause"] in {c["cause"] for c in answer["causes"]}


@pytest.mark.parametrize("name", examples(quick=False))
def test_window_of_what_is_typed_into_the_job(page, folder, name):
    machine = folder / name / "with-tank.toml"
    choose_job(page, f"{name}/with-tank.toml")
    go(page, "Window")
    page.get_by_text("does not say how far anything varies").wait_for()
    go(page, "Job file")
    sheet = page.get_by_label("Text of the job file")
    sheet.fill(sheet.input_value() + VARIES)
    sheet.blur()
    page.locator(".file", has_text="not saved").wait_for()
    save(page)
    assert machine.read_text(encoding="utf-8").endswith(VARIES)
    assert taken(page, "Take this file away").decode() == machine.read_text(encoding="utf-8")
    same_window(page, machine, CASES[name][1])
