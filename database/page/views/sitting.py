"""A sitting at the instrument: begun, gone on with or rehearsed, and answered question by question.

The sitting itself goes on in `sitting_room`; every address here may be asked at any time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from starlette.responses import JSONResponse, PlainTextResponse, Response

from ....calibrate.cards.card import Card
from ....calibrate.errors import InputError
from ....calibrate.formats.read import read_session
from ....calibrate.instrument.emulated_port import plugged_in
from ....calibrate.instrument.line import ports
from ....calibrate.instrument.profile import Profile
from ....calibrate.instrument.profile_file import profile_names, read_profile
from ....calibrate.instrument.profile_file import template as profile_template
from ....calibrate.instrument.progress import VOID, Progress
from ....calibrate.optics.spectra import Spectra
from ...cards.progress import named_card
from ...cards.rehearsing import Hand, emulated, rehearsal
from ...cards.sitting import Sat, connected
from ...cards.sitting_words import answer_words, place_words, remark, request
from ...pictures.swatch import Swatch, swatch
from ...store.sittings import Sitting
from ...store.store import Store
from .. import spectra_chart
from ..asked import Asked, Changed, go, view
from ..card_map import CardMap, card_map
from ..sitting_room import Passed, Room, Seat, Standing
from ..uploads import keep

_REMOTE = ("socket://", "rfc2217://")
_SOON_S = 1.5
"""How long an answer waits for what is asked next, so that most readings need one page."""


def _room(asked: Asked) -> Room:
    found: Room = asked.request.app.state.room
    return found


@view
def sitting(asked: Asked) -> Response:
    """What is asked in the sitting with a card; without one, what it came to and how to begin."""
    room = _room(asked)
    if asked.by_script:
        return JSONResponse({"stamp": room.stamp})
    with asked.store() as store:
        number, card, _ = named_card(store, asked.path("card"))
        left, ever = _left(store, card.name), store.sittings.all()
        progress = None if left is None else store.sittings.progress(left)
    seat, there = room.seat, room.taken
    standing = seat.standing if seat is not None and seat.number == number else None
    if standing is not None and not standing.ended:
        return asked.show(
            "sitting.html", number=number, standing=standing, map=_map(standing),
            reading=_reading(standing), read=_read(standing.progress, standing.card),
            chart=spectra_chart, request=request, answer_words=answer_words,
            place_words=place_words,
        )  # fmt: skip
    return asked.show(
        "sitting_begin.html", number=number, card=card, ended=standing, left=left,
        read=_read(progress, card), elsewhere=there, ports=ports(),
        usual=left.port if left else ever[-1].port if ever else "",
        profiles={name: read_profile(name) for name in profile_names()}, own=_own(ever),
        certificates=_certificates(ever), place_words=place_words,
    )  # fmt: skip


def _left(store: Store, card: str) -> Sitting | None:
    """The sitting of a card that is open."""
    return next((s for s in reversed(store.sittings.open()) if s.card == card), None)


def _own(ever: Sequence[Sitting]) -> dict[str, Sitting]:
    """Profiles of the user's own that were used before, by what a form calls them."""
    shipped = {read_profile(name).text for name in profile_names()}
    latest = {s.profile.text: s for s in ever if s.profile.text not in shipped}
    return {f"used-{s.number}": s for s in reversed(latest.values())}


def _certificates(ever: Sequence[Sitting]) -> dict[str, Path]:
    """Files of certified values that were used before and are still there."""
    latest = {s.tiles: s.number for s in ever if s.tiles and Path(s.tiles).is_file()}
    return {f"used-{number}": Path(tiles) for tiles, number in reversed(latest.items())}


def _read(progress: Progress | None, card: Card | None) -> tuple[int, int]:
    """How many patches of a card are read, of how many."""
    patches = () if card is None else card.patches
    return sum(progress.is_done(p) for p in patches) if progress else 0, len(patches)


def _map(standing: Standing) -> CardMap | None:
    if standing.card is None or standing.wavelengths is None:
        return None
    place = standing.question.place if standing.question else ""
    return card_map(standing.card, standing.progress, standing.wavelengths, place)


@dataclass(frozen=True)
class Reading:
    """The last reading, to be shown.

    Attributes
    ----------
    place : str
        In words.
    wrong : bool
        Whether it looks wrong.
    chart : Chart or None
        It, and those of its patch before it; None where it holds no value.
    """

    place: str
    remark: str
    wrong: bool
    swatch: Swatch
    chart: spectra_chart.Chart | None


def _reading(standing: Standing) -> Reading | None:
    shown = standing.last
    if shown is None or standing.wavelengths is None:
        return None
    last = shown.reading
    rows = [
        r for r in standing.progress.readings
        if (r.place, r.round) == (last.place, last.round) and r.repeat < last.repeat
    ]  # fmt: skip
    rows = [r for r in (*rows, last) if np.isfinite(r.values).any()]
    drawn = None
    if rows:
        values = np.array([r.values for r in rows])
        labels = [f"reading {r.repeat}" for r in rows]
        drawn = spectra_chart.chart(Spectra.from_values(standing.wavelengths, values, labels))
    seen = Swatch("", "no colour", False, shown.colour)
    if np.isfinite(shown.colour).all():
        seen = swatch(shown.colour)
    wrong = VOID in last.said or "doubt" in last.said
    return Reading(place_words(last.place), remark(shown), wrong, seen, drawn)


@view
def begin(asked: Asked) -> Response:
    """Sit down with a card, go on with it, or rehearse."""
    with asked.store() as store:
        number, card, _ = named_card(store, asked.path("card"))
        left, ever = _left(store, card.name), store.sittings.all()
    how, name = asked.text("how"), card.name
    if how == "rehearse":
        work = _rehearsed(asked, name, ever)
    elif how == "on":
        work = _gone_on(asked, name, left, ever)
    else:
        work = _begun(asked, name, ever)
    _room(asked).begin(number, work)
    return go(f"/cards/{number}/sitting")


def _begun(asked: Asked, card: str, ever: Sequence[Sitting]) -> Callable[[Seat], Sat]:
    profile, port = _profile(asked, ever), _port(asked)
    tiles = _certificate(asked, ever)
    certified = None if tiles is None else read_session(tiles)
    repeats, seen = asked.number("repeats", 2, 1, 20), asked.text("left")

    def work(seat: Seat) -> Sat:
        with asked.store() as store, connected(profile, port) as instrument:
            with store.transaction():
                _unchanged(store, card, seen)
                sitting = store.sittings.begin(card, profile, port, repeats, bool(seen), tiles)
            return seat.sit(store, sitting, instrument, certified)

    return work


def _gone_on(
    asked: Asked, card: str, left: Sitting | None, ever: Sequence[Sitting]
) -> Callable[[Seat], Sat]:
    seen, port = asked.text("left"), _port(asked)
    tiles = _certificate(asked, ever)
    if tiles is None and left is not None and left.tiles is not None:
        tiles = Path(left.tiles)
    certified = None if tiles is None else read_session(tiles)

    def work(seat: Seat) -> Sat:
        with asked.store() as store:
            sitting = _unchanged(store, card, seen)
            if sitting is None:
                raise Changed(f"the sitting with card {card}")
            with connected(sitting.profile, port) as instrument:
                return seat.sit(store, sitting, instrument, certified)

    return work


def _rehearsed(asked: Asked, card: str, ever: Sequence[Sitting]) -> Callable[[Seat], Sat]:
    profile, repeats = _profile(asked, ever), asked.number("repeats", 2, 1, 20)
    tiles = _certificate(asked, ever)
    certified = None if tiles is None else read_session(tiles)

    def work(seat: Seat) -> Sat:
        with asked.store() as mine, rehearsal(mine, card) as (store, name):
            emulator = emulated(profile, store.cards.find(name), certified=certified)
            with plugged_in(emulator) as port, connected(profile, port) as instrument:
                sitting = store.sittings.begin(name, profile, port, repeats, anew=True)
                return seat.sit(store, sitting, instrument, certified, Hand(emulator).answered)

    return work


def _unchanged(store: Store, card: str, seen: str) -> Sitting | None:
    """Return the open sitting of a card, where it is the one that the page showed."""
    found = _left(store, card)
    if seen != (str(found.number) if found else ""):
        raise Changed(f"the sitting with card {card}")
    return found


def _profile(asked: Asked, ever: Sequence[Sitting]) -> Profile:
    """The profile that was brought along, or chosen."""
    if brought := asked.uploads("profile_file"):
        return read_profile(keep(asked.studio, brought)[0])
    chosen = asked.text("profile")
    if (own := _own(ever).get(chosen)) is not None:
        return own.profile
    if chosen not in profile_names():
        raise InputError(None, "instrument", "say how to talk to it", "choose one, or bring a file")
    return read_profile(chosen)


def _certificate(asked: Asked, ever: Sequence[Sitting]) -> Path | None:
    """The file of certified values that was brought along, or chosen."""
    if brought := asked.uploads("certificate_file"):
        return keep(asked.studio, brought)[0]
    return _certificates(ever).get(asked.text("certificate"))


def _port(asked: Asked) -> str:
    """Where the instrument is: as typed, or chosen."""
    typed = asked.text("address")
    if "://" in typed and not typed.startswith(_REMOTE):
        # Others of pyserial's addresses do more than open a line.
        raise InputError(
            "address", typed, "isn't one of an instrument", f"write {_REMOTE[0]}HOST:PORT"
        )
    port = typed or asked.text("port")
    if not port:
        raise InputError(
            None, "port", "say where the instrument is",
            "plug it in, load this page again and choose its port, or type an address",
        )  # fmt: skip
    return port


@view
def answer(asked: Asked) -> Response:
    """Answer what is asked, if it is what was seen."""
    seat = _room(asked).seat
    if seat is None:
        raise Passed
    seat.answer(asked.text("seen"), asked.text("answer"))
    seat.settled(_SOON_S)
    return go(f"/cards/{seat.number}/sitting")


@view
def template(asked: Asked) -> Response:
    """A profile to fill in by an instrument's manual."""
    said = {"Content-Disposition": 'attachment; filename="instrument.toml"'}
    return PlainTextResponse(profile_template(), headers=said)
