"""Fits: begun, watched, judged, and seen."""

from __future__ import annotations

import re

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...cards.planning import one_more
from ...fits.fitting import StudioFit, fit_studio
from ...fits.learning import taught_before
from ...fits.scan_fitting import unfit_scans
from ...fits.standing import held_out, verdicts
from ...mixing.ladder import in_a_sentence, ladder, tint_path
from ...pictures.of_studio import drawn as pictured
from .. import spectra_chart
from ..asked import Asked, view
from ..drawing import drawn
from ..glance import SIDE, paint_drawn
from ..jobs import Progress

_SHOWN = 6
OF_ONE = {
    "tint": "All of it in one picture, with K and S and their bands",
    "film": "In thin films, from undertone to masstone",
    "hiding": "How thick a film hides", "leftover": "What its fit leaves over",
}  # fmt: skip
OF_ALL = {
    "tint": "Let down side by side", "strength": "Which tints strongest",
    "film": "In thin films, from undertone to masstone", "hiding": "How thick a film hides",
    "reach": "Every colour that the tubes on hand can make",
}  # fmt: skip
"""Pictures of one paint, and of all, drawn when they are opened."""


@view
def fits(asked: Asked) -> Response:
    """The verdict on every paint."""
    with asked.store() as store:
        found, held = verdicts(store), held_out(store)
        fitted = {verdict.paint for verdict in found}
        tubes = [paint for paint in store.paints.all() if paint.nickname not in fitted]
        unfit, taught, aside = unfit_scans(store), taught_before(store), store.fits.aside()
    return asked.show(
        "fits.html", verdicts=found, held=held, unfitted=tubes, unfit=unfit, taught=taught,
        aside=aside,
        pictures=OF_ALL, newest=max((each.fit for each in found), default=0),
    )  # fmt: skip


@view
def fit(asked: Asked) -> Response:
    """Fit all paints, or those named against the others."""
    chosen, learn = asked.texts("paint"), asked.texts("learn")

    def work(progress: Progress) -> str:
        with asked.store() as store:
            paints = [store.paints.find(name).nickname for name in chosen]
            progress("reading the cards")
            done: StudioFit = fit_studio(
                store, paints, progress=lambda step, _: progress(f"step {step}"), learn=learn
            )
        return back or f"/fits?fresh={done.number}"

    back = asked.text("back") if re.match(r"/[^/\\]", asked.text("back")) else ""
    return asked.job("Fitting " + (", ".join(chosen) or "all paints"), back or "/fits", work)


@view
def paint(asked: Asked) -> Response:
    """One paint: its verdict, its picture, and what was flagged."""
    with asked.store() as store:
        row = store.paints.find(asked.path("paint"))
        verdict = next((v for v in verdicts(store) if v.paint == row.nickname), None)
        if verdict is None:
            raise InputError(None, row.nickname, "has no fit yet", "read its card, then fit")
        found = store.fits.of(row.nickname)
        drawing = paint_drawn(ladder(found, store.cards.all()), tint_path(found))
        words = in_a_sentence(ladder(found, store.cards.all()), tint_path(found))
    patches = found.patches
    flagged = patches[patches["flag"] != ""][["card", "patch", "flag"]].to_dict("records")
    return asked.show(
        "paint.html", paint=row, verdict=verdict, flagged=flagged, drawn=drawing, words=words,
        chart=spectra_chart, side=SIDE,
        scanned=bool(found.coefficients.scan_made.any()), pictures=OF_ONE,
    )  # fmt: skip


@view
def next_drawdown(asked: Asked) -> Response:
    """Which one more drawdown of a paint would help most."""
    with asked.store() as store:
        row = store.paints.find(asked.path("paint"))
        found, no_shade = one_more(store, row.nickname)
    table = found.table.head(_SHOWN).to_dict("records")
    return asked.show("next_drawdown.html", paint=row, found=found, rows=table, no_shade=no_shade)


@view
def paint_picture(asked: Asked) -> Response:
    """What one paint does, as it is fitted now."""
    kind = asked.path("kind")
    if kind not in OF_ONE:
        raise _no_picture(kind)
    with asked.store() as store:
        paint = store.paints.find(asked.path("paint")).nickname
        return drawn(lambda: pictured(store, [paint], kind)[0])


@view
def picture_of_all(asked: Asked) -> Response:
    """What the paints that are fitted do, side by side; what they reach, of those on hand."""
    kind = asked.path("kind")
    if kind not in OF_ALL:
        raise _no_picture(kind)
    with asked.store() as store:
        fitted = store.fits.current()
        out = {paint.nickname for paint in store.paints.all() if not paint.on_hand}
        chosen = [paint for paint in fitted if paint not in out] if kind == "reach" else []
        paints = chosen or list(fitted)
        return drawn(lambda: pictured(store, paints, kind)[0])


def _no_picture(kind: str) -> InputError:
    return InputError(None, kind, "there is no such picture", "see Fits")
