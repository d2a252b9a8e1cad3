"""Read a card with a spectrophotometer, patch by patch."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, print_table, say

if TYPE_CHECKING:
    from rich.console import Console

    from ...calibrate.formats.session import Session
    from ...calibrate.instrument.emulator import Emulator
    from ...calibrate.instrument.profile import Profile
    from ..cards.sitting import Sat
    from .sitting_terminal import SittingTerminal

EXAMPLE = "tintladder measure keel --port /dev/ttyUSB0 --profile mine.toml"


def measure(
    card: Annotated[
        str | None,
        typer.Argument(help="The card to read, by name or number; see tintladder card."),
    ] = None,
    port: Annotated[
        str | None,
        typer.Option(
            help="Where the instrument is: a serial port, or a URL as socket://HOST:PORT."
        ),
    ] = None,
    profile: Annotated[
        str | None,
        typer.Option(help="How to talk to it: bare, query, or a file of your own."),
    ] = None,
    repeats: Annotated[int, typer.Option(min=1, max=20, help="How often each patch is read.")] = 2,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on where the last sitting was left.")
    ] = False,
    anew: Annotated[
        bool, typer.Option("--anew", help="Give up the open sitting of this card and begin again.")
    ] = False,
    tiles: Annotated[
        Path | None,
        typer.Option(help="Certified values of the white tile and others, one sample each."),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option(help="percent or fraction, where the file of --tiles doesn't say."),
    ] = None,
    geometry: Annotated[
        str | None,
        typer.Option(help="di:8, 8:di or 45:0, where the file of --tiles doesn't say."),
    ] = None,
    specular: Annotated[
        str | None,
        typer.Option(help="included or excluded, where the file of --tiles doesn't say."),
    ] = None,
    tiles_are_clean: Annotated[
        bool,
        typer.Option("--tiles-are-clean", help="With --resume: go by tiles that are at odds."),
    ] = False,
    ports: Annotated[bool, typer.Option("--ports", help="List the ports, and stop.")] = False,
    template: Annotated[
        bool, typer.Option("--template", help="Print a profile to fill in, and stop.")
    ] = False,
    check: Annotated[
        str | None,
        typer.Option(
            metavar="PROFILE", help="Try a profile, command by command; nothing is stored."
        ),
    ] = None,
    replay: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Read a recorded dialogue by --profile, away from the instrument."
        ),
    ] = None,
    record: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write all that was sent and came: with --check in it, else in the last sitting.",
        ),
    ] = None,
    rehearse: Annotated[
        bool,
        typer.Option("--rehearse", help="Practise with an invented instrument; nothing is stored."),
    ] = False,
    stand_in: Annotated[
        bool,
        typer.Option(
            "--stand-in", help="Play the instrument, so that another terminal can read from it."
        ),
    ] = False,
    readings: Annotated[
        Path | None,
        typer.Option(help="What the invented instrument reads; without it, a demo session."),
    ] = None,
    mishap: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=SHARE", help="Faults in its replies, such as silence=0.05."),
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing; for a table that moves by itself.")
    ] = False,
    dry: Annotated[
        bool, typer.Option("--dry", help="With --yes: the paint was touched, and is dry.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Read a card with a spectrophotometer, patch by patch.

    Each reading is stored at once, so nothing read is ever lost. Don't look into the instrument's
    lamp. Never lay it on wet paint.
    """
    said = {"unit": unit, "geometry": geometry, "specular": specular}
    if ports:
        _ports(as_json)
    elif template:
        from .profile_trial import template as print_template

        print_template(as_json)
    elif check is not None:
        port = _needed(port, "--port", "see tintladder measure --ports")
        _check(check, port, record, yes, as_json)
    elif replay is not None:
        _replay(_needed(profile, "--profile", "say whose dialogue it is"), replay, as_json)
    elif record is not None:
        from .profile_trial import write_last_dialogue

        write_last_dialogue(card, record, as_json, studio)
    elif stand_in:
        _stand_in(card, profile or "query", readings, mishap or [], repeats, as_json, studio)
    elif rehearse:
        known = profile or "query"
        _rehearse(card, known, readings, mishap or [], repeats, tiles, said, yes, as_json, studio)
    elif resume:
        _resume(card, port, tiles, tiles_are_clean, said, yes, dry, as_json, studio)
    else:
        _begin(card, port, profile, repeats, tiles, said, anew, yes, dry, as_json, studio)


def _needed(value: str | None, option: str, do: str) -> str:
    if value is None:
        raise InputError(None, option, "it is missing", do)
    return value


def _ports(as_json: bool) -> None:
    from ...calibrate.instrument.line import ports

    found = ports()
    rows = [(each.name, each.words) for each in found]

    def show() -> None:
        if rows:
            print_table(("Port", "What it calls itself"), rows)
        else:
            typer.echo(
                "This computer has no serial port: plug the instrument in, and switch it on."
            )

    say([{"port": name, "words": words} for name, words in rows], as_json, show)


def _console(as_json: bool) -> Console:
    from rich.console import Console

    # Machines have standard output to themselves.
    console = Console(stderr=as_json, highlight=False)
    if not console.is_terminal:
        console.width = 200
    return console


def _terminal(
    profile: Profile, title: str, yes: bool, as_json: bool, emulator: Emulator | None = None
) -> SittingTerminal:
    from ..cards.rehearsing import Hand
    from .sitting_terminal import SittingTerminal

    console = _console(as_json)
    if emulator is None:
        return SittingTerminal(console, title, profile.wavelengths, yes)
    return SittingTerminal(console, title, profile.wavelengths, yes, Hand(emulator).answered)


def _begin(
    card: str | None,
    port: str | None,
    profile: str | None,
    repeats: int,
    tiles: Path | None,
    said: Mapping[str, str | None],
    anew: bool,
    yes: bool,
    dry: bool,
    as_json: bool,
    studio: str | None,
) -> None:
    if card is None:
        raise InputError(
            None, "measure", "expected the card to read",
            "name it; without an instrument try: tintladder measure --rehearse",
        )  # fmt: skip
    port = _needed(port, "--port", "say where the instrument is: tintladder measure --ports")
    profile = _needed(
        profile,
        "--profile",
        "give bare, query or a file of your own: tintladder measure --template",
    )
    _told_dry(yes, dry)
    known_tiles = _certified(tiles, said)
    with open_store(studio) as store:
        from ...calibrate.instrument.profile_file import read_profile
        from ..cards.progress import named_card
        from ..cards.sitting import connected, sit

        known, card = read_profile(profile), named_card(store, card)[1].name
        with connected(known, port) as instrument:
            sitting = store.sittings.begin(card, known, port, repeats, anew, tiles)
            terminal = _terminal(known, card, yes, as_json)
            done = sit(
                store, sitting, instrument, terminal.ask, terminal.show, terminal.tell, known_tiles
            )
    _say_done(done, as_json)


def _resume(
    card: str | None,
    port: str | None,
    tiles: Path | None,
    tiles_are_clean: bool,
    said: Mapping[str, str | None],
    yes: bool,
    dry: bool,
    as_json: bool,
    studio: str | None,
) -> None:
    _told_dry(yes, dry)
    with open_store(studio) as store:
        from ..cards.progress import named_card
        from ..cards.sitting import connected, sit

        sitting = store.sittings.find(named_card(store, card)[1].name if card else None)
        if tiles is None and sitting.tiles is not None:
            tiles = Path(sitting.tiles)
        known_tiles = _certified(tiles, said)
        with connected(sitting.profile, port or sitting.port) as instrument:
            terminal = _terminal(sitting.profile, sitting.card, yes, as_json)
            faces = terminal.ask, terminal.show, terminal.tell
            done = sit(store, sitting, instrument, *faces, known_tiles, tiles_are_clean)
    _say_done(done, as_json)


def _certified(tiles: Path | None, said: Mapping[str, str | None]) -> Session | None:
    from ...calibrate.formats.read import read_session

    return None if tiles is None else read_session(tiles, **said)


def _told_dry(yes: bool, dry: bool) -> None:
    if yes and not dry:
        raise InputError(
            None, "--yes", "nobody will be asked whether the paint is dry",
            "touch it: where no fingertip drags, add --dry",
        )  # fmt: skip


def _rehearse(
    card: str | None,
    profile: str,
    readings: Path | None,
    mishap: list[str],
    repeats: int,
    tiles: Path | None,
    said: Mapping[str, str | None],
    yes: bool,
    as_json: bool,
    studio: str | None,
) -> None:
    from contextlib import nullcontext

    from ...calibrate.instrument.emulated_port import plugged_in
    from ...calibrate.instrument.profile_file import read_profile
    from ..cards.rehearsing import emulated, parse_mishaps, rehearsal
    from ..cards.sitting import connected, sit

    known_tiles = _certified(tiles, said)
    known, shares = read_profile(profile), parse_mishaps(mishap)
    with (
        open_store(studio) if card is not None else nullcontext() as mine,
        rehearsal(mine, card) as (store, name),
    ):
        emulator = emulated(known, store.cards.find(name), readings, shares, certified=known_tiles)
        with plugged_in(emulator) as port, connected(known, port) as instrument:
            sitting = store.sittings.begin(name, known, port, repeats, anew=True)
            terminal = _terminal(known, f"Rehearsal with {name}", yes, as_json, emulator)
            terminal.tell("A rehearsal: instrument and readings are made up, and nothing is kept.")
            done = sit(
                store, sitting, instrument, terminal.ask, terminal.show, terminal.tell, known_tiles
            )
    _say_done(done, as_json, rehearsed=True)


def _stand_in(
    card: str | None,
    profile: str,
    readings: Path | None,
    mishap: list[str],
    repeats: int,
    as_json: bool,
    studio: str | None,
) -> None:
    from contextlib import nullcontext

    from ...calibrate.instrument.emulated_port import plugged_in
    from ...calibrate.instrument.profile_file import read_profile
    from ..cards.rehearsing import emulated, parse_mishaps, rehearsal

    known, shares = read_profile(profile), parse_mishaps(mishap)
    with (
        open_store(studio) if card is not None else nullcontext() as mine,
        rehearsal(mine, card) as (store, name),
    ):
        emulator = emulated(known, store.cards.find(name), readings, shares, repeats)
    with plugged_in(emulator) as port:
        to = "" if repeats == 2 else f" --repeats {repeats}"
        words = (
            f"Standing in for an instrument at\n  {port}\nwith card {name} before it: first the "
            f"trap, then the tile, then each patch {repeats} times.\nIn another terminal:\n"
            f"  tintladder measure {name} --port {port} --profile {profile}{to}\n"
            f"  tintladder measure --check {profile} --port {port}\nCtrl-C ends it."
        )
        say({"port": port, "card": name}, as_json, lambda: typer.echo(words))
        sys.stdout.flush()
        try:
            while True:
                time.sleep(3600)
        except KeyboardInterrupt:
            typer.echo(f"{len(emulator.sent)} readings were sent.", err=as_json)


def _check(profile: str, port: str, record: Path | None, yes: bool, as_json: bool) -> None:
    from ...calibrate.instrument.profile_file import read_profile
    from .profile_trial import check

    known = read_profile(profile)
    check(known, port, _terminal(known, f"Trying {profile}", yes, as_json), record, as_json)


def _replay(profile: str, file: Path, as_json: bool) -> None:
    from ...calibrate.instrument.profile_file import read_profile
    from .profile_trial import replay

    replay(read_profile(profile), file, as_json)


def _say_done(done: Sat, as_json: bool, rehearsed: bool = False) -> None:
    from dataclasses import asdict

    said = asdict(done) | {"rehearsed": rehearsed}
    say(said, as_json, lambda: _show_done(done, rehearsed))


def _show_done(done: Sat, rehearsed: bool) -> None:
    if done.words:
        typer.echo(f"{done.words[0].upper()}{done.words[1:]}.")
    again = f", {done.read_again} more kept of patches read again" if done.read_again else ""
    typer.echo(f"{done.read} of {done.patches} patches, {done.readings} readings{again}.")
    if done.skipped:
        typer.echo(f"Skipped: {', '.join(done.skipped)}")
    for patch, words in done.doubts:
        typer.echo(f"Looked wrong, and kept: {patch}: {words}")
    for words in done.corrections:
        typer.echo(f"{words[0].upper()}{words[1:]}.")
    if rehearsed:
        typer.echo("That was a rehearsal; nothing of it was kept.")
    elif done.session is None:
        typer.echo(f"It is kept. Go on with: tintladder measure --resume {done.card}")
    else:
        typer.echo(
            f"Session {done.session} of card {done.card} is in the studio, as if read from a file. "
            "Next: tintladder fit"
        )
