"""Profiles of instruments, tried, replayed and asked for: what the command measure does of them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from ...calibrate.errors import InputError
from ..common.files import read_text, write_whole
from .common import open_store, say

if TYPE_CHECKING:
    from ...calibrate.instrument.profile import Profile
    from ...calibrate.instrument.protocol.dialogue import Piece
    from ...calibrate.instrument.protocol.manual_questions import ManualQuestion
    from ...calibrate.instrument.trial import Tried
    from .sitting_terminal import SittingTerminal

_LAMP = "Don't look into the instrument's lamp. Never lay it on wet paint."


def template(as_json: bool) -> None:
    """Print a profile: asked for, where somebody sits there, else one to fill in."""
    from ...calibrate.instrument.profile_file import parse_profile
    from ...calibrate.instrument.profile_file import template as blank
    from ...calibrate.instrument.protocol.manual_questions import profile_of_answers

    if as_json or not sys.stdin.isatty():
        say(blank(), as_json, lambda: typer.echo(blank(), nl=False))
        return
    typer.echo("Have the manual at hand. Enter takes what stands in brackets.", err=True)
    text = profile_of_answers(_typed)
    typer.echo(text, nl=False)
    # After it is printed: what is wrong in it can be corrected in the file.
    parse_profile(text, "the profile just printed")


def _typed(question: ManualQuestion) -> str:
    choices = f" ({', '.join(question.answers)})" if question.answers else ""
    hint = r" (\r, \n, \x02 for what can't be typed)" if question.raw else ""
    while True:
        typed: str = typer.prompt(
            f"{question.words}{choices}{hint}",
            default=question.usual,
            show_default=bool(question.usual),
            err=True,
        )
        if not question.answers or typed in question.answers:
            return typed
        typer.echo(f"One of: {', '.join(question.answers)}", err=True)


def check(
    profile: Profile, port: str, terminal: SittingTerminal, record: Path | None, as_json: bool
) -> None:
    """Try a profile on its instrument, command by command."""
    from ...calibrate.instrument.line import Line
    from ...calibrate.instrument.protocol.line_settings import in_words, that_answer
    from ...calibrate.instrument.trial import try_profile
    from ..cards.sitting import connected

    if not as_json:
        typer.echo(_LAMP)
    with connected(profile, port) as instrument:
        tried = try_profile(instrument, terminal.ask)
    if record is not None:
        write_dialogue(record, [piece for each in tried for piece in each.pieces])
    say([_said(each) for each in tried], as_json, lambda: show_tried(tried))
    # Which takes a minute or two: nothing for a program that waits for an answer.
    if tried and not as_json and not any(each.understood for each in tried):
        found = that_answer(profile, lambda settings: Line(port, settings), terminal.tell)
        if found:
            settings = "; or ".join(in_words(each) for each in found)
            raise InputError(
                profile.file, "line", f"it answers by other settings: {settings}",
                "write those of the manual into [line]",
            )  # fmt: skip
    _refuse_wrong(profile, tried)


def replay(profile: Profile, file: Path, as_json: bool) -> None:
    """Read a recorded dialogue by a profile."""
    from ...calibrate.instrument.protocol.dialogue import parse_dialogue
    from ...calibrate.instrument.trial import replayed

    tried = replayed(profile, parse_dialogue(read_text(file), str(file)))
    say([_said(each) for each in tried], as_json, lambda: show_tried(tried))
    _refuse_wrong(profile, tried)


def write_last_dialogue(card: str | None, file: Path, as_json: bool, studio: str | None) -> None:
    """Write the dialogue of the last sitting, of a card or of any."""
    with open_store(studio) as store:
        from ...calibrate.instrument.protocol.dialogue import parse_dialogue
        from ..cards.progress import named_card

        sittings = store.sittings.all()
        if card is not None:
            name = named_card(store, card)[1].name
            sittings = [each for each in sittings if each.card == name]
        if not sittings:
            raise InputError(
                None,
                "--record",
                "no card was read at an instrument yet",
                "give --check PROFILE too",
            )
        kept = store.sittings.progress(sittings[-1]).readings
    lines = [line for reading in kept for line in reading.said.get("dialogue", ())]
    write_dialogue(file, list(parse_dialogue("\n".join(lines), "the sitting")))
    said = {"file": str(file), "card": sittings[-1].card, "pieces": len(lines)}
    say(said, as_json, lambda: typer.echo(f"Written to {file}: {len(lines)} pieces of dialogue."))


def write_dialogue(file: Path, pieces: list[Piece]) -> None:
    """Write a dialogue, so that a profile can be mended away from the instrument."""
    from ...calibrate.instrument.protocol.dialogue import written

    write_whole({file: written(pieces).encode()})


def _said(tried: Tried) -> dict[str, object]:
    return {key: value for key, value in vars(tried).items() if key != "pieces"}


def _refuse_wrong(profile: Profile, tried: list[Tried]) -> None:
    wrong = [each for each in tried if not each.understood]
    if wrong:
        raise InputError(
            profile.file, f"command.{wrong[0].command}", wrong[0].words,
            "compare the profile with the instrument's manual",
        )  # fmt: skip


def show_tried(tried: list[Tried]) -> None:
    """Print what was tried."""
    for each in tried:
        verdict = "well" if each.understood else "not understood"
        took = f", {1000 * each.seconds:.0f} ms" if each.seconds else ""
        typer.echo(f"{each.command}: {verdict}{took}: {each.words}")
        if each.sent:
            typer.echo(f"  sent {each.sent}")
        if each.got:
            typer.echo(f"  came {each.got}")
