"""A store with something of every kind in it; all invented."""

from coilwright.store.records import (
    CanReading,
    CanRecord,
    CoilReading,
    CoilRecord,
    Fitted,
    HandOverReading,
    HandOverRecord,
    JobReading,
    TrialRecord,
)
from coilwright.store.shots import Aside, Shot, ShotStore
from coilwright.store.summaries import summarise
from coilwright.store.tables import meta

TRACE = b"time;temperature\n0;20\n1;\xb0 311\n\x00\x01"


def fill(store):
    store.keep_job(
        "Ring, 9 mm", "format = 1\n# first\n", note="as sent", origin="/a/job.toml", figures={"mass_kg": 1e-4}
    )
    store.keep_job("Ring, 9 mm", "format = 1\r\n# second: ü\n", note="", origin="/a/job.toml", figures={"depths": 0.5})
    store.keep_job("Cap/brazing \\ two", "format = 1\n# first\n", when=5.25)
    store.add_reading(
        JobReading("Ring, 9 mm", "lcr.csv", ({"what": "inductance", "value": 3.1e-7, "uncertainty": 1e-9},))
    )
    sheet = TrialRecord(
        "Ring, 9 mm", coil="W 12", gap_m=1.5e-3, setting={"dial": 0.4, "none": None}, outcome="glowed, even",
        readings=({"what": "start", "value": 3.2, "uncertainty": 0.1},), events=({"what": "glow", "time_s": 2.5},),
        remark='said "good",\nleft', photo="photos/1.jpg", photo_content=b"\xff\xd8 a ring",
        trace_name="run 1/α.csv", trace=TRACE,
    )  # fmt: skip
    first = store.add_trial(sheet)
    store.set_fit(first.number, {"chi2": 0.9}, [Fitted("body.ring.emissivity", "0.41", "0.03", 2)])
    store.add_trial(TrialRecord("Ring, 9 mm", version=1))
    store.add_trial(TrialRecord("Cap/brazing \\ two", trace=b"", trace_name="empty.csv"))
    reading = CoilReading(1e5, 3.1e-7, 4e-3, 1e-9, 1e-4, "empty", 3.0e-7, 3.8e-3, "LCR meter")
    store.add_coil(CoilRecord("W 12", "Ring, 9 mm", 1, {"winding": "helix", "turns": 4}, "brazed twice", (reading,)))
    store.add_coil(CoilRecord("W 13"))
    ratings = {"frequency": [5e4, 1e5], "voltage": [700.0, 600.0], "reactive_power": [4e4], "current": [80.0]}
    store.put_can(CanRecord("film 0.33", 12, 0.33e-6, 0.05, 5e-4, 8.5, ratings, -2.5e-4, "shelf 3"))
    store.measure_can("film 0.33", CanReading(1e5, 0.325e-6, 1e-9, 2e-3, 1e-4, "bridge"))
    store.put_can(CanRecord("mica", 0, 1e-9))
    kept = (HandOverReading("frequency", 0, 1.01e5, 50.0), HandOverReading("start", 3, 4.8, 0.1, "hot", "loaded", 4.7))
    store.add_hand_over(HandOverRecord("press 2", {"date": "2026-05-04", "by": "k"}, kept, "Ring, 9 mm", 2))
    store.add_hand_over(HandOverRecord("press 3", {}))
    log = ShotStore(store.engine.url.render_as_string(False) if store.path is None else store.path)
    with log, log.delivery("press 4", "older.csv", "d0") as box:
        box.add([Shot(1.7e9 + 9e4 * k, 1, k > 20, f"T{k}", "", "", {"start": 4.0 + k}) for k in range(30)])
    with log:
        summarise(log, "press 4", 5)
    with log, log.delivery("press 2", "log.csv", "d1") as box:
        box.add([Shot(1.7e9 + 0.1 * k, 1 + k % 6, k % 5 == 0, "", "ä", "", {"start": 0.1 * k}) for k in range(30)])
        box.add([Shot(1.8e9, 1, False)])
        box.set_aside([Aside(4, "half-written", "short", "1;2;\n3")])
    return store


def content(store):
    """Every row of every table."""
    with store.reading() as connection:
        return {
            t.name: [tuple(r) for r in connection.execute(t.select().order_by(*t.primary_key))]
            for t in meta.sorted_tables
        }
