"""The store as one object: everything that is kept between sessions."""

from __future__ import annotations

from pathlib import Path

from coilwright.store import backup as _backup
from coilwright.store import jobs as _jobs
from coilwright.store import machines as _machines
from coilwright.store import plain_files as _plain_files
from coilwright.store import shelf as _shelf
from coilwright.store import trials as _trials
from coilwright.store.database import Database


class Store(Database):
    """An open store. Close it, or use it in a with block; its verbs are the functions of the modules of this folder."""

    keep_job = _jobs.keep_job
    jobs = _jobs.jobs
    job = _jobs.job_at
    versions_of = _jobs.versions_of
    newest_versions = _jobs.newest_versions
    add_reading = _jobs.add_reading
    readings_of = _jobs.readings_of

    add_trial = _trials.add_trial
    trials_of = _trials.trials_of
    trial = _trials.trial_at
    set_fit = _trials.set_fit
    fitted_of = _trials.fitted_of

    add_coil = _shelf.add_coil
    measure_coil = _shelf.measure_coil
    coils = _shelf.coils
    coil = _shelf.coil_at

    put_can = _shelf.put_can
    measure_can = _shelf.measure_can
    cans = _shelf.cans
    can = _shelf.can_at
    stock = _shelf.stock

    add_hand_over = _machines.add_hand_over
    hand_overs = _machines.hand_overs
    machines = _machines.machine_names

    back_up = _backup.back_up
    export = _plain_files.export


def open_store(place: str | Path | None = None) -> Store:
    """Open the store at `place`: a file (made when it is not there) or postgresql://user@host/name.

    Without a place: what the environment's COILWRIGHT_STORE names, else store.db in the user's data folder. A store of an
    older coilwright is brought up to date. Raises BadInput for a file that is no store, damaged, newer or read-only,
    CoilwrightError when the disk or the database refuses, MissingExtra without the driver of PostgreSQL.
    """
    return Store(place)
