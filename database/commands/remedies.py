"""What to do about it, as the command line says it."""

from __future__ import annotations

from collections.abc import Mapping

from ...calibrate.errors import CardDo, Field, InputError, Remedy, RemedyCode, Sentence

WORDS: Mapping[RemedyCode, str] = {
    CardDo.ADD_PAINT: "add it with 'tintladder tubes add', or mend its nickname in the card",
    CardDo.CHECK_UNIT: "check whether the file is in percent (--unit percent), or read the patch "
    "again",
    CardDo.GIVE_TILES: "give them with --tiles",
    CardDo.LEAVE_OUT_STRIP: "leave out --strip",
    CardDo.MORE_TUBES: "name more tubes, or say that they are on hand: tintladder tubes on NAME",
    CardDo.NAME_SAMPLES: "name samples STEP/black and STEP/white as on the card, or give the right "
    "--card",
    CardDo.PLUG_IN: "plug the instrument in, and look again: tintladder measure --ports",
    CardDo.RIGHT_CARD: "give the right --card",
    CardDo.SAY_GEOMETRY: "pass --geometry di:8, --geometry 8:di or --geometry 45:0 (a sphere also "
    "--specular included or excluded)",
    CardDo.SAY_SPECULAR: "pass --specular included or --specular excluded",
    CardDo.SAY_UNIT: "pass --unit percent or --unit fraction",
    CardDo.SCAN: "if it shows a card, read it with tintladder scan",
    CardDo.SCANNED_CARD: "give the card that was scanned, with --card",
    CardDo.WITHOUT_STEP: "paint it, or scan without it: --without {step}",
}
"""Every remedy; arguments stand in braces."""


def said(what: str | Sentence | Remedy | Field | InputError) -> str:
    """Return what a room below says, with the commands and options that are meant."""
    if isinstance(what, (Sentence, InputError)):
        return what.said(_word)
    return Sentence(what).said(_word)


def _word(part: Remedy | Field) -> str:
    if isinstance(part, Field):
        return f"--{part.name} {part.given}".rstrip()
    return WORDS[part.code].format(**part.arguments)
