"""Plot what paints do: tint, hide, show their undertone, and what a fit leaves over."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .common import JsonOption, StudioOption, open_store, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ...calibrate.fit.own_films import Anchor
    from ...calibrate.optics.coefficients import Coefficients
    from ..store import Store

EXAMPLE = "tintladder plot ANCHOR"


class Show(StrEnum):
    """What a picture shows."""

    TINT = "tint"
    FILM = "film"
    HIDING = "hiding"
    STRENGTH = "strength"
    LEFTOVER = "leftover"
    REACH = "reach"


def plot(
    paints: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PAINT]...", help="Nicknames, or parts of names; else all fitted."),
    ] = None,
    show: Annotated[
        Show,
        typer.Option(
            help="tint: one paint let down, or several side by side. film: from undertone to "
            "masstone. hiding: contrast ratio by thickness. strength: who tints strongest. "
            "leftover: what the fit of one paint leaves over. reach: the colours that these tubes "
            "can make."
        ),
    ] = Show.TINT,
    against: Annotated[
        str | None, typer.Option(metavar="PAINT", help="That counts as 1 in strength.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A .png or .svg; else both, as plots/NICKNAME-tint in the current folder.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Draw how paints tint toward white, look in thin films, hide, tint, and what they reach."""
    from ...calibrate.errors import InputError
    from ..plot_style import SUFFIXES, check_suffix, save

    wanted = [check_suffix(out)] if out else []
    if against is not None and show is not Show.STRENGTH:
        raise InputError(
            "--against", against, "only strength is said against a paint", "add --show strength"
        )
    with open_store(studio) as store:
        asked = [store.find_paint(text).nickname for text in paints or ()]
        chosen = list(dict.fromkeys(asked or store.current_fits()))
        if not chosen:
            raise InputError(None, None, "no paint has a fit yet", "fit with: tintladder fit")
        figure, result = _draw(store, chosen, show, against)
    stem = Path("plots") / f"{chosen[0] if len(chosen) == 1 else 'paints'}-{show}"
    files = [
        save(figure, path) for path in wanted or [stem.with_suffix(suffix) for suffix in SUFFIXES]
    ]
    result |= {"show": str(show), "paints": chosen, "files": [str(file) for file in files]}

    def tell() -> None:
        if result.get("sentence"):
            typer.echo(result["sentence"])
        for file in files:
            typer.echo(f"Picture: {file}")

    say(result, as_json, tell)


def _draw(
    store: Store, chosen: list[str], show: Show, against: str | None
) -> tuple[Figure, dict[str, Any]]:
    if show is Show.LEFTOVER or (show in (Show.TINT, Show.HIDING) and len(chosen) == 1):
        return _one(store, chosen, show)
    return _several(store, chosen, show, against)


def _one(store: Store, chosen: list[str], show: Show) -> tuple[Figure, dict[str, Any]]:
    """Draw one paint by its own fit."""
    from ...calibrate.errors import InputError
    from ...calibrate.fit.quality_report import quality_report
    from ..plot_quality import plot_hiding, plot_residuals
    from ..plots import tint_figure
    from ..tinting import in_a_sentence, ladder, tint_path

    if len(chosen) > 1:
        raise InputError("--show", show, "shows one paint at a time", "name one paint")
    name, fit = store.find_paint(chosen[0]).name, store.fit_of(chosen[0])
    said: dict[str, Any] = {"paint": fit.paint, "verdict": fit.verdict}
    if show is Show.TINT:
        cards = store.cards()
        said["sentence"] = in_a_sentence(ladder(fit, cards), tint_path(fit))
        return tint_figure(fit, name, cards), said
    report = quality_report(fit, store.card_readings())
    if show is Show.LEFTOVER:
        return _whole(plot_residuals(report)), said
    if report.hiding is None:
        raise InputError(None, fit.paint, report.unsaid[0], "read a drawdown of known thickness")
    said["sentence"] = f"{fit.paint} {report.hiding}."
    return _whole(plot_hiding(fit, report)), said


def _several(
    store: Store, chosen: list[str], show: Show, against: str | None
) -> tuple[Figure, dict[str, Any]]:
    """Draw several paints by the K and S in use."""
    from ...calibrate.errors import InputError
    from ..compare import whites_of
    from ..plot_films import plot_contrasts, plot_films
    from ..plot_ladders import plot_ladders
    from ..plot_reach import reach_figure
    from ..plot_strength import plot_strengths
    from ..reach import gamut
    from ..recipe_palette import Palette
    from ..tinting_strength import rank

    for paint in chosen:
        store.fit_of(paint)  # refuses a paint without one
    names = {paint.nickname: paint.name for paint in store.paints()}
    with store.snapshot() as session:
        whites = whites_of(session, store.current_fits())
    # Unless another is asked for, the one that the fits state their strengths against.
    reference = store.find_paint(against).nickname if against else store.strength_reference()
    if not against and not (reference in whites and whites.keys() & set(chosen)):
        reference = None
    needed = [*chosen, *([reference] if reference else [])]
    needed += [whites[paint] for paint in needed if paint in whites]
    c = store.current_coefficients(list(dict.fromkeys(needed)))
    if show is Show.REACH:
        return reach_figure(gamut(Palette(c.select(chosen))), [names[p] for p in chosen]), {}
    try:
        if show is Show.TINT:
            return _whole(plot_ladders(c, whites, chosen, names)), {}
        if show is Show.FILM:
            return _whole(plot_films(c, chosen, names, anchors=_anchors(store, c, chosen))), {}
        if show is Show.HIDING:
            return _whole(plot_contrasts(c, chosen, names, anchors=_anchors(store, c, chosen))), {}
    except ValueError as why:
        raise InputError("--show", show, str(why), "read drawdowns of known thickness") from why
    ladders = {p: whites[p] for p in dict.fromkeys([*chosen, *needed]) if p in whites}
    found, unsaid = rank(c, ladders, reference)
    if not found:
        raise InputError("--show", show, "none of these has a ladder in white", "name others")
    strongest = found[0]
    said = {
        "sentence": f"{names[strongest.paint]} is the strongest: {strongest}.",
        "strengths": {s.paint: round(s.ratio, 4) for s in found},
        "unsaid": unsaid,
    }
    return _whole(plot_strengths(found, c, names)), said


def _anchors(store: Store, c: Coefficients, paints: list[str]) -> dict[str, Anchor]:
    """What the paints' own films say of how thick a film their K and S need."""
    from ...calibrate.fit.hiding import PAINT_VIEW
    from ...calibrate.fit.own_films import anchor, own_films

    readings = store.card_readings()
    found = {paint: anchor(own_films(c, paint, readings, PAINT_VIEW)) for paint in paints}
    return {paint: own for paint, own in found.items() if own is not None}


def _whole(ax: Any) -> Figure:
    figure: Figure = ax.get_figure(root=True)
    figure.set_layout_engine("tight")
    return figure
