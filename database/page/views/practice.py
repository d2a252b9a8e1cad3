"""Practice on the page: a colour, its tubes, what a hand took of them, and how it errs."""

from __future__ import annotations

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...easel.practice import forget as forget_all
from ...easel.practice import keep_round
from ...easel.practice import practice as standing
from ...pictures.swatch import swatch
from ..asked import Asked, go, shown, view

_MOST = 999_999
"""Seeds of exercises that an address may name."""


def _seed(asked: Asked) -> int:
    return asked.number("exercise", 0, 0, _MOST)


@view
def practice(asked: Asked) -> Response:
    """The next exercise, what was made of the last one, and what the hand always does."""
    seed = _seed(asked)
    with asked.store() as store:
        stand = standing(store, seed)
    # In the order of their names, which tells nothing of their parts.
    tubes = sorted(stand.next.parts, key=lambda paint: stand.basis.names[paint])
    return asked.show(
        "practice.html", stand=stand, tubes=tubes, swatch=swatch, seed=seed,
        last=stand.rounds[-1] if stand.rounds and asked.text("done") else None,
        seen=shown([len(stand.rounds), tubes]),
    )  # fmt: skip


@view
def take(asked: Asked) -> Response:
    """Keep what a hand made of the exercise that it was shown."""
    seed = _seed(asked)
    with asked.store() as store, store.transaction():
        stand = standing(store, seed)
        tubes = sorted(stand.next.parts, key=lambda paint: stand.basis.names[paint])
        asked.still([len(stand.rounds), tubes], "your practice")
        given = {paint: _part(asked, paint) for paint in tubes}
        keep_round(store, stand.next, given, asked.text("dried"))
    return go("/practice", {"done": 1}, at="came")


def _part(asked: Asked, paint: str) -> float:
    text = asked.text(f"part-{paint}").replace(",", ".") or "0"
    try:
        part = float(text)
    except ValueError:
        part = -1.0
    if not 0 <= part < 1e6:
        raise InputError(paint, text, "expected its parts as a number, zero or more", "write 2.5")
    return part


@view
def forget(asked: Asked) -> Response:
    """Forget all that was practised."""
    with asked.store() as store, store.transaction():
        forget_all(store)
    return go("/practice")
