"""What to do about it, as the page says it: by its fields, buttons and parts."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ...calibrate.errors import CardDo, Field, InputError, Remedy, RemedyCode, Sentence
from .words import for_the_page

WORDS: Mapping[RemedyCode, str] = {
    CardDo.ADD_PAINT: "add it under Tubes, or mend its nickname in the card's file",
    CardDo.CHECK_UNIT: 'check whether the file is in percent, and choose that under "Its figures '
    'are", or read the patch again',
    CardDo.GIVE_TILES: "give the file of its tile's certified values",
    CardDo.LEAVE_OUT_STRIP: "leave the grey strip out",
    CardDo.MORE_TUBES: "tick more tubes, or say under Tubes that they are on hand",
    CardDo.NAME_SAMPLES: "name samples STEP/black and STEP/white as on the card, or drop the file "
    "on the page of the card that it is of",
    CardDo.PLUG_IN: "plug the instrument in, and load this page again",
    CardDo.RIGHT_CARD: "drop it on the page of the card that it shows",
    CardDo.SAY_GEOMETRY: 'choose it under "Geometry of the instrument", and of a sphere also "The '
    "surface's shine\"",
    CardDo.SAY_SPECULAR: 'choose it under "The surface\'s shine"',
    CardDo.SAY_UNIT: 'choose it under "Its figures are"',
    CardDo.SCAN: "if it shows a card, drop it on that card's page",
    CardDo.SCANNED_CARD: "drop it on the page of the card that was scanned",
    CardDo.WITHOUT_STEP: 'paint it, or tick {step} under "Steps left unpainted"',
}
"""Every remedy; arguments stand in braces."""
FIELDS = {
    "corners": "Corners",
    "geometry": "Geometry of the instrument",
    "grey": "Grey card",
    "mixtures": "Mixtures",
    "scale": "You measure paint with",
    "specular": "The surface's shine",
    "unit": "Its figures are",
}
"""What fields are called on the page; others by their own names."""
_DROPPED = re.compile(r"(?:[A-Za-z]:)?[/\\][^:,'\"\n]*[/\\]dropped[/\\]")
"""Where files that were dropped on the page lie: they are known by their names."""


def said(what: str | Sentence | Remedy | Field | InputError) -> str:
    """Return what a room below says, with the fields and buttons that are meant."""
    line = (what if isinstance(what, InputError) else Sentence(what)).said(_word)
    return for_the_page(_DROPPED.sub("", line))


def _word(part: Remedy | Field) -> str:
    if isinstance(part, Remedy):
        return WORDS[part.code].format(**part.arguments)
    label = f'"{FIELDS[part.name]}"' if part.name in FIELDS else part.name.replace("-", " ")
    return f"{label} {part.given}".rstrip()
