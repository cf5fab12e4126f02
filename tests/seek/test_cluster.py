"""The search on a real dask cluster on this machine, found by its address as any other would be."""

import json

import pytest
from distributed import LocalCluster

import coilwright as cw
from coilwright.cli.main import main
from coilwright.steps.seek import seek

from .jobs import SEEK, WASHER, washer

LOWER = ('"-8 mm"', '"-10 mm"')


@pytest.fixture(scope="module")
def address():
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0") as cluster:
        yield cluster.scheduler_address


def test_a_cluster_finds_what_one_process_finds(address, tmp_path, capsys):
    job = tmp_path / "job.toml"
    job.write_text((WASHER + SEEK).replace(*LOWER), encoding="utf-8")
    words = [
        "seek",
        job,
        "--evaluations",
        "8",
        "--points",
        "1",
        "--scheduler",
        address,
        "--out",
        tmp_path / "out",
        "--json",
    ]
    with pytest.raises(SystemExit) as leave:
        main([str(w) for w in words])
    assert leave.value.code == 0
    found = json.loads(capsys.readouterr().out)
    alone = seek(washer(SEEK, LOWER), cw.seek.Effort(evaluations=8, most=1, processes=1)).to_dict()
    assert json.dumps(found["front"]) == json.dumps(alone["front"])
    assert found["evaluations"] == 8
    again = seek(
        cw.load(job), cw.seek.Effort(evaluations=8, most=1, scheduler=address, folder=tmp_path / "out", resume=True)
    )
    assert again.computed == 0


def test_a_cluster_without_workers_or_with_others_is_refused(address, monkeypatch, capsys, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text((WASHER + SEEK).replace(*LOWER), encoding="utf-8")

    def refused(where):
        with pytest.raises(SystemExit) as leave:
            main(["seek", str(job), "--scheduler", where])
        assert leave.value.code == 2
        return capsys.readouterr().err

    with LocalCluster(n_workers=0, processes=True, dashboard_address="127.0.0.1:0") as empty:
        assert "has no workers" in refused(empty.scheduler_address)
    monkeypatch.setattr(cw, "__version__", "9.9")
    assert "here it is 9.9" in refused(address)
