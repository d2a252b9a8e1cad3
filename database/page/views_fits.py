"""Fits: begun, watched, judged, and seen."""

from __future__ import annotations

import io
from threading import Lock

from starlette.responses import Response

from ...calibrate.errors import InputError
from ..fitting import StudioFit, fit_studio
from ..plots import tint_figure
from ..scan_fitting import unfit_scans
from .asked import Asked, view
from .jobs import Progress
from .standing import held_out, verdicts

DRAWING = Lock()
"""Matplotlib draws one figure at a time."""


@view
def fits(asked: Asked) -> Response:
    """The verdict on every paint."""
    with asked.store() as store:
        found, held = verdicts(store), held_out(store)
        fitted = {verdict.paint for verdict in found}
        tubes = [paint for paint in store.paints() if paint.nickname not in fitted]
        unfit = unfit_scans(store)
    return asked.show("fits.html", verdicts=found, held=held, unfitted=tubes, unfit=unfit)


@view
def fit(asked: Asked) -> Response:
    """Fit all paints, or those named against the others."""
    chosen = asked.texts("paint")

    def work(progress: Progress) -> str:
        with asked.store() as store:
            paints = [store.find_paint(name).nickname for name in chosen]
            progress("reading the cards")
            done: StudioFit = fit_studio(
                store, paints, progress=lambda step, _: progress(f"step {step}")
            )
        return f"/fits?fresh={done.number}"

    return asked.job("Fitting " + (", ".join(chosen) or "all paints"), "/fits", work)


@view
def paint(asked: Asked) -> Response:
    """One paint: its verdict, its picture, and what was flagged."""
    with asked.store() as store:
        row = store.find_paint(asked.path("paint"))
        verdict = next((v for v in verdicts(store) if v.paint == row.nickname), None)
        if verdict is None:
            raise InputError(None, row.nickname, "has no fit yet", "read its card, then fit")
        found = store.fit_of(row.nickname)
    patches = found.patches
    flagged = patches[patches["flag"] != ""][["card", "patch", "flag"]].to_dict("records")
    return asked.show(
        "paint.html", paint=row, verdict=verdict, flagged=flagged,
        scanned=bool(found.coefficients.scan_made.any()),
    )  # fmt: skip


@view
def tint_picture(asked: Asked) -> Response:
    """How a paint tints toward white, as it is fitted now."""
    with asked.store() as store:
        row = store.find_paint(asked.path("paint"))
        found, cards = store.fit_of(row.nickname), store.cards()
    made = io.BytesIO()
    with DRAWING:
        tint_figure(found, row.name, cards).savefig(made, format="png", dpi=110)
    return Response(made.getvalue(), media_type="image/png")
