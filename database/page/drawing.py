"""Pictures drawn for the page, one at a time."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from threading import Lock

from starlette.responses import Response

from ...calibrate.errors import Field, InputError
from ..pictures.style import INK, TEXT, WIDE, Figure, new_figure, png_of
from .remedies import on_page

_DPI = 160
_DRAWING = Lock()
"""Matplotlib draws one figure at a time."""


def drawn(draw: Callable[[], Figure]) -> Response:
    """Answer with a picture; where it can't be drawn, with one that says why."""
    with _DRAWING:
        try:
            figure = draw()
        except InputError as error:
            figure = new_figure(WIDE, 1.0)
            # Which picture it is stands above it on the page.
            if error.file == Field("show"):
                error = InputError(None, None, error.expected, error.do)
            why = on_page(error)
            said = textwrap.fill(f"This can't be drawn: {why}.", 100)
            figure.text(0.02, 0.5, said, fontsize=TEXT, color=INK, va="center")
        made = png_of(figure, _DPI)
    return Response(made, media_type="image/png")
