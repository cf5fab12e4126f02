"""Contents of a pack without its slow parts: cold field on coarse meshes, and the shot and tank only where asked for."""

from dataclasses import fields
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace

from coilwright.job import load, loads
from coilwright.job.schema_documents import read_documents
from coilwright.job.schema_workshop import read_workshop
from coilwright.pack.contents import PackContents, TitleBlock
from coilwright.steps.check import check
from coilwright.steps.field import field
from coilwright.steps.heat import heat
from coilwright.steps.tank import tank

EXAMPLES = Path(__file__).parents[2] / "examples"
JOBS = (
    "brazed-ferrule/job.toml",
    "disc-over-pancake/job.toml",
    "graphite-susceptor/job.toml",
    "hardened-pin/job.toml",
    "indicator-tube-getter/job.toml",
    "indicator-tube-getter/six-stations.toml",
)
FERRULE = (EXAMPLES / JOBS[0]).read_text(encoding="utf-8")


def title(job):
    return TitleBlock(
        job.title, "EX-7", "A", "2025-01-15", "Example Works (invented)", "Example Shop (invented)", "", "", job.name,
        "0123456789ab", "0.1.0",
    )  # fmt: skip


def contents_of(job, *, shot=None, report=None, window=None, passed=True):
    """PackContents of a job; what is not needed by drawings and tables stays None."""
    have = {
        "job": job,
        "title": title(job),
        "documents": read_documents(job),
        "workshop": read_workshop(job),
        "check": check(job),
        "field": field(job, level="coarse", estimate_error=False),
        "shot": shot or SimpleNamespace(passed=passed),
        "tank": report,
        "window": window,
        "cautions": (),
        "distances": (),
        "missing": {},
        "drawn": {},
    }
    return PackContents(**{f.name: have.get(f.name) for f in fields(PackContents)})


@lru_cache(maxsize=16)
def example(name):
    """An example as far as drawings need it; the files with a tank get shot and tank too."""
    job = load(EXAMPLES / name)
    if name.endswith("with-tank.toml"):
        report = tank(job).report
        return contents_of(job, shot=report.shot, report=report)
    return contents_of(job)


@lru_cache(maxsize=4)
def with_shot(name):
    job = load(EXAMPLES / name)
    return contents_of(job, shot=heat(job, estimate_error=False))


def with_coil(coil, more=""):
    """The ferrule with another coil."""
    a, b = FERRULE.index("[coil]"), FERRULE.index("[drive]")
    return loads(f"{FERRULE[:a]}{coil}\n{FERRULE[b:]}{more}", folder=EXAMPLES / "brazed-ferrule")


LEADS = 'leads = { length = "100 mm", spacing = "12 mm" }\n'
TUBE = 'conductor = { section = "round tube", outside = "6 mm", bore = "4 mm" }\n'
COILS = {
    "listed": '[coil]\nwinding = "turns"\nturn = [{ mean_diameter = "40 mm", z = "0 mm" }, '
    '{ mean_diameter = "40 mm", z = "8 mm" }, { mean_diameter = "60 mm", z = "8 mm" }]\n' + TUBE + LEADS,
    "single": '[coil]\nwinding = "helix"\nturns = 1\nmean_diameter = "40 mm"\ncentre = "11 mm"\n' + TUBE + LEADS,
    "rectangular": '[coil]\nwinding = "helix"\nturns = 2.5\nmean_diameter = "40 mm"\npitch = "10 mm"\n'
    'conductor = { section = "rectangular tube", width = "6 mm", height = "8 mm", wall = "1 mm" }\n' + LEADS,
    "litz": '[coil]\nwinding = "helix"\nturns = 6\nmean_diameter = "50 mm"\npitch = "6 mm"\n'
    'conductor = { section = "litz", diameter = "5 mm", strands = 800, strand_diameter = "0.1 mm" }\n',
    "wire": '[coil]\nwinding = "helix"\nturns = 4\nmean_diameter = "50 mm"\npitch = "6 mm"\n'
    'conductor = { section = "round wire", diameter = "3 mm" }\n' + LEADS,
    "strip": '[coil]\nwinding = "spiral"\nturns = 5\ninner_diameter = "40 mm"\nouter_diameter = "80 mm"\ncentre = "-16 mm"\n'
    'conductor = { section = "strip", width = "2 mm", height = "8 mm" }\n' + LEADS,
}  # fmt: skip


@lru_cache(maxsize=16)
def other_coil(name, hand="right"):
    more = "" if hand == "right" else f'\n[workshop]\nhand = "{hand}"\n'
    return contents_of(with_coil(COILS[name], more))
