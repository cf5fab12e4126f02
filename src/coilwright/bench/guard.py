"""Who may talk to the page: checks before anything else sees a request.

A page on this computer can be reached by every other page open in the same browser. Three checks keep them out: the Host
asked for must be ours (else a foreign name has been pointed at this computer), the Origin must be the page itself, and
what is sent must be small. Where others can reach the computer a token is asked for as well.
"""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

LARGEST_UPLOAD = 64_000_000  # bytes of one request; a capture of an oscilloscope is the largest thing a shop sends
COOKIE = "coilwright_token"
_LOOPBACK = ("127.0.0.1", "localhost", "::1")
# Everything comes from this server; the framework's own start script stands in the page, hence 'unsafe-inline' and -eval.
_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' ws: wss:; worker-src 'self' blob:; "
    "object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
)
_HEADERS = (
    (b"content-security-policy", _POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


@dataclass(frozen=True)
class Rules:
    """What is let in. `host` is the address listened on; `token` is asked for unless it is empty."""

    host: str
    port: int
    token: str = ""
    largest: int = LARGEST_UPLOAD

    def allows_host(self, text: str) -> bool:
        """Whether a Host header names this server: a loopback name, the address listened on, or (when listening on all)
        any address in figures. A name that only points here is refused.
        """
        name, port = _split(text)
        if port != self.port:
            return False
        if name in _LOOPBACK or name == self.host:
            return True
        return not _is_loopback(self.host) and _is_address(name)

    def allows_origin(self, origin: str, host: str) -> bool:
        """Whether a request that says where it comes from comes from the page itself."""
        parts = urlsplit(origin)
        return parts.scheme in ("http", "https") and parts.netloc.lower() == host.lower()


def _is_loopback(host: str) -> bool:
    return host in _LOOPBACK or host.startswith("127.")


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _split(host: str) -> tuple[str, int | None]:
    """Name and port of a Host header; brackets of an IPv6 address are taken off."""
    try:
        parts = urlsplit("//" + host.strip().lower())
        return parts.hostname or "", parts.port if parts.port is not None else 80
    except ValueError:
        return "", None


class Guard:
    """Middleware around the whole server (pages, files, uploads and the socket)."""

    def __init__(self, app: Any, rules: Rules) -> None:
        self.app, self.rules = app, rules

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        fault = self._fault(scope, headers)
        if fault is not None:
            await _refuse(scope, receive, send, *fault)
        elif scope["type"] == "websocket":
            await self.app(scope, receive, send)
        elif self._brings_token(scope):
            await _welcome(scope, send, self.rules.token)
        else:
            await self.app(scope, receive, _with_headers(send))

    def _fault(self, scope: Any, headers: Mapping[str, str]) -> tuple[int, str] | None:
        """Status and sentence of a refusal, or None."""
        rules, host = self.rules, headers.get("host", "")
        if not rules.allows_host(host):
            return 403, f'This page answers to its own address only; it was asked for as "{host[:80]}".'
        origin = headers.get("origin")
        if origin is not None and not rules.allows_origin(origin, host):
            return 403, f'Requests from other pages are refused; this one came from "{origin[:80]}".'
        if rules.token and not self._knows_token(headers) and not self._brings_token(scope):
            return 401, "This page asks for its token: open it with the address that coilwright bench printed."
        if "transfer-encoding" in headers:
            return 411, "An upload must say its length first."
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length[:20]) > rules.largest:
            return 413, f"At most {rules.largest / 1e6:g} MB are taken in one upload; this one is larger."
        return None

    def _knows_token(self, headers: Mapping[str, str]) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and hmac.compare_digest(cookie.value.encode(), self.rules.token.encode())

    def _brings_token(self, scope: Any) -> bool:
        if not self.rules.token or scope["type"] != "http" or scope["method"] != "GET":
            return False
        given = dict(parse_qsl(scope["query_string"].decode("latin-1"))).get("token", "")
        return hmac.compare_digest(given.encode(), self.rules.token.encode())


async def _welcome(scope: Any, send: Any, token: str) -> None:
    """The right token in the address: keep it in a cookie and take it out of the address."""
    rest = [(k, v) for k, v in parse_qsl(scope["query_string"].decode("latin-1")) if k != "token"]
    target = scope["path"] + ("?" + urlencode(rest) if rest else "")
    cookie = f"{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/"
    headers = [(b"location", target.encode("latin-1", "replace")), (b"set-cookie", cookie.encode())]
    await send({"type": "http.response.start", "status": 303, "headers": headers})
    await send({"type": "http.response.body", "body": b""})


async def _refuse(scope: Any, receive: Any, send: Any, status: int, sentence: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": sentence[:100]})
        return
    body = sentence.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": [*headers, (b"connection", b"close")]})
    await send({"type": "http.response.body", "body": body})


def _with_headers(send: Any) -> Any:
    async def sending(message: Any) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", ()), *_HEADERS]}
        await send(message)

    return sending
