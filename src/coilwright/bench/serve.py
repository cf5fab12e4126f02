"""The server of the page: on this computer only unless asked otherwise, and only for who may come in."""

from __future__ import annotations

import logging
import os
import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coilwright.errors import BadInput, Fault, MissingExtra

PORT = 8470
HERE = "127.0.0.1"
_TRIED = 20
_LARGEST_MESSAGE = 4_000_000  # bytes of one socket message


@dataclass(frozen=True)
class Asked:
    """The options of `coilwright bench` as typed."""

    job: Path | None = None
    host: str = HERE
    port: int | None = None
    token: str = ""
    browser: bool = True


def serve(asked: Asked, announce: Callable[[str], None]) -> None:
    """Run the page until it is interrupted; `announce` is told where it is.

    Raises BadInput for an address or a job that cannot be, MissingExtra.
    """
    try:
        import nicegui  # noqa: F401
    except ImportError:
        raise MissingExtra("nicegui", "bench", "the page") from None
    root, name = _opened(asked.job)
    if not _is_here(asked.host) and len(asked.token) < 8:
        example = f"--token {secrets.token_hex(8)}"
        what = f"lets others in at {asked.host}, so it needs a token of at least 8 characters; write e.g. {example}"
        raise BadInput(Fault("--host", what))
    if asked.token and not (asked.token.isascii() and asked.token.isalnum()):
        raise BadInput(Fault("--token", "must be made of letters and figures only, so that it fits into an address"))
    port = _free_port(asked.host, asked.port)
    tail = f"/job/{name}" if name else "/"
    shown = f"[{asked.host}]" if ":" in asked.host else asked.host
    address = f"http://{shown}:{port}{tail}" + (f"?token={asked.token}" if asked.token else "")
    announce(f"the bench is at {address}\nit serves {root}; Ctrl+C ends it")
    _run(root, asked, port, address)


def _run(root: Path, asked: Asked, port: int, address: str) -> None:
    from nicegui import Client, app, ui

    from coilwright.bench.folder import Folder
    from coilwright.bench.guard import Guard, Rules
    from coilwright.bench.kept import kept_picture
    from coilwright.bench.page import folder_page, job_page
    from coilwright.bench.state import Bench

    bench = Bench(Folder(root))

    @ui.page("/")
    def _jobs() -> None:
        folder_page(bench)

    @ui.page("/job/{name:path}")
    def _job(name: str, client: Client, place: str = "") -> None:
        job_page(bench, name, client, place)

    @app.get("/kept/{number}/{file}/{name:path}")
    def _kept(number: int, file: str, name: str) -> Any:
        return kept_picture(bench, name, number, file)

    async def begin() -> None:
        await bench.start()
        if asked.browser:
            import webbrowser

            webbrowser.open(address)

    app.config.quasar_config["loadingBar"]["skipHijack"] = True  # a bar of the framework's that no screen reader can name
    app.on_startup(begin)
    app.on_shutdown(bench.stop)
    for name in ("uvicorn.error", "nicegui", "asyncio", "engineio.server", "socketio.server"):
        logging.getLogger(name).addFilter(_one_line)
    middle: Any = Guard
    options: dict[str, Any] = {"ws_max_size": _LARGEST_MESSAGE, "timeout_graceful_shutdown": 2}
    app.add_middleware(middle, rules=Rules(asked.host, port, asked.token))
    ui.run(
        host=asked.host, port=port, show=False, reload=False, title="coilwright bench", tailwind=False, dark=None,
        show_welcome_message=False, reconnect_timeout=10.0, favicon=_FAVICON, language="en-US", **options,
    )  # fmt: skip


def _one_line(record: logging.LogRecord) -> bool:
    """A broken message of a stranger is worth a line at the terminal, not a traceback (COILWRIGHT_TRACE=1 shows it)."""
    if record.exc_info and not os.environ.get("COILWRIGHT_TRACE"):
        kind, error, _ = record.exc_info
        record.msg = (
            f"{record.getMessage().splitlines()[0][:200]} ({getattr(kind, '__name__', '')}: {str(error)[:200]})"
        )
        record.args, record.exc_info, record.exc_text = (), None, None
    return True


# Three turns of a coil about a part, our own.
_FAVICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" fill="#fbf8f1"/>'
    '<rect x="13" y="4" width="6" height="24" fill="#b8430f"/><g fill="#d9a479" stroke="#2b2a27" stroke-width="1.5">'
    '<circle cx="6" cy="8" r="3"/><circle cx="6" cy="16" r="3"/><circle cx="6" cy="24" r="3"/>'
    '<circle cx="26" cy="8" r="3"/><circle cx="26" cy="16" r="3"/><circle cx="26" cy="24" r="3"/></g></svg>'
)


def _opened(job: Path | None) -> tuple[Path, str]:
    """The folder to serve and the job in it, if one was named."""
    if job is None:
        return Path.cwd(), ""
    if job.is_dir():
        return job.resolve(), ""
    if not job.exists():
        raise BadInput(Fault(str(job), f"is not there; check the name, or write a new one with: coilwright new {job}"))
    return job.resolve().parent, job.name


def _is_here(host: str) -> bool:
    return host == "localhost" or host == "::1" or host.startswith("127.")


def _free_port(host: str, wanted: int | None) -> int:
    """The port asked for, or the first free one from the usual one on."""
    tried = [wanted] if wanted is not None else range(PORT, PORT + _TRIED)
    for port in tried:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OverflowError:
                raise BadInput(Fault("--port", f"must be between 1 and 65535; received {port}")) from None
            except OSError as error:
                reason = error.strerror or str(error)
                continue
            return int(probe.getsockname()[1])
    where = "--port" if wanted is not None else "--host"
    raise BadInput(Fault(where, f"{host} port {tried[0]} cannot be listened on ({reason}); choose another with --port"))
