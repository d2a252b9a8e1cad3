"""A mix of one's own thinking: what it would look like, and why it greys."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from starlette.responses import Response

from ....calibrate.errors import InputError
from ....calibrate.optics.surface import GLOSSES
from ...cards.new_tube import figure
from ...easel.basis import names_of
from ...easel.habits import gloss_of, habits
from ...easel.prediction import MixRequest, greying, predicted_mix
from ...mixing.medium import MEDIUM, NAME
from ...pictures.swatch import swatch
from ...store.store import Store
from ..asked import Asked, view
from ..remedies import on_page
from ..worksheet import aim

_AS_READ = "read"
_BY = {"": "by weight", "volume": "by volume"}


@view
def predict(asked: Asked) -> Response:
    """What a mix would look like, as far as the address names one."""
    typed = {
        key.removeprefix("p:"): value.strip().replace(",", ".")
        for key, value in asked.request.query_params.multi_items()
        if key.startswith("p:") and value.strip()
    }
    said: dict[str, Any] = {"fault": None, "found": None, "muddy": None, "as_read": _AS_READ}
    with asked.store() as store:
        fitted, names = store.fits.current(), names_of(store)
        said["usual"] = habits(store).seen.finish
        tubes = [(p.nickname, p.name) for p in store.paints.all() if p.nickname in fitted]
        try:
            if typed:
                said |= _predicted(asked, store, typed)
            elif "by" in asked.request.query_params:
                raise InputError(None, "parts", "expected those of one tube at least", "say them")
        except InputError as error:
            said["fault"] = on_page(error)
    return asked.show(
        "predict.html", tubes=[*tubes, (MEDIUM, NAME)], typed=typed, names=names, swatch=swatch,
        finishes=GLOSSES, measures=_BY, **said,
    )  # fmt: skip


def _predicted(asked: Asked, store: Store, typed: dict[str, str]) -> dict[str, Any]:
    thick = figure("film", asked.text("film"), "60", "µm")
    if thick == 0:
        raise InputError("film", asked.text("film"), "expected more than 0 µm", "mend it")
    finish = asked.one_of("finish", [*GLOSSES, _AS_READ])
    request = MixRequest(
        ",".join(f"{name}={parts}" for name, parts in typed.items()),
        bool(asked.one_of("by", ["volume"])),
        gloss_of(finish),
        finish == _AS_READ,
        thick,
        aim(store, asked.text("over")) if asked.text("over") else None,
    )
    found = predicted_mix(store, request)
    paints = [paint for paint in found.parts if paint != MEDIUM]
    # A colour without its spectrum is aimed at as the eye sees it.
    seen = predicted_mix(store, replace(request, as_read=False)) if request.as_read else found
    return {
        "found": found,
        "seen": seen.looks[0].lab(),
        "seen_under": request.finish,
        "thick": thick,
        # One paint alone has no other that it could grey.
        "muddy": greying(store, request).found if len(paints) > 1 else None,
    }
