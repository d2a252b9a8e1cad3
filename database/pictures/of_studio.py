"""Pictures of what paints do, drawn from what a studio holds."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from matplotlib.figure import Figure

from ...calibrate.errors import Field, InputError
from ...calibrate.fit.judging.hiding import PAINT_VIEW
from ...calibrate.fit.judging.own_films import Anchor, anchor, own_films
from ...calibrate.fit.judging.quality_report import quality_report
from ...calibrate.optics.coefficients import Coefficients
from ..easel.atlas import three_of, wall_of
from ..easel.basis import Manner, resting_on
from ..easel.habits import habits
from ..easel.record import HIDING, Record, record_of
from ..mixing.gamut import gamut
from ..mixing.ladder import in_a_sentence, ladder, tint_path
from ..mixing.palette import Palette
from ..mixing.strengths import rank
from ..mixing.viewing import AS_READ, Viewing, of_reading
from ..store.in_use import whites_of
from ..store.store import Store
from .figures import tint_figure
from .films import plot_contrasts, plot_films
from .ladders import plot_ladders, plot_strengths
from .quality import plot_hiding, plot_residuals
from .reach import reach_figure
from .style import INK, TITLE, WIDE, new_figure, signed, whole
from .wall_mixes import triangle

_FILMS = "films of 3 to 400 µm dry"
_TINT_BAND = "at the right: CIEDE2000 that 95 of 100 tints of a row stay within"


def drawn(
    store: Store,
    chosen: list[str],
    show: str,
    against: str | None = None,
    model: str | None = None,
) -> tuple[Figure, dict[str, Any]]:
    """Draw what some paints do.

    Parameters
    ----------
    store : Store
    chosen : list of str
        Nicknames.
    show : {"tint", "film", "hiding", "strength", "leftover", "reach", "triangle"}
    against : str, optional
        Of strength: the paint that counts as 1.
    model : {"two-flux", "transport"}, optional
        By which all is predicted; by default that which mixes of these are calculated by.

    Returns
    -------
    figure : Figure
    said : dict
        What goes with it in words and figures; ``calculated`` says by which model.

    Raises
    ------
    InputError
        Where it can't be drawn of these.
    """
    if show == "triangle":
        return _triangle(store, chosen)
    if show == "leftover" or (show in ("tint", "hiding") and len(chosen) == 1):
        return _one(store, chosen, show, model)
    return _several(store, chosen, show, against, model)


def _one(
    store: Store, chosen: list[str], show: str, model: str | None
) -> tuple[Figure, dict[str, Any]]:
    """Draw one paint by its own fit."""
    if len(chosen) > 1:
        raise InputError(Field("show"), show, "shows one paint at a time", "name one paint")
    name, fit = store.paints.find(chosen[0]).name, store.fits.of(chosen[0], model)
    said = {"paint": fit.paint, "verdict": fit.verdict, **_by(store, fit.coefficients, model)}
    basis = resting_on(store, Manner(), fit.coefficients)

    def record(film: str, band: str, viewing: Viewing = AS_READ) -> Record:
        return record_of(basis, [fit.paint], viewing, film, band)

    if show == "tint":
        cards = store.cards.all()
        said["sentence"] = in_a_sentence(ladder(fit, cards), tint_path(fit))
        made = tint_figure(fit, name, cards)
        return signed(
            made, record(f"films as painted, and {HIDING}", "grey bands: 95 %").lines
        ), said
    report = quality_report(fit, store.readings.all())
    if show == "leftover":
        scanned = bool(fit.coefficients.scan_made[fit.coefficients.index(fit.paint)])
        band = "grey: 95 % of what readings and model leave open"
        ax = plot_residuals(report, scanned=scanned, name=name)
        return whole(ax, record("films as painted, µm as the card says", band).lines), said
    if report.hiding is None:
        raise InputError(None, fit.paint, report.unsaid[0], "read a drawdown of known thickness")
    said["sentence"] = f"{fit.paint} {report.hiding}."
    seen = replace(of_reading(fit.coefficients.surface), light=PAINT_VIEW.illuminant)
    ax = plot_hiding(fit, report, name=name)
    record_ = record(_FILMS, "grey: 95 %", seen)
    return whole(ax, replace(record_, observer=PAINT_VIEW.observer).lines), said


def _several(
    store: Store, chosen: list[str], show: str, against: str | None, model: str | None
) -> tuple[Figure, dict[str, Any]]:
    """Draw several paints by the numbers in use."""
    names = {paint.nickname: paint.name for paint in store.paints.all()}
    with store.snapshot() as session:
        whites = whites_of(session, store.fits.current())
    # Unless another is asked for, the one that the fits state their strengths against.
    reference = store.paints.find(against).nickname if against else store.fits.strength_reference()
    if not against and not (reference in whites and whites.keys() & set(chosen)):
        reference = None
    needed = [*chosen, *([reference] if reference else [])]
    needed += [whites[paint] for paint in needed if paint in whites]
    c = store.fits.coefficients(list(dict.fromkeys(needed)), model)
    said, seen = _by(store, c, model), habits(store).seen
    basis = resting_on(store, Manner(seen), c)
    if show == "reach":
        palette = Palette(seen.of(c.select(chosen)), seen.view)
        figure = reach_figure(gamut(palette), [names[p] for p in chosen], viewing=seen)
        band = "single mixes are sure to within some CIEDE2000 0.3 to 2 (95 %): ask for one"
        return signed(figure, record_of(basis, chosen, band=band).lines), said
    try:
        if show == "tint":
            ax = plot_ladders(c, whites, chosen, names, viewing=seen)
            return whole(ax, record_of(basis, chosen, band=_TINT_BAND).lines), said
        if show == "film":
            own = _anchors(store, c, chosen)
            ax = plot_films(c, chosen, names, anchors=own, viewing=seen)
            band = "bars: where it begins to hide, 95 %"
            return whole(ax, record_of(basis, chosen, film=_FILMS, band=band).lines), said
        if show == "hiding":
            ax = plot_contrasts(c, chosen, names, anchors=_anchors(store, c, chosen))
            read = replace(of_reading(c.surface), light=PAINT_VIEW.illuminant)
            record = record_of(basis, chosen, read, _FILMS, "bars: the film that hides, 95 %")
            return whole(ax, replace(record, observer=PAINT_VIEW.observer).lines), said
    except ValueError as why:
        raise InputError(
            Field("show"), show, str(why), "read drawdowns of known thickness"
        ) from why
    ladders = {p: whites[p] for p in dict.fromkeys([*chosen, *needed]) if p in whites}
    found, unsaid = rank(c, ladders, reference)
    if not found:
        raise InputError(Field("show"), show, "none of these has a ladder in white", "name others")
    asked = next((s for s in found if [s.paint] == chosen), None)
    strongest = asked or found[0]
    which = "" if asked else "is the strongest: "
    said |= {
        "sentence": f"{names[strongest.paint]} {which or 'is '}{strongest}.",
        "strengths": {s.paint: round(s.ratio, 4) for s in found},
        "unsaid": unsaid,
    }
    # The whites that they are let down with are compared too.
    shown = dict.fromkeys([*(s.paint for s in found), *(s.white for s in found)])
    record = record_of(basis, list(shown), band="lines: 95 %")
    return whole(plot_strengths(found, c, names, viewing=seen), record.lines), said


def _triangle(store: Store, chosen: list[str]) -> tuple[Figure, dict[str, Any]]:
    """Draw three tubes in even steps of strength."""
    paints = three_of(chosen)
    wall = wall_of(store, paints)
    names = wall.basis.names
    plate = triangle(WIDE * 25.4 - 8, wall.triangle(paints), paints, names, painted=False)
    tall = (plate.height + 14) / 25.4
    figure = new_figure(WIDE, tall)
    title = " + ".join(names[p] for p in paints)
    figure.text(
        0.03, 1 - 0.18 / tall, title, fontsize=TITLE, color=INK, fontweight="bold", va="top"
    )
    edge = 4 / (WIDE * 25.4)
    plate.on_axes(figure.add_axes((edge, 0.0, 1 - 2 * edge, plate.height / 25.4 / tall)))
    worst = max(row.band for row in wall.rows if row.paint in paints)
    band = f"these tubes are known to within CIEDE2000 {worst:.1f}, 95 of 100 times"
    said = {"model": wall.basis.model, "calculated": wall.basis.model_words}
    return signed(figure, record_of(wall.basis, paints, band=band).lines), said


def _by(store: Store, c: Coefficients, model: str | None) -> dict[str, Any]:
    """Say which model a picture is drawn by."""
    return {"model": c.model, "calculated": store.fits.model_words(c, model is not None)}


def _anchors(store: Store, c: Coefficients, paints: list[str]) -> dict[str, Anchor]:
    """What the paints' own films say of how thick a film their K and S need."""
    readings = store.readings.all()
    found = {paint: anchor(own_films(c, paint, readings, PAINT_VIEW), c.model) for paint in paints}
    return {paint: own for paint, own in found.items() if own is not None}
