"""A finished trial put into the store: its sheet, its trace, what it taught."""

from __future__ import annotations

import datetime
import time
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault
from coilwright.job import Job
from coilwright.steps.store import keep
from coilwright.store.opening import Store
from coilwright.store.records import Fitted, TrialRecord
from coilwright.trials.result import TrialResult
from coilwright.trials.sheet import TrialSheet
from coilwright.units import UnitFault, parse


def keep_trial(
    job: Job, result: TrialResult, store: Store, *, name: str | None = None, sheet_folder: Path | None = None
) -> TrialRecord:
    """Keep the job file (when it is not kept yet), the trial with its trace and photograph, and the fitted values.

    A photograph is looked for beside the sheet (`sheet_folder`), beside the trace, then here; what is not found leaves its
    name, and no `photo_digest`. Raises BadInput, e.g. when another job of that name is kept already.
    """
    version = keep(job, store, name=name).version
    sheet, trace = result.measured.sheet, Path(result.measured.origin)
    record = TrialRecord(
        job=version.job,
        when=_when(sheet, trace),
        version=version.number,
        coil=sheet.trial.coil,
        gap_m=_gap(sheet),
        setting={"as written": sheet.trial.setting, "changes": dict(sheet.changes)},
        readings=tuple(
            {"what": r.what, "value": r.amount, "uncertainty": r.sigma, "time_s": r.at} for r in sheet.reading
        ),
        events=tuple({"what": e.what, "time_s": e.at, "uncertainty_s": e.sigma} for e in sheet.event),
        outcome=sheet.trial.outcome,
        remark="\n".join(x for x in (sheet.trial.remark, sheet.trial.next) if x),
        photo=_photo(sheet.trial.photo, sheet_folder or trace.parent, trace.parent),
        trace_name=f"{sheet.trial.name}: {trace.name}",
        trace=trace.read_bytes(),
    )
    added = store.add_trial(record)
    if added.number is not None:
        store.set_fit(added.number, _fit(result), [_taught(f) for f in result.fitted if not f.unknown.aside])
    return added


def _when(sheet: TrialSheet, trace: Path) -> float:
    """Noon of the day on the sheet, else when the trace was written (s since 1970)."""
    if sheet.trial.date:
        try:
            day = datetime.date.fromisoformat(sheet.trial.date)
        except ValueError:
            what = f'must be a day such as 2026-03-04; received "{sheet.trial.date[:40]}"'
            raise BadInput(Fault("trial sheet: trial.date", what)) from None
        return datetime.datetime.combine(day, datetime.time(12)).timestamp()
    return trace.stat().st_mtime if trace.exists() else time.time()


def _photo(named: str, *folders: Path) -> str:
    """The path of the photograph that a sheet names, as named when it is nowhere."""
    found = (f / named for f in folders if named and (f / named).is_file())
    return str(next(found, named))


def _gap(sheet: TrialSheet) -> float | None:
    """The gap of the sheet where it is a length; words stay in the sheet."""
    try:
        return parse(sheet.trial.gap, "length")
    except UnitFault:
        return None


def _fit(result: TrialResult) -> dict[str, Any]:
    told = result.to_dict()
    kept = ("fitted", "correlation", "nuisances", "compared", "calorimetry", "error", "findings")
    return {"trial": result.name, **{k: told[k] for k in kept}}


def _taught(f: Any) -> Fitted:
    x = f.unknown
    half = f.after.sigma / abs(f.after.value) if f.after.value else 0.0
    uncertainty = f"{100.0 * half:.2g} %" if x.scale != "linear" else x.shown(f.after.sigma, 2)
    return Fitted(x.key, str(x.text(f.after.value, 5)), uncertainty)
