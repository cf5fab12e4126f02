"""A solved machine kept on this computer, so that the next question about it need not wait for the fields again.

One JSON file per machine in the user's cache folder. Its name is a digest of the job, of every file the job names, of what the
hand-over adds and of every file of this program and the versions of its number libraries: whatever could change the answer
changes the name, so a kept machine is never a stale one. COILWRIGHT_CACHE names another folder, or `off`.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from stat import S_ISREG
from typing import Any, Final

import numpy as np
import scipy
from platformdirs import user_cache_path

from coilwright.job import Job
from coilwright.line.askew import AskewCurve
from coilwright.line.plant import Line, Plant, ShotCurve

VARIABLE: Final = "COILWRIGHT_CACHE"
_OFF: Final = "off"
_MOST: Final = 60  # machines kept; a file is some 20 kB
_LARGEST: Final = 50_000_000  # bytes of a file that are looked into; of a larger one its time counts too
_KINDS: Final[dict[str, Any]] = {kind.__name__: kind for kind in (Plant, Line, ShotCurve, AskewCurve)}


def kept_plant(job: Job, build: Callable[..., Plant], *given: float | None) -> Plant:
    """`build(job, *given)`, or the same from an earlier time. Never fails for want of a place to keep it."""
    folder = _folder()
    if folder is None:
        return build(job, *given)
    path = folder / f"{_digest(job, given)}.json"
    found = _read(path)
    if found is None:
        found = build(job, *given)
        _write(path, found)
    return found


def _folder() -> Path | None:
    where = os.environ.get(VARIABLE, "")
    if where == _OFF:
        return None
    return Path(where).expanduser() if where else user_cache_path("coilwright", appauthor=False) / "machines"


def _digest(job: Job, given: tuple[float | None, ...]) -> str:
    total = hashlib.sha256(_program())
    total.update(json.dumps([job.to_dict(), given], sort_keys=True, default=str).encode())
    for name in sorted(set(_texts(job.to_dict()))):
        total.update(name.encode() + _content(job.folder / name))
    return total.hexdigest()


def _content(path: Path) -> bytes:
    """Digest of a plain file; nothing for any other text, of which most are no file's name, and for devices."""
    try:
        about = path.stat()
        if not S_ISREG(about.st_mode):
            return b""
        with path.open("rb") as file:
            begin = file.read(min(about.st_size, _LARGEST))  # no more than there is: some files of a system never end
    except (OSError, ValueError):
        return b""
    beyond = about.st_mtime_ns if about.st_size > _LARGEST else 0
    return hashlib.sha256(begin + f"{about.st_size} {beyond}".encode()).digest()


@cache
def _program() -> bytes:
    """Digest of all that computes: the files of the package and the versions of the libraries below."""
    package = Path(__file__).parents[1]
    total = hashlib.sha256(f"{np.__version__} {scipy.__version__}".encode())
    for path in sorted(p for p in package.rglob("*") if p.is_file() and p.parent.name != "__pycache__"):
        total.update(str(path.relative_to(package)).encode() + hashlib.sha256(path.read_bytes()).digest())
    return total.digest()


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str) and 0 < len(value) < 300:
        yield value
    elif isinstance(value, Mapping):
        for x in value.values():
            yield from _texts(x)
    elif isinstance(value, list | tuple):
        for x in value:
            yield from _texts(x)


def _read(path: Path) -> Plant | None:
    """The machine of a file; None where there is none, or one that is not whole."""
    try:
        digest, text = path.read_text(encoding="utf-8").split("\n", 1)
        if digest != hashlib.sha256(text.encode()).hexdigest():
            return None
        found = decoded(json.loads(text))
        path.touch()
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return found if isinstance(found, Plant) else None


def _write(path: Path, plant: Plant) -> None:
    """All or nothing; a full disk or a folder that cannot be written is no matter."""
    text = json.dumps(encoded(plant))
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.NamedTemporaryFile("w", dir=path.parent, suffix=".part", delete=False, encoding="utf-8") as file:
            part = Path(file.name)
            try:
                file.write(f"{hashlib.sha256(text.encode()).hexdigest()}\n{text}")
                file.close()
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)
        newest = sorted(path.parent.glob("*.json"), key=lambda p: p.stat().st_mtime, reverse=True)
        for old in newest[_MOST:]:
            old.unlink(missing_ok=True)
    except OSError:
        return


def encoded(value: Any) -> Any:
    """What JSON can hold of a machine, exactly; TypeError for what it cannot."""
    if isinstance(value, np.ndarray):
        parts = [value.real.tolist(), value.imag.tolist()] if np.iscomplexobj(value) else [value.tolist()]
        return {"array": parts}
    if isinstance(value, complex):
        return {"complex": [value.real, value.imag]}
    if is_dataclass(value) and type(value).__name__ in _KINDS:
        return {
            "kind": type(value).__name__,
            "fields": {f.name: encoded(getattr(value, f.name)) for f in fields(value)},
        }
    if isinstance(value, tuple):
        return {"tuple": [encoded(x) for x in value]}
    if isinstance(value, Mapping):
        return {"map": {str(k): encoded(x) for k, x in value.items()}}
    if value is None or isinstance(value, bool | int | float | str):
        return float(value) if isinstance(value, np.floating) else value
    raise TypeError(f"a machine that holds {type(value).__name__} cannot be kept")


def decoded(value: Any) -> Any:
    """The other way."""
    if not isinstance(value, dict):
        return value
    if "array" in value:
        parts = [np.array(x) for x in value["array"]]
        return parts[0] if len(parts) == 1 else parts[0] + 1j * parts[1]
    if "complex" in value:
        return complex(*value["complex"])
    if "tuple" in value:
        return tuple(decoded(x) for x in value["tuple"])
    if "map" in value:
        return {k: decoded(x) for k, x in value["map"].items()}
    return _KINDS[value["kind"]](**{k: decoded(x) for k, x in value["fields"].items()})
