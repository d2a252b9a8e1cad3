"""A mix of one's own thinking: what it would look like, and why it greys."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from ....calibrate.errors import InputError
from ....calibrate.optics.surface import GLOSSES
from ...cards.new_tube import figure
from ...easel.basis import names_of
from ...easel.on_hand import usable
from ...easel.typed_mix import typed_mix
from ...mixing.greying import muddy
from ...mixing.medium import MEDIUM, NAME
from ...mixing.palette import Palette
from ...mixing.prediction import look
from ...mixing.viewing import Viewing
from ...store.store import Store
from ..asked import Asked, view
from ..remedies import on_page
from ..swatch import swatch
from ..worksheet import aim

_BY = {"": "by weight", "volume": "by volume"}


@view
def foretell(asked: Asked) -> Response:
    """What a mix would look like, as far as the address names one."""
    typed = {
        key.removeprefix("p:"): value.strip().replace(",", ".")
        for key, value in asked.request.query_params.multi_items()
        if key.startswith("p:") and value.strip()
    }
    said: dict[str, Any] = {"fault": None, "looks": None, "muddy": None}
    with asked.store() as store:
        fitted, names = store.fits.current(), names_of(store)
        tubes = [(p.nickname, p.name) for p in store.paints.all() if p.nickname in fitted]
        try:
            if typed:
                said |= _foretold(asked, store, typed)
            elif "by" in asked.request.query_params:
                raise InputError(None, "parts", "expected those of one tube at least", "say them")
        except InputError as error:
            said["fault"] = on_page(error)
    return asked.show(
        "foretell.html", tubes=[*tubes, (MEDIUM, NAME)], typed=typed, names=names, swatch=swatch,
        finishes=GLOSSES, measures=_BY, **said,
    )  # fmt: skip


def _foretold(asked: Asked, store: Store, typed: dict[str, str]) -> dict[str, Any]:
    text = ",".join(f"{name}={parts}" for name, parts in typed.items())
    mix = typed_mix(store, text, bool(asked.one_of("by", ["volume"])))
    thick = figure("film", asked.text("film"), "60", "µm")
    if thick == 0:
        raise InputError("film", asked.text("film"), "expected more than 0 µm", "mend it")
    gloss = next((each for each in GLOSSES if each == asked.one_of("finish", GLOSSES)), None)
    ground = aim(store, asked.text("over")).as_ground(thick) if asked.text("over") else None
    looks = look(mix.coefficients, mix.parts, thick, Viewing(gloss), ground)
    return {
        "looks": looks, "mix": mix.words, "reckoned": mix.reckoned, "thick": thick, "finish": gloss,
        "assumed": mix.assumed, "scanned": bool(mix.coefficients.scan_made.any()),
        "muddy": _muddy(store, {p: part for p, part in mix.parts.items() if p != MEDIUM}),
    }  # fmt: skip


def _muddy(store: Store, parts: dict[str, float]) -> Any:
    """Why the paints of a mix grey one another; one alone has no other."""
    if len(parts) < 2:
        return None
    coefficients = usable(store, list(parts))
    pigments = {paint.nickname: paint.pigments for paint in store.paints.all()}
    return muddy(coefficients, parts, Palette(coefficients).white, pigments)
