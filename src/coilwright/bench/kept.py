"""Pictures of finished studies over the wire, and nothing else of the folder."""

from __future__ import annotations

import re

from starlette.responses import FileResponse, PlainTextResponse, Response

from coilwright.bench.state import Bench
from coilwright.errors import BadInput

_PICTURE = re.compile(r"[a-z0-9][a-z0-9-]{0,60}\.(png|svg)")
_HEADERS = {
    "Cache-Control": "no-cache",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",  # a drawing runs nothing
    "X-Content-Type-Options": "nosniff",
}


def kept_picture(bench: Bench, name: str, number: int, file: str) -> Response:
    """A picture of a study of a job of the opened folder; 404 for anything else."""
    try:
        desk = bench.desk(bench.folder.job(name))
    except BadInput:
        return PlainTextResponse("no such job", 404)
    path = bench.studies(desk).root / str(number) / file
    if not _PICTURE.fullmatch(file) or not path.is_file():
        return PlainTextResponse("no such picture", 404)
    return FileResponse(path, headers=_HEADERS)
