"""The command that opens the page."""

from __future__ import annotations

from pathlib import Path


def bench(job: Path | None, host: str, port: int | None, token: str, browser: bool) -> int:
    from coilwright.bench.serve import Asked, serve

    serve(Asked(job, host, port, token, browser), lambda words: print(words, flush=True))
    return 0
