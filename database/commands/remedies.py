"""What to do about it, as the command line says it."""

from __future__ import annotations

from collections.abc import Mapping

from ...calibrate.errors import CalibrateDo, Field, InputError, Remedy, RemedyCode, Sentence
from ..common.remedies import StudioDo

WORDS: Mapping[RemedyCode, str] = {
    CalibrateDo.ADD_PAINT: "add it with 'tintladder tubes add', or mend its nickname in the card",
    CalibrateDo.CHECK_UNIT: "check whether the file is in percent (--unit percent), or read the "
    "patch again",
    CalibrateDo.FIT_TOGETHER: "fit all paints together: tintladder fit",
    CalibrateDo.GIVE_TILES: "give them with --tiles",
    CalibrateDo.LOOK_AT_TILE: (
        "clean the tile, see that it is the right one, and read it again; if it is clean and "
        "right: --tiles-are-clean (of a sitting, with measure --resume)"
    ),
    CalibrateDo.LEAVE_OUT_STRIP: "leave out --strip",
    CalibrateDo.MORE_TUBES: "name more tubes, or say that they are on hand: tintladder tubes on "
    "NAME",
    CalibrateDo.NAME_SAMPLES: "name samples STEP/black and STEP/white as on the card, or give the "
    "right --card",
    CalibrateDo.PLUG_IN: "plug the instrument in, and look again: tintladder measure --ports",
    CalibrateDo.RIGHT_CARD: "give the right --card",
    CalibrateDo.SAY_GEOMETRY: "pass --geometry di:8, --geometry 8:di or --geometry 45:0 (a sphere "
    "also --specular included or excluded)",
    CalibrateDo.SAY_ONLY: "say which is meant: --only {choices}",
    CalibrateDo.SAY_SPECULAR: "pass --specular included or --specular excluded",
    CalibrateDo.SAY_UNIT: "pass --unit percent or --unit fraction",
    CalibrateDo.SAY_WEIGHED: "Say what differed, by its number, on the card's page or with "
    "tintladder card fill {card}",
    CalibrateDo.SCAN: "if it shows a card, read it with tintladder scan",
    CalibrateDo.SCANNED_CARD: "give the card that was scanned, with --card",
    CalibrateDo.WITHOUT_STEP: "paint it, or scan without it: --without {step}",
    StudioDo.ADD_FIRST: "add it first: tintladder tubes add",
    StudioDo.ADD_LOT: 'add it: tintladder tubes add --name "{name}" --maker "{maker}" --lot {lot}, '
    "or mend the card",
    StudioDo.ADD_TUBE: "add it: tintladder tubes add",
    StudioDo.ADOPT_UNPROVEN: "if you trust whoever gave it to you: --unproven",
    StudioDo.ALLOW_TUBES: "allow more: --tubes {count}",
    StudioDo.BACKUP_FILE: "name a file made by tintladder backup",
    StudioDo.BEGIN_SITTING: "begin one: tintladder measure CARD",
    StudioDo.CARD_NAMED: "give its name or number: tintladder card lists them",
    StudioDo.CHARACTERISE_OR_CONFIRM: "characterise a flatbed by a target with spectra first "
    "(tintladder device scanner), or print it all the same with --anyway",
    StudioDo.CHARACTERISE_AND_SCAN: "characterise it (tintladder device scanner) and scan the card "
    "again",
    StudioDo.CHOOSE_PLACE: "choose another place with --out",
    StudioDo.DRAW_ALONE: "draw it down alone: tintladder card {paint}",
    StudioDo.EXCLUDE_OR_FORCE: "see all with --preview; mend it, leave the paint out with "
    '--exclude, or publish all the same with --force "the reason"',
    StudioDo.FIT: "run: tintladder fit",
    StudioDo.FIT_AGAIN: "fit again: tintladder fit",
    StudioDo.FIT_AGAIN_OR_ANY_MODEL: "where an instrument read it, fit again: tintladder fit; else "
    "leave the model out",
    StudioDo.FIT_PAINT: "read its card, then run: tintladder fit {paint}",
    StudioDo.GIVE_VALUES_OR_CARD: "give its data file too, or --card for a card whose own "
    "references stand in",
    StudioDo.GO_ON: "go on with it: tintladder measure --resume {card}",
    StudioDo.GO_ON_OR_ANEW: "go on with it: tintladder measure --resume {card}; or begin --anew",
    StudioDo.HAVE_AGAIN: "if you have it again: tintladder tubes on {paint}; a new tube of another "
    "lot: the same with --lot",
    StudioDo.KEEP_BATCH: "when you have mixed one: tintladder recipe {recipe} --make 40ml --made",
    StudioDo.LEAVE_ONE_OUT: "leave one out: --without NAME",
    StudioDo.LEAVE_OUT_MUST: "leave --with out to see them",
    StudioDo.LEAVE_TUBES_OR_MIX: "leave the tubes out, or leave out --mix and have mixtures chosen",
    StudioDo.LIST_RECIPES: "list them: tintladder recipe",
    StudioDo.MEASURED_ONLY: "--measured-only leaves such paints out",
    StudioDo.MEND_LABEL: "it can be mended on the page: tintladder open",
    StudioDo.MORE_ON_HAND: "name more, or put more on hand: tintladder tubes on NAME",
    StudioDo.MORE_THICKNESS: "say how thick: --thickness 60",
    StudioDo.NAME_CARD_SITTING: "name the card: tintladder measure --resume CARD",
    StudioDo.NAME_DEVICE: "where it is another device's, name that (tintladder scan --device NAME)",
    StudioDo.NAME_DEVICE_OR_CHARACTERISE: "name it (tintladder scan --device NAME), or "
    "characterise it (tintladder device scanner)",
    StudioDo.NAME_ITS_CARD: "name the card that it shows (tintladder scan PICTURE --card NAME), or "
    "take the other picture back with tintladder read --undo",
    StudioDo.NAME_FOLDER: "name the folder to restore to with --studio",
    StudioDo.TEACH_DRYING: "let the dab dry, or teach it with a wet and a dried dab of one mix: "
    "tintladder drying",
    StudioDo.NAME_TUBES_OF: "if you know which they are, name them with --of",
    StudioDo.NICKNAME: "give yours a nickname of its own, such as --nickname {nickname}",
    StudioDo.OTHER_FOLDER: "name another with --studio",
    StudioDo.PAINT_LADDER: "paint its ladder first: tintladder card NAME",
    StudioDo.PAINT_LADDER_OF: "paint its ladder first: tintladder card {paint}",
    StudioDo.PLAN: "plan one: tintladder plan {paint}",
    StudioDo.READ: "read it: tintladder read",
    StudioDo.READ_CARD_FILE: "read the card's file first, or name it with --card",
    StudioDo.READ_HELP: "see tintladder read --help",
    StudioDo.READ_MENDED: "correct the file and read it again: tintladder read",
    StudioDo.RELEASE_FILE: "give the folder or the zip of a release made by tintladder publish",
    StudioDo.RENAME: "give it another with --rename",
    StudioDo.RENAME_OR_SKIP: "give it another with --rename {paint}=NICKNAME, or leave it with "
    "--skip {paint}",
    StudioDo.RESTORE: "bring a backup back: tintladder restore",
    StudioDo.RESTORE_ELSEWHERE: "restore to another folder with --studio, or give --over",
    StudioDo.SAY_BLACK: "say which with --shade",
    StudioDo.SAY_CARD: "say which card was read, with --card",
    StudioDo.SAY_GRAMS: "tintladder card fill {card}",
    StudioDo.SAY_ON_HAND_OR_FIT: "say what is on hand (tintladder tubes on NAME), or fit: "
    "tintladder fit",
    StudioDo.SAY_WHITE: "say which with --white",
    StudioDo.SEE_CHANGES: "see what can be taken back: tintladder undo",
    StudioDo.SEE_PREVIEW: "see all with --preview",
    StudioDo.SEE_RECIPES_AND_TUBES: "name one of either: see tintladder recipe and tintladder "
    "tubes",
    StudioDo.SEE_TUBES_OR_ADD: "see tintladder tubes for what there is, or add it with tintladder "
    "tubes add",
    StudioDo.START_ANEW: "start anew: --clear",
    StudioDo.START_STUDIO: "start one with: tintladder tubes add (or name its folder with "
    "--studio)",
    StudioDo.TAKE_OR_RENAME: "use theirs with --take {paint}, keep both with --rename "
    "{paint}=NICKNAME, or leave theirs with --skip {paint}",
    StudioDo.TAKEN_BACK: "tintladder read --undo takes back what was read last",
    StudioDo.UPDATE: "update with: pip install -U tintladder",
    StudioDo.VERIFY: "see with tintladder verify what is wrong with it, or fetch it again",
    StudioDo.WHITE_OR_GREY: "give --white or --grey too",
}
"""Every remedy; arguments stand in braces."""


def in_terminal(what: str | Sentence | Remedy | Field | InputError) -> str:
    """Return what a room below says, with the commands and options that are meant."""
    if isinstance(what, (Sentence, InputError)):
        return what.said(_word)
    return Sentence(what).said(_word)


def _word(part: Remedy | Field) -> str:
    if isinstance(part, Field):
        return f"--{part.name} {part.given}".rstrip()
    return WORDS[part.code].format(**part.arguments)
