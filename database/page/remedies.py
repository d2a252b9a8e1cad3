"""What to do about it, as the page says it: by its fields, buttons and parts."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ...calibrate.errors import CalibrateDo, Field, InputError, Remedy, RemedyCode, Sentence
from ..common.remedies import StudioDo

WORDS: Mapping[RemedyCode, str] = {
    CalibrateDo.ADD_PAINT: "add it under Tubes, or mend its nickname in the card's file",
    CalibrateDo.CHECK_UNIT: 'check whether the file is in percent, and choose that under "Its '
    'figures are", or read the patch again',
    CalibrateDo.FIT_TOGETHER: "fit all paints together, under Fits",
    CalibrateDo.GIVE_TILES: "give the file of its tile's certified values",
    CalibrateDo.LOOK_AT_TILE: "clean the tile, see that it is the right one, and read it again",
    CalibrateDo.LEAVE_OUT_STRIP: "leave the grey strip out",
    CalibrateDo.MORE_TUBES: "tick more tubes, or say under Tubes that they are on hand",
    CalibrateDo.NAME_SAMPLES: "name samples STEP/black and STEP/white as on the card, or drop the "
    "file on the page of the card that it is of",
    CalibrateDo.PLUG_IN: "plug the instrument in, and load this page again",
    CalibrateDo.RIGHT_CARD: "drop it on the page of the card that it shows",
    CalibrateDo.SAY_GEOMETRY: 'choose it under "Geometry of the instrument", and of a sphere also '
    '"The surface\'s shine"',
    CalibrateDo.SAY_ONLY: 'say which is meant under "Which of several readings": {choices}',
    CalibrateDo.SAY_SPECULAR: 'choose it under "The surface\'s shine"',
    CalibrateDo.SAY_UNIT: 'choose it under "Its figures are"',
    CalibrateDo.SAY_WEIGHED: "Say what differed, by its number, on the page of card {card}",
    CalibrateDo.SCAN: "if it shows a card, drop it on that card's page",
    CalibrateDo.SCANNED_CARD: "drop it on the page of the card that was scanned",
    CalibrateDo.WITHOUT_STEP: 'paint it, or tick {step} under "Steps left unpainted"',
    StudioDo.ADD_FIRST: "add it first, under Tubes",
    StudioDo.ADD_LOT: "add lot {lot} on the page of {name} under Tubes, or mend the card's file",
    StudioDo.ADD_TUBE: "add it under Tubes",
    StudioDo.ADOPT_UNPROVEN: "if you trust whoever gave it to you, tick adopt it although it is "
    "unproven",
    StudioDo.ALLOW_TUBES: "allow {count} tubes in a mix",
    StudioDo.BACKUP_FILE: "choose a backup of a studio",
    StudioDo.BEGIN_SITTING: "begin one on the card's page",
    StudioDo.CARD_NAMED: "see under Cards which there are",
    StudioDo.CHARACTERISE_OR_CONFIRM: "show a flatbed a target with spectra under Scanners first, "
    'or choose "Print it all the same"',
    StudioDo.CHARACTERISE_AND_SCAN: "show it a target under Scanners, and scan the card again",
    StudioDo.CHOOSE_PLACE: "see that the studio's folder can be written to",
    StudioDo.DRAW_ALONE: "plan a card of {paint} alone under Cards",
    StudioDo.EXCLUDE_OR_FORCE: 'mend it, tick the paint under "Leave out", or say "Why to publish '
    'all the same"',
    StudioDo.FIT: "fit under Fits",
    StudioDo.FIT_AGAIN: "fit again, under Fits",
    StudioDo.FIT_AGAIN_OR_ANY_MODEL: "where an instrument read it, fit again under Fits",
    StudioDo.FIT_PAINT: "read its card, then fit under Fits",
    StudioDo.GIVE_VALUES_OR_CARD: "drop the file of its values too, both at once; or come here "
    "from the page of a card, whose own references stand in",
    StudioDo.GO_ON: "go on with it on the page of card {card}",
    StudioDo.GO_ON_OR_ANEW: "go on with it on the page of card {card}, or give it up there and "
    "begin anew",
    StudioDo.HAVE_AGAIN: "if you have it again, say so on the page of {paint} under Tubes; a new "
    "tube of another lot is added there too",
    StudioDo.KEEP_BATCH: "keep the batch under Mix when you have mixed one",
    StudioDo.LEAVE_ONE_OUT: "leave one of them out",
    StudioDo.LEAVE_OUT_MUST: 'untick it under "Must be in the mix" to see them',
    StudioDo.LEAVE_TUBES_OR_MIX: "leave the tubes out, or have the mixtures chosen",
    StudioDo.LIST_RECIPES: "see under Kept which there are",
    StudioDo.MEASURED_ONLY: 'tick it under "Leave out" if it should not be in',
    StudioDo.MEND_LABEL: "it can be mended on the tube's page",
    StudioDo.MORE_ON_HAND: "tick more, or say under Tubes that more are on hand",
    StudioDo.MORE_THICKNESS: "say how thick the dry film is",
    StudioDo.NAME_CARD_SITTING: "go on with one on its card's page",
    StudioDo.NAME_DEVICE: 'where it is another device\'s, choose that under "Taken with"',
    StudioDo.NAME_DEVICE_OR_CHARACTERISE: 'choose it under "Taken with", or show it a target under '
    "Scanners",
    StudioDo.NAME_ITS_CARD: "choose the card that it shows, or take the other picture back on that "
    "card's page",
    StudioDo.NAME_FOLDER: "choose another folder to restore to",
    StudioDo.TEACH_DRYING: "let the dab dry, or show a wet and a dried dab of one mix under Drying",
    StudioDo.NAME_TUBES_OF: "if you know which they are, tick them",
    StudioDo.NICKNAME: "give yours a nickname of its own, such as {nickname}",
    StudioDo.OTHER_FOLDER: "name another folder",
    StudioDo.PAINT_LADDER: "paint the ladder of one first: plan its card under Cards",
    StudioDo.PAINT_LADDER_OF: "paint the ladder of {paint} first: plan its card under Cards",
    StudioDo.PLAN: "plan a card of {paint} under Cards",
    StudioDo.READ: "read it on its page under Cards",
    StudioDo.READ_CARD_FILE: "bring the card's file first, under Cards",
    StudioDo.READ_HELP: "see what was read on the page of a card",
    StudioDo.READ_MENDED: "correct the file and bring it again under Cards",
    StudioDo.RELEASE_FILE: "give the zip of a published release",
    StudioDo.RENAME: 'give it another under "Under another nickname"',
    StudioDo.RENAME_OR_SKIP: 'give it another under "Under another nickname", or leave it',
    StudioDo.RESTORE: "bring a backup back",
    StudioDo.RESTORE_ELSEWHERE: "restore to another folder",
    StudioDo.SAY_BLACK: "keep only one of them on hand, under Tubes",
    StudioDo.SAY_CARD: "read it on the page of its card",
    StudioDo.SAY_GRAMS: "say below what was weighed",
    StudioDo.SAY_ON_HAND_OR_FIT: "say under Tubes what is on hand, or fit under Fits",
    StudioDo.SAY_WHITE: 'choose it under "Let down with"',
    StudioDo.SEE_CHANGES: "see under Changes what can be taken back",
    StudioDo.SEE_PREVIEW: "choose otherwise",
    StudioDo.SEE_RECIPES_AND_TUBES: "name one of those under Kept or under Tubes",
    StudioDo.SEE_TUBES_OR_ADD: "see under Tubes which there are, or add it there",
    StudioDo.START_ANEW: "clear the plate",
    StudioDo.START_STUDIO: "add a first tube",
    StudioDo.TAKE_OR_RENAME: 'use theirs, keep both, or leave theirs, under "What to do"',
    StudioDo.TAKEN_BACK: "it can be taken back on that card's page",
    StudioDo.UPDATE: "update tintladder where it was installed from",
    StudioDo.VERIFY: "fetch it again",
    StudioDo.WHITE_OR_GREY: "touch a white or a grey too",
}
"""Every remedy; arguments stand in braces."""
FIELDS = {
    "area": "Size of the picture",
    "corners": "Corners",
    "device": "Taken with",
    "geometry": "Geometry of the instrument",
    "grey": "Grey card",
    "keep": "Name",
    "layout": "Kind of card",
    "make": "Make",
    "over": "That film lies over",
    "page": "Page",
    "scale": "You measure paint with",
    "specular": "The surface's shine",
    "thickness": "Dry film",
    "unit": "Its figures are",
    "with": "Must be in the mix",
}
"""What fields are called on the page; others by their own names."""
_DROPPED = re.compile(r"(?:[A-Za-z]:)?[/\\][^:,'\"\n]*[/\\]dropped[/\\]")
"""Where files that were dropped on the page lie: they are known by their names."""


def on_page(what: str | Sentence | Remedy | Field | InputError) -> str:
    """Return what a room below says, with the fields and buttons that are meant."""
    line = (what if isinstance(what, InputError) else Sentence(what)).said(_word)
    return _DROPPED.sub("", line)


def _word(part: Remedy | Field) -> str:
    if isinstance(part, Remedy):
        return WORDS[part.code].format(**part.arguments)
    label = f'"{FIELDS[part.name]}"' if part.name in FIELDS else part.name.replace("-", " ")
    return f"{label} {part.given}".rstrip()
