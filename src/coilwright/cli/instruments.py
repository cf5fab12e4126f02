"""The command about instruments and their files: reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coilwright.cli.console import print_json, show_findings, table

if TYPE_CHECKING:
    from coilwright.steps.reading import Quantity, ReadingResult

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
_PLAIN = ("", "deg", "degC", "K/s", "1/s")


@dataclass(frozen=True)
class Live:
    """The options of `reading` about an instrument on the bench, as typed."""

    address: str | None = None
    listing: bool = False
    driver: str | None = None
    save: Path | None = None
    job: str | None = None
    store: str | None = None
    backend: str = ""


def read(
    files: Sequence[Path],
    kind: str | None,
    frequency: str | None,
    modes: int | None,
    channels: Sequence[str],
    unit: str | None,
    as_json: bool,
    live: Live | None = None,
) -> int:
    """Print what each file, or the instrument on the bench, holds."""
    from coilwright.errors import BadInput, Fault
    from coilwright.steps.reading import KINDS, reading
    from coilwright.units import UnitFault, parse

    known = next((k for k in KINDS if k == kind), None)
    if kind is not None and known is None:
        raise BadInput(Fault("--as", f'must be one of {", ".join(KINDS)}; received "{kind}"'))
    try:
        hertz = None if frequency is None else parse(frequency, "frequency")
    except UnitFault as fault:
        raise BadInput(Fault("--frequency", str(fault))) from None
    live = live or Live()
    if live.listing:
        return _answering(live.backend, as_json)
    if live.address is None and not files:
        raise BadInput(
            Fault("reading", "needs a file, or --live ADDRESS for an instrument; --instruments lists who answers")
        )
    found = [reading(f, kind=known, frequency=hertz, modes=modes, channels=channels, unit=unit) for f in files]
    if live.address is not None:
        from coilwright.steps.instrument import LiveOptions, live_reading

        options = LiveOptions(live.driver, live.save, live.backend, hertz, channels, modes)
        found.append(live_reading(live.address, kind or "lcr", options))
    if live.job is not None:
        _record(found, live.job, live.store)
    if as_json:
        print_json({"readings": [r.to_dict() for r in found]})
        return 0
    for result in found:
        print(f"{result.file}: {result.kind}")
        print(table([(q.name, *_shown(q)) for q in result.quantities]))
        show_findings(result.findings)
    return 0


def _record(found: Sequence[ReadingResult], job: str, place: str | None) -> None:
    from coilwright.steps.instrument import record_reading
    from coilwright.store.opening import open_store

    with open_store(place) as store:
        for result in found:
            record_reading(result, store, job)


def _answering(backend: str, as_json: bool) -> int:
    from coilwright.readings.live import instruments

    there = instruments(backend)
    if as_json:
        print_json({"instruments": [{"address": a.address, "says": a.says} for a in there]})
    elif there:
        print(table([(a.address, a.says or "does not say who it is") for a in there], ("address", "says")))
    else:
        print("no instrument answers; is it on and connected, and does your system see it?")
    return 0


def _shown(q: Quantity) -> tuple[str, str]:
    factor, prefix = 1.0, ""
    if q.unit not in _PLAIN and q.value != 0.0:
        factor, prefix = next(((f, p) for f, p in _PREFIXES if abs(q.value) >= f), _PREFIXES[-1])
    sigma = "" if q.sigma is None else f"+- {q.sigma / factor:.2g}"
    return f"{q.value / factor:.7g} {prefix}{q.unit}".strip(), sigma
