"""The one page that the network is shown before a phone is let in: where the code is typed."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from html import escape
from urllib.parse import parse_qs

from starlette.datastructures import QueryParams
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import Receive, Scope

from .pairing import DOOR, Pairing

MAY = (
    "It may look at tubes, mixes and kept recipes; mix, photograph, and say what is on the plate, "
    "what is used up and what something dried to; and keep recipes and batches."
)
MAY_NOT = (
    "It can't remove or rename anything, change labels or fits, read files in, publish, or let "
    "others in."
)
"""What a phone that is in can do, in words; `tintladder.database.page.app.EASEL` is what counts."""
_LONGEST = 2000
"""Bytes of the form."""
_STYLE = (
    "body{margin:0 auto;max-width:32rem;padding:2rem 1.25rem;background:#f4f4f4;color:#1f1f1f;"
    "font:18px/1.5 system-ui,sans-serif}h1{font-size:1.6rem;font-weight:600}"
    "input{display:block;font:inherit;font-size:2rem;letter-spacing:.2em;width:100%;"
    "box-sizing:border-box;padding:.4rem .7rem;border:1px solid #767676;border-radius:4px}"
    "button{font:inherit;min-height:3.2rem;width:100%;margin-top:1rem;background:#1f1f1f;"
    "color:#fff;border:0;border-radius:4px}.fault{border:3px solid #1f1f1f;padding:.6rem .9rem}"
)
_POLICY = (
    f"default-src 'none'; style-src 'sha256-{b64encode(sha256(_STYLE.encode()).digest()).decode()}'"
    "; img-src data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


async def ask(pairing: Pairing, cookie: str, scope: Scope, receive: Receive) -> Response:
    """Ask a phone for the code, and let it in where it says it.

    A code in the address, as the square has it, is only written into the form: programs that show
    what an address leads to open it too, and must not use it up.
    """
    if scope["method"] != "POST" or scope["path"] != DOOR:
        code = QueryParams(scope["query_string"]).get("code", "")
        return _page(
            code if scope["path"] == DOOR else "", "", 200 if scope["path"] == DOOR else 403
        )
    typed = (parse_qs(await _body(receive)).get("code") or [""])[0]
    made, words = pairing.enter(typed, (scope.get("client") or ("?",))[0])
    if made is None:
        return _page("", words, 403)
    answer = RedirectResponse("/mix", 303)
    answer.set_cookie(cookie, made, httponly=True, samesite="strict")
    return answer


async def _body(receive: Receive) -> str:
    found, more = b"", True
    while more and len(found) <= _LONGEST:
        message = await receive()
        found, more = found + message.get("body", b""), message.get("more_body", False)
    return found[:_LONGEST].decode("ascii", "replace")


def _page(code: str, fault: str, status: int) -> Response:
    said = f'<p class="fault" role="alert">{escape(fault.capitalize())}.</p>' if fault else ""
    page = (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Let this phone in</title><style>{_STYLE}</style>"
        '<link rel="icon" href="data:,"></head><body><main><h1>Let this phone in</h1>'
        f'{said}<form method="post" action="{DOOR}"><label>The code that is shown where the page'
        ' is open <input name="code" inputmode="numeric" autocomplete="one-time-code" required'
        f' maxlength="12" value="{escape(code[:12])}"></label>'
        "<button>Let this phone in</button></form>"
        f"<p>{MAY} {MAY_NOT}</p></main></body></html>"
    )
    return HTMLResponse(page, status, {"Content-Security-Policy": _POLICY})
