"""Lets in only what this machine's own page asks: its names, its forms, uploads not too large.

The page has no password: whoever can reach the loopback address is its user. What must be kept out
is another site, open in the same browser, that would use it: by a name that it made point here
(so the Host is checked), or by sending it forms (so their Origin is, and a cookie that no other
site's request carries; RFC 6454, RFC 6265bis).
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

NAMES = ("127.0.0.1", "localhost", "::1")
COOKIE = "tintladder_page"
LARGEST = 400_000_000
"""Bytes of a request: a card of A4 at 600 dpi and 48 bit is half of it."""
POLICY = (
    "default-src 'none'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class TooLarge(Exception):
    """A request of more than `LARGEST` bytes."""


class Guard:
    """Stands before the page's application."""

    largest = LARGEST

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request, or pass it on with a limit to its size."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        cookie = _cookie(headers)
        refused = _refused(scope["method"], headers, cookie, self.largest)
        if refused is not None:
            status, words = refused
            await PlainTextResponse(f"tintladder: {words}\n", status)(scope, receive, send)
            return
        size = 0

        async def counted() -> Message:
            nonlocal size
            message = await receive()
            size += len(message.get("body", b""))
            if size > self.largest:
                raise TooLarge
            return message

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                said = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    said.setdefault(name, value)
                said.setdefault("Content-Security-Policy", POLICY)
                if cookie is None:
                    made = (
                        f"{COOKIE}={secrets.token_urlsafe(16)}; Path=/; HttpOnly; SameSite=Strict"
                    )
                    said.append("Set-Cookie", made)
            await send(message)

        await self._app(scope, counted, dressed)


def _refused(
    method: str, headers: Mapping[str, str], cookie: str | None, largest: int
) -> tuple[int, str] | None:
    """Status and words for a request that is let in no further."""
    host = headers.get("host", "")
    if _hostname(host) not in NAMES:
        return 421, "this page answers only to 127.0.0.1 and localhost"
    origin = headers.get("origin")
    if origin is not None and origin != f"http://{host}":
        return 403, "another site may not use this page"
    if headers.get("content-length", "0").isdigit() is False:
        return 400, "expected a length in bytes"
    if int(headers.get("content-length", "0")) > largest:
        return 413, f"that is over {largest // 1_000_000} MB; scan at a lower resolution"
    if method not in ("GET", "HEAD"):
        if origin is None:
            return 403, "a form must come from this page itself"
        if cookie is None:
            return 403, "the browser sent no cookie of this page; load the page again, then retry"
    return None


def _hostname(host: str) -> str | None:
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None


def _cookie(headers: Mapping[str, str]) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return None if found is None else found.value
