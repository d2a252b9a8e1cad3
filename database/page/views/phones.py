"""Phones and tablets that are let in from the network, and ended again."""

from __future__ import annotations

from markupsafe import Markup
from starlette.responses import Response

from ....calibrate.errors import InputError
from ..asked import Asked, go, view
from ..pairing import Pairing
from ..phone_door import MAY, MAY_NOT
from ..square import square


@view
def phones(asked: Asked) -> Response:
    """Which phones are in, and the code that lets the next one in."""
    pairing: Pairing | None = asked.request.app.state.pairing
    return asked.show(
        "phones.html", pairing=pairing, may=MAY, may_not=MAY_NOT,
        square=Markup(square(pairing).svg_inline(scale=6, light="#fff"))
        if pairing and pairing.code
        else "",
    )  # fmt: skip


@view
def change(asked: Asked) -> Response:
    """Make a code, take it back, or end a phone."""
    pairing: Pairing | None = asked.request.app.state.pairing
    if pairing is None:
        raise InputError(
            None, None, "the page was opened for this machine alone",
            "stop it in the terminal and open it again for phones, as its help there says",
        )  # fmt: skip
    if asked.one_of("do", ("begin", "stop", "end")) == "end":
        pairing.end(asked.number("phone", 0, 0, 999_999))
    elif asked.text("do") == "begin":
        pairing.begin()
    else:
        pairing.stop()
    return go("/phones")
