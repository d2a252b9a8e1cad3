"""Lets in only who opened the page: by its names, its cookie and its own forms, not too large.

Another account of this machine can reach the loopback address too: so each request shows a cookie
that only the account that opened the page can have, exchanged for a word in the address that lets
in once. Another site, open in the same browser, could use that cookie: by a name that it made point
here (so the Host is checked), or by sending forms (so their Origin is, and no other site's request
carries the cookie; RFC 6454, RFC 6265bis).

Where phones of the same network may be let in, they come by another address, which knows their
cookies alone: the account's own never goes over the network.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders, QueryParams
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from . import phone_door
from .keys import DOOR, Keys
from .pairing import Pairing

NAMES = ("127.0.0.1", "localhost", "::1")
COOKIE = "tintladder_page"
_DAYS = 30
"""For which a browser is known."""
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
_HOW_IN = "to be let in, open the page again from the terminal"
_GO_ON = (
    '<!DOCTYPE html><html lang="en"><head><title>The studio\'s page</title>'
    '<meta http-equiv="refresh" content="0; url=/"></head>'
    '<body><p><a href="/">Go on to the studio\'s page</a></p></body></html>'
)


class TooLarge(Exception):
    """A request of more than `LARGEST` bytes."""


class Guard:
    """Stands before the page's application."""

    largest = LARGEST

    def __init__(self, app: ASGIApp, keys: Keys, pairing: Pairing | None = None) -> None:
        self._app = app
        self._keys = keys
        self._pairing = pairing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request, or pass it on with a limit to its size."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        pairing = self._pairing
        if pairing and (scope.get("server") or ("",))[0] == pairing.host:
            answer = await self._from_the_network(pairing, scope, receive)
        else:
            answer = self._at_the_door(scope)
        if answer is not None:
            await answer(scope, receive, send)
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
            await send(message)

        await self._app(scope, counted, dressed)

    async def _from_the_network(
        self, pairing: Pairing, scope: Scope, receive: Receive
    ) -> Response | None:
        """Answer a request of a phone that is let in no further; None for any other."""
        headers = Headers(scope=scope)
        refused = _refused(scope["method"], headers, self.largest, (pairing.host,))
        if refused is not None:
            return _said(*refused)
        phone = pairing.known(_cookie(headers))
        if phone is None or scope["path"] == phone_door.DOOR:
            answer = await phone_door.ask(pairing, COOKIE, scope, receive)
            answer.headers.update({**_HEADERS, **answer.headers})
            return answer
        scope.setdefault("state", {})["phone"] = phone
        return None

    def _at_the_door(self, scope: Scope) -> Response | None:
        """Answer a request that is let in no further; None for any other."""
        headers = Headers(scope=scope)
        known = self._keys.known(_cookie(headers))
        refused = _refused(scope["method"], headers, self.largest, NAMES)
        if refused is None and scope["path"] == DOOR:
            ticket = QueryParams(scope["query_string"]).get("key", "")
            if known or self._keys.take(ticket):
                return self._let_in()
            refused = 403, f"that address was used already, or is none of this page's; {_HOW_IN}"
        elif refused is None and not known:
            refused = 403, f"this page is for the account that opened it alone; {_HOW_IN}"
        return None if refused is None else _said(*refused)

    def _let_in(self) -> Response:
        """Give the browser its cookie.

        It goes on by itself: were it sent on, it would still count as coming from elsewhere, and
        not show the cookie.
        """
        answer = HTMLResponse(_GO_ON, headers=_HEADERS | {"Content-Security-Policy": POLICY})
        answer.set_cookie(
            COOKIE, self._keys.cookie, max_age=_DAYS * 86400, httponly=True, samesite="strict"
        )
        return answer


def _said(status: int, words: str) -> Response:
    return PlainTextResponse(f"tintladder: {words}\n", status, _HEADERS)


def _refused(
    method: str, headers: Mapping[str, str], largest: int, names: Sequence[str]
) -> tuple[int, str] | None:
    """Status and words for a request that is let in no further."""
    host = headers.get("host", "")
    if _hostname(host) not in names:
        return 421, f"this page answers only to {' and '.join(names[:2])}"
    origin = headers.get("origin")
    if origin is not None and origin != f"http://{host}":
        return 403, "another site may not use this page"
    if headers.get("content-length", "0").isdigit() is False:
        return 400, "expected a length in bytes"
    if int(headers.get("content-length", "0")) > largest:
        return 413, f"that is over {largest // 1_000_000} MB; scan at a lower resolution"
    if method not in ("GET", "HEAD") and origin is None:
        return 403, "a form must come from this page itself"
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
