"""Who may ask this server for anything, and what a page of it may do: the one door that every request goes through.

By default it listens on loopback, and answers only to a browser that was given one of its own addresses: a page of
some other site that is open in the same browser can neither read nor write here, whatever names it points at this
computer. With an address in the workshop's net a one-time code opens it, device by device.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

#: What a page may load: its own files and nothing else; no script or style within the text.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src {connect}; "
    "font-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'"
)

#: What a sheet may, whose drawings and type are within it: it has no script, and asks nobody for anything.
SHEET_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'self'"
)
SHEETS = "/sheet/html/"

_COOKIE = "handlead_bench"

#: Bytes of a request that are read; the largest file is smaller.
LARGEST_BODY = 600_000


@dataclass
class Door:
    """The addresses that are answered to, and the codes that open: none are asked for on loopback.

    `told` is called with a new code each time that one has been used up.
    """

    hosts: frozenset[str]
    needs_code: bool = False
    told: Callable[[str], None] = lambda code: None
    code: str = field(default_factory=lambda: new_code())
    _known: set[str] = field(default_factory=set)

    def refuses(self, headers: dict[str, str], *, changes: bool) -> str:
        """Why a request isn't answered; "" where it is. One that `changes` something, or a socket, must tell its origin
        right, or none and carry the header that no other site's page can set."""
        if headers.get("host", "").casefold() not in self.hosts:
            return "this address isn't one that the page is served under"
        origin = headers.get("origin")
        if origin is not None and origin.casefold().removeprefix("http://") not in self.hosts:
            return "a page of another site asked for this"
        if changes and origin is None and headers.get("x-bench") != "1":
            return "only the page itself changes anything"
        return ""

    def lets_in(self, cookies: str) -> bool:
        """Whether a browser has been let in, or needn't be."""
        if not self.needs_code:
            return True
        try:
            morsel = SimpleCookie(cookies).get(_COOKIE)
        except CookieError:
            return False
        return morsel is not None and any(hmac.compare_digest(morsel.value, one) for one in self._known)

    def use(self, code: str) -> str | None:
        """A cookie for a browser that brought the code, which is then used up; None where it is another."""
        if not hmac.compare_digest(code.encode(), self.code.encode()):
            return None
        token = secrets.token_urlsafe(32)
        self._known.add(token)
        self.code = new_code()
        self.told(self.code)
        return f"{_COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/"


def new_code() -> str:
    """A code that nobody guesses."""
    return secrets.token_urlsafe(12)


class Guard:
    """An application behind the door."""

    def __init__(self, app: Any, door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer, or refuse in one line."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        socket = scope["type"] == "websocket"
        changes = socket or scope["method"] not in ("GET", "HEAD")
        why = self.door.refuses(headers, changes=changes)
        if not why and int(headers.get("content-length") or 0) > LARGEST_BODY:
            why = "it is larger than any file of this program"
        if why:
            await _refuse(send, receive, socket, 403, f"Refused: {why}.")
            return
        if not self.door.lets_in(headers.get("cookie", "")):
            code = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("code", [""])[0]
            cookie = None if socket else self.door.use(code)
            if cookie is None:
                said = "Refused: open the address with the code that stands in the terminal. Each code opens once."
                await _refuse(send, receive, socket, 403, said)
            else:
                away = [(b"location", b"/"), (b"set-cookie", cookie.encode()), (b"content-length", b"0")]
                await send({"type": "http.response.start", "status": 303, "headers": away})
                await send({"type": "http.response.body", "body": b""})
            return
        policy = POLICY.format(connect=f"'self' ws://{headers['host']}")
        if scope["path"].startswith(SHEETS):
            policy = SHEET_POLICY

        async def with_policy(message: Any) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *_headers(policy)]}
            await send(message)

        await self.app(scope, receive, send if socket else with_policy)


def _headers(policy: str) -> list[tuple[bytes, bytes]]:
    return [
        (b"content-security-policy", policy.encode("latin-1")),
        (b"x-content-type-options", b"nosniff"),
        (b"referrer-policy", b"same-origin"),
        (b"cross-origin-resource-policy", b"same-origin"),
        (b"cross-origin-opener-policy", b"same-origin"),
    ]


async def _refuse(send: Any, receive: Any, socket: bool, status: int, words: str) -> None:
    if socket:
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": words[:120]})
        return
    body = words.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
