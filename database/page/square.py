"""The square code (ISO/IEC 18004) that leads a phone's camera to the page."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from .pairing import DOOR, Pairing

if TYPE_CHECKING:
    from segno import QRCode


def square(pairing: Pairing) -> QRCode:
    """Return the square of the address that a phone opens, with the code in it."""
    import segno

    return segno.make_qr(f"{pairing.address}{DOOR}?code={pairing.code or ''}", error="m")


def in_terminal(pairing: Pairing) -> str:
    """Return the same drawn with the terminal's characters."""
    drawn = io.StringIO()
    square(pairing).terminal(drawn, compact=True)
    return drawn.getvalue()
