"""Captures in NPZ and HDF5 files: samples stay in the type of the file, so a long capture fits in memory.

Both hold named one-dimensional arrays. The time is given by `step` (and `start`) as scalars, or by an array named
`time` or `t`, or named by option. A channel may have companions `<name>_scale`, `<name>_offset` and `<name>_unit`
(in HDF5 attributes `scale`, `offset`, `unit`). NPZ files with pickled objects are refused: they could run code.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from coilwright.errors import BadInput, Fault, MissingExtra
from coilwright.readings.checks import even_step, rising_time
from coilwright.readings.records import Capture, Channel

_BLOCK = 2_000_000
_STEP_NAMES = ("step", "dt", "sample_interval", "interval")
_START_NAMES = ("start", "t0", "start_time")
_TIME_NAMES = ("time", "t")
_COMPANIONS = ("_scale", "_offset", "_unit")


def read_npz(path: str | Path, columns: Sequence[str] | None = None, time: str | None = None) -> Capture:
    """Read a capture saved as NPZ; `columns` the channels to keep (else all), `time` the name of the time array.

    Raises BadInput for pickled objects, a damaged archive, arrays of different length, NaN, uneven or backward time.
    """
    where = str(path)
    try:
        with Path(path).open("rb") as file, np.load(file, allow_pickle=False) as archive:
            names = list(archive.files)
            wanted = _wanted(names, columns, time, where)
            loaded = {n: _load(archive, n, where) for n in names if n in wanted or _describes(n, wanted, time)}
    except (OSError, ValueError, zipfile.BadZipFile, EOFError) as error:
        detail = "holds pickled objects" if "pickle" in str(error).lower() else "is not a whole NPZ file"
        raise BadInput(Fault(where, f"{detail}; save it again with numpy.savez from plain arrays")) from None
    scalars = {n: a for n, a in loaded.items() if a.ndim == 0}
    arrays = {n: a for n, a in loaded.items() if a.ndim > 0}
    settings = {
        n: (_text(scalars, n, "unit"), _number(scalars, n, "scale", 1.0), _number(scalars, n, "offset", 0.0))
        for n in wanted
    }
    return _assemble(arrays, scalars, settings, wanted, time, where)


def read_hdf5(
    path: str | Path, columns: Sequence[str] | None = None, time: str | None = None, group: str = "/"
) -> Capture:
    """Read a capture from one group of an HDF5 file; options as in read_npz. Needs the package h5py (extra
    `instruments`).
    """
    try:
        import h5py
    except ImportError:
        raise MissingExtra("h5py", "instruments", "reading HDF5 captures") from None
    where = str(path)
    try:
        with h5py.File(Path(path), "r") as file:
            if group not in file:
                raise BadInput(Fault(where, f'has no group "{group}"; it has {", ".join(file)}'))
            node = file[group]
            sets = {n: d for n, d in node.items() if isinstance(d, h5py.Dataset)}
            scalars: dict[str, Any] = {n: np.asarray(v) for n, v in node.attrs.items()}
            scalars |= {n: np.asarray(d[()]) for n, d in sets.items() if d.ndim == 0}
            names = [n for n, d in sets.items() if d.ndim > 0]
            wanted = _wanted([*names, *scalars], columns, time, where)
            arrays = {n: np.asarray(sets[n][()]) for n in names if n in wanted or _describes(n, wanted, time)}
            settings = {}
            for n in wanted:
                marks = sets[n].attrs
                unit = marks.get("unit", "")
                text = unit.decode() if isinstance(unit, bytes) else str(unit)
                settings[n] = (text, float(marks.get("scale", 1.0)), float(marks.get("offset", 0.0)))
    except OSError:
        raise BadInput(Fault(where, "is not a whole HDF5 file; copy it again from the instrument")) from None
    return _assemble(arrays, scalars, settings, wanted, time, where)


def _describes(name: str, wanted: Iterable[str], time: str | None) -> bool:
    companions = {w + tail for w in wanted for tail in _COMPANIONS}
    return name in companions or name in (*_STEP_NAMES, *_START_NAMES, *_TIME_NAMES) or name == time


def _wanted(names: Sequence[str], columns: Sequence[str] | None, time: str | None, where: str) -> list[str]:
    special = {*_STEP_NAMES, *_START_NAMES, *_TIME_NAMES, *([time] if time else [])}
    channels = [n for n in names if n not in special and not any(n == m + t for m in names for t in _COMPANIONS)]
    for name in columns or ():
        if name not in channels:
            raise BadInput(Fault(where, f'has no channel "{name}"; it has {", ".join(channels)}'))
    if not channels:
        raise BadInput(Fault(where, f"holds no channel, only {', '.join(names) or 'nothing'}"))
    return list(columns) if columns else channels


def _load(archive: Any, name: str, where: str) -> np.ndarray[Any, np.dtype[Any]]:
    array = np.asarray(archive[name])
    if array.ndim > 1:
        raise BadInput(
            Fault(
                where,
                f'array "{name}" must have one dimension, it has shape {array.shape}; save each channel by itself',
            )
        )
    return array


def _number(scalars: Mapping[str, Any], name: str, what: str, default: float) -> float:
    return float(scalars.get(f"{name}_{what}", default))


def _text(scalars: Mapping[str, Any], name: str, what: str) -> str:
    return str(scalars.get(f"{name}_{what}", ""))


def _assemble(
    arrays: Mapping[str, Any],
    scalars: Mapping[str, Any],
    settings: Mapping[str, tuple[str, float, float]],
    wanted: Sequence[str],
    time: str | None,
    where: str,
) -> Capture:
    lengths = {n: len(arrays[n]) for n in wanted if n in arrays}
    for name in wanted:
        if name not in arrays:
            raise BadInput(Fault(where, f'"{name}" is a single number, not a channel; name the channels to read'))
        if arrays[name].dtype.kind not in "iuf":
            raise BadInput(Fault(where, f'channel "{name}" must hold numbers, it holds {arrays[name].dtype}'))
    if len(set(lengths.values())) > 1:
        listed = ", ".join(f"{n} {k}" for n, k in lengths.items())
        raise BadInput(
            Fault(where, f"channels must be equally long, they have {listed} samples; the file may be cut short")
        )
    start, step = _time_base(arrays, scalars, time, next(iter(lengths.values())), where)
    channels = []
    for name in wanted:
        _finite(arrays[name], name, where)
        unit, scale, offset = settings[name]
        channels.append(Channel(name, arrays[name], unit, scale, offset))
    return Capture(tuple(channels), step, start, where)


def _time_base(
    arrays: Mapping[str, Any], scalars: Mapping[str, Any], time: str | None, length: int, where: str
) -> tuple[float, float]:
    step = next((float(scalars[n]) for n in _STEP_NAMES if n in scalars), None)
    start = next((float(scalars[n]) for n in _START_NAMES if n in scalars), 0.0)
    name = time if time is not None else next((n for n in _TIME_NAMES if n in arrays), None)
    if name is not None:
        if name not in arrays:
            raise BadInput(Fault(where, f'has no time array "{name}"; it has {", ".join(arrays)}'))
        column = arrays[name]
        if len(column) != length:
            raise BadInput(Fault(where, f"its time has {len(column)} values but the channels have {length} samples"))
        return _long_time(column, where)
    if step is None:
        raise BadInput(
            Fault(
                where, f"has no time: save a scalar step (s) or an array time; it has {', '.join((*scalars, *arrays))}"
            )
        )
    if not step > 0.0:
        raise BadInput(Fault(where, f"step must be greater than zero, received {step:g} s"))
    return start, step


def _long_time(column: Any, where: str) -> tuple[float, float]:
    """Check a long time array block by block, so that no second copy of it is ever made."""
    if len(column) <= _BLOCK:
        return even_step(np.asarray(column, dtype=np.float64), 1, where)
    step = float(column[-1] - column[0]) / (len(column) - 1)
    for at in range(0, len(column), _BLOCK):
        block = np.asarray(column[at : at + _BLOCK + 1], dtype=np.float64)
        rising_time(block, at + 1, where, strictly=False)
        if len(block) > 2:
            _, own = even_step(block, at + 1, where)
            if abs(own - step) > 0.01 * step:
                raise BadInput(
                    Fault(
                        where, f"samples must be evenly spaced, but the step changes from {step:.6g} s to {own:.6g} s"
                    )
                )
    return float(column[0]), step


def _finite(samples: Any, name: str, where: str) -> None:
    if samples.dtype.kind != "f":
        return
    for at in range(0, len(samples), _BLOCK):
        bad = ~np.isfinite(samples[at : at + _BLOCK])
        if bad.any():
            first = at + int(np.argmax(bad))
            raise BadInput(
                Fault(
                    where, f'channel "{name}" has a value that is no number at sample {first + 1}; mend or cut it off'
                )
            )
