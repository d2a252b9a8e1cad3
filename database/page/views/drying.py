"""How paint changes as it dries: taught by a wet and a dried dab of one mix."""

from __future__ import annotations

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...cards.scanning import PICTURES
from ...easel.basis import names_of, nickname
from ...easel.drying import medium_words, taught, teach
from ...mixing.prediction import parse_mix
from ...mixing.target import Target
from ...pictures.swatch import swatch
from ..asked import Asked, go, view
from ..uploads import PHOTOS, keep
from ..worksheet import NEUTRALS, aim, aim_in_photo

_DABS = {"wet": "The wet dab", "dry": "The dried dab"}


@view
def drying(asked: Asked) -> Response:
    """Every pair of dabs, what they taught, and a form for one more."""
    with asked.store() as store:
        rows, models, names = store.dryings.all(), taught(store), names_of(store)
    return asked.show(
        "drying.html", rows=rows, models=models, names=names, swatch=swatch, photos=PHOTOS,
        medium_words=medium_words, dabs=_DABS, neutrals=NEUTRALS,
    )  # fmt: skip


@view
def teach_now(asked: Asked) -> Response:
    """Keep a pair."""
    uploads = asked.uploads("files")
    files = keep(asked.studio, uploads) if uploads else []
    if files and (len(files) > 1 or files[0].suffix.lower() not in PICTURES):
        raise InputError(files[0].name, None, "expected one photograph", "drop a JPEG, PNG or TIFF")
    with asked.store() as store, store.transaction():
        parts = parse_mix(asked.text("mix"), lambda name: nickname(store, name))

        def dab(key: str) -> Target:
            text = asked.text(key)
            if not text:
                raise InputError(_DABS[key], None, "has no colour yet", "say both dabs")
            if not files:
                return aim(store, text)
            neutral = {name: asked.text(name) for name in NEUTRALS if asked.text(name)}
            return aim_in_photo(store, files[0], text, neutral)

        teach(store, parts, dab("wet"), dab("dry"), bool(files))
    return go("/drying", at="pairs")


@view
def forget(asked: Asked) -> Response:
    """Forget a pair."""
    number = asked.path("pair")
    with asked.store() as store, store.transaction():
        if not number.isdigit() or not store.dryings.forget(int(number)):
            raise InputError(None, number, "there is no such pair any more", "see the list")
    return go("/drying", at="pairs")
