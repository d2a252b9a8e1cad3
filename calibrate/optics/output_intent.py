"""Says in a PDF which colours its red, green and blue mean: those of sRGB."""

from __future__ import annotations

import re
import zlib
from functools import cache

from ..errors import InputError

_DATE, _IDENTITY = slice(24, 36), slice(84, 100)
"""Of a profile's header: when it was made, and a hash (ICC.1:2022, 7.2; from memory)."""
_MADE = b"\x07\xea\x00\x01\x00\x01\x00\x00\x00\x00\x00\x00"


@cache
def srgb_profile() -> bytes:
    """Return the ICC profile of sRGB, the same bytes each time."""
    from PIL import ImageCms

    made = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    made[_DATE], made[_IDENTITY] = _MADE, bytes(16)
    return bytes(made)


def with_output_intent(pdf: bytes) -> bytes:
    """Add an output intent of sRGB to a PDF, as an update at its end.

    Parameters
    ----------
    pdf : bytes
        With a plain table of references, as reportlab and matplotlib write it.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        Where the file has no such table.

    Notes
    -----
    ISO 32000-1, 7.5.6 (incremental updates) and 14.11.5 (output intents); from memory.
    """
    start = re.findall(rb"startxref\s+(\d+)\s+%%EOF", pdf)
    trailer = pdf[pdf.rfind(b"trailer") :]
    root, size = (
        re.search(rb"/Root\s+(\d+)\s+0\s+R", trailer),
        re.search(rb"/Size\s+(\d+)", trailer),
    )
    if not start or root is None or size is None:
        raise InputError(None, None, "a PDF without a plain table of references", "report this")
    number, free = int(root[1]), int(size[1])
    catalog = re.search(rb"(?:^|[\r\n])%d 0 obj\s*<<(.*?)>>\s*endobj" % number, pdf, re.DOTALL)
    if catalog is None:
        raise InputError(
            None, None, "a PDF whose catalogue stands in a packed object", "report this"
        )
    packed = zlib.compress(srgb_profile(), 9)
    profile = b"<< /N 3 /Filter /FlateDecode /Length %d >>\nstream\n%b\nendstream" % (
        len(packed), packed,
    )  # fmt: skip
    intent = (
        b"<< /Type /OutputIntent /S /GTS_PDFA1 /OutputConditionIdentifier (sRGB IEC61966-2.1) "
        b"/RegistryName (http://www.color.org) /Info (sRGB) /DestOutputProfile %d 0 R >>" % free
    )
    named = b"<<%b /OutputIntents [%d 0 R] >>" % (catalog[1], free + 1)
    out, table = bytearray(pdf.rstrip() + b"\n"), b"xref\n"
    for at, body in ((number, named), (free, profile), (free + 1, intent)):
        table += b"%d 1\n%010d 00000 n \n" % (at, len(out))
        out += b"%d 0 obj\n%b\nendobj\n" % (at, body)
    kept = re.sub(rb"/Size\s+\d+", b"/Size %d" % (free + 2), trailer[: trailer.find(b"startxref")])
    kept = kept.replace(b"<<", b"<< /Prev %s " % start[-1], 1)
    place = len(out)
    return bytes(out) + table + kept.rstrip() + b"\nstartxref\n%d\n%%%%EOF\n" % place
