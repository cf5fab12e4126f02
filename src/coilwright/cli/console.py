"""What every command does the same way: one JSON object or readable text on stdout, talk on stderr, exit codes.

Exit codes: 0 done, 1 done but the job fails its own acceptance, 2 bad input, 3 could not finish.
"""

from __future__ import annotations

import json
import math
import os
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, CoilwrightError, Fault
from coilwright.evidence import Finding

FAILS_ACCEPTANCE, BAD_INPUT, UNFINISHED = 1, 2, 3
_TRACE_VARIABLE = "COILWRIGHT_TRACE"


class Exit(Exception):
    """Leave the program with this code; everything has been said already."""

    def __init__(self, code: int) -> None:
        super().__init__(str(code))
        self.code = code


def guarded(as_json: bool, work: Callable[[], int | None]) -> None:
    """Run `work`, turn every error into one sentence and the right exit code; a traceback never reaches the user."""
    try:
        code = work() or 0
    except BadInput as error:
        _complain(as_json, "bad-input", error.faults)
        raise Exit(BAD_INPUT) from None
    except CoilwrightError as error:
        _complain(as_json, "not-finished", [Fault("", str(error))])
        raise Exit(error.exit_code) from None
    except KeyboardInterrupt:
        say("stopped by you; nothing was written")
        raise Exit(UNFINISHED) from None
    except BrokenPipeError:  # the reader of our output (head, less) went away: not an error of ours
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
        raise Exit(0) from None
    except OSError as error:
        where = str(error.filename) if error.filename else ""
        _complain(as_json, "file", [Fault(where, (error.strerror or str(error)).lower())])
        raise Exit(UNFINISHED) from None
    except Exception as error:  # the last line of defence: say so plainly instead of a traceback
        if os.environ.get(_TRACE_VARIABLE):
            traceback.print_exc()
        text = f"this is a fault of coilwright itself ({type(error).__name__}: {error})"
        advice = f"please report it with the job file; {_TRACE_VARIABLE}=1 shows where it happened"
        _complain(as_json, "internal", [Fault("", f"{text}; {advice}")])
        raise Exit(UNFINISHED) from None
    if code:
        raise Exit(code)


def _complain(as_json: bool, kind: str, faults: Iterable[Fault]) -> None:
    faults = list(faults)
    for fault in faults:
        say(str(fault))
    if as_json:
        listed = [{"where": f.where, "what": f.what} for f in faults]
        print_json({"error": {"kind": kind, "faults": listed}})


def say(text: str) -> None:
    """Talk to the person at the terminal without touching stdout."""
    print(text, file=sys.stderr, flush=True)


def print_json(data: dict[str, Any]) -> None:
    """One JSON object on stdout; numbers that are not finite become null, since JSON has no such thing."""
    print(json.dumps(_finite(data), ensure_ascii=False, indent=1))


def _finite(data: Any) -> Any:
    if isinstance(data, dict):
        return {str(k): _finite(v) for k, v in data.items()}
    if isinstance(data, (list, tuple)):
        return [_finite(v) for v in data]
    if isinstance(data, float):
        return data if math.isfinite(data) else None
    if isinstance(data, (str, int, bool)) or data is None:
        return data
    if hasattr(data, "tolist"):  # numpy scalars and arrays
        return _finite(data.tolist())
    return str(data)


_WORDY = 28  # characters from which a column holds sentences


def table(rows: Sequence[Sequence[str]], header: Sequence[str] = ()) -> str:
    """Aligned columns as plain text: the first column and columns of words left, figures right."""
    lines = [list(header), *map(list, rows)] if header else list(map(list, rows))
    if not lines:
        return ""
    widths = [max(len(line[k]) for line in lines) for k in range(len(lines[0]))]
    left = [k == 0 or widths[k] > _WORDY for k in range(len(widths))]
    out = []
    for n, line in enumerate(lines):
        cells = [c.ljust(w) if to_left else c.rjust(w) for c, w, to_left in zip(line, widths, left, strict=True)]
        out.append("  ".join(cells).rstrip())
        if header and n == 0:
            out.append(
                "  ".join("-" * min(w, _WORDY) if k == len(widths) - 1 else "-" * w for k, w in enumerate(widths))
            )
    return "\n".join(out)


def show_findings(findings: Iterable[Finding]) -> None:
    for finding in findings:
        print(f"  {finding}")


def folder(out: Path | None) -> Path | None:
    """Make the output folder; refuse a path that is a file."""
    if out is None:
        return None
    if out.exists() and not out.is_dir():
        raise BadInput(Fault(f"--out {out}", "must be a folder; received an existing file; choose another name"))
    try:  # found out now, not after minutes of computing
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        what = f"must be a folder that can be written ({(error.strerror or str(error)).lower()}); name another one"
        raise BadInput(Fault(f"--out {out}", what)) from None
    return out


@contextmanager
def progress(title: str, quiet: bool) -> Iterator[Callable[[float], None]]:
    """A progress bar on stderr fed with a fraction 0..1; silent when `quiet` or when stderr is no terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda fraction: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as bar:
        task = bar.add_task(title, total=1.0)
        yield lambda fraction: bar.update(task, completed=min(fraction, 1.0))
