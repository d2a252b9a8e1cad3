"""Fit the studio's paints."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, open_store, print_table, say, working
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..fits.fitting import StudioFit

EXAMPLE = "tintladder fit"


def fit(
    paints: Annotated[
        list[str] | None,
        typer.Argument(
            help="New tubes to fit against the others as they are; without any, all are fitted."
        ),
    ] = None,
    full: Annotated[
        bool, typer.Option("--full", help="Report on each paint in full: hiding, hue, steps.")
    ] = False,
    learn: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CARD",
            help="Learn from the mixtures of this card too, and let the others judge. May be "
            "repeated; all: from every card, each mixture judged by a fit that left it out.",
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Spread the work over a dask cluster: its scheduler's address, or here for all "
            "cores of this machine. The numbers are the same.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Fit how each paint absorbs and scatters light.

    All paints that were read are fitted together, or new tubes against the others as they are, and
    checked on the mixtures that were read.
    """
    with open_store(studio) as store, working("Fitting", as_json) as progress:
        from ...calibrate.fit.judging.quality_figures import as_dict
        from ...calibrate.fit.judging.quality_report import IN_THE_MANNER
        from ..fits.cluster import spread_by
        from ..fits.fitting import fit_studio
        from ..fits.learning import taught_before

        chosen = [store.paints.find(name).nickname for name in paints or ()]
        before = taught_before(store)
        with spread_by(cluster) if cluster else nullcontext():
            done = fit_studio(
                store, chosen, progress=lambda step, _: progress(f"step {step}"), learn=learn or ()
            )
        forgotten = [card for card in before if card not in taught_before(store)]
        names = {paint.nickname: paint.name for paint in store.paints.all()}
    reports = list(done.quality.values()) if full else []
    result = fit_as_dict(done, names) | {"no_longer_learnt_from": forgotten}
    if full:
        result["quality"] = [as_dict(report) for report in reports]

    def show() -> None:
        for report in reports:
            typer.echo(f"{report.words}\n")
        if any(report.in_the_manner for report in reports):
            typer.echo(f"{IN_THE_MANNER}\n")
        show_fit(done)
        for card in forgotten:
            typer.echo(
                f"The fit before learnt from the mixtures of card {card}, and this one did not; to "
                f"learn from them again: tintladder fit --learn {card}"
            )

    say(result, as_json, show)


def fit_as_dict(done: StudioFit, names: dict[str, str]) -> dict[str, object]:
    """Return a fit for machines."""
    from ..fits.check_mixtures import rms

    check = done.judged
    any_check = not check.telling.empty
    means = [paint.de00_mean for paint in done.paints.values()]
    return {
        "fit": done.number,
        "paints": [
            {
                "nickname": paint.paint,
                "name": names.get(paint.paint, paint.paint),
                "fit_de00_mean": paint.de00_mean,
                "fit_de00_max": paint.de00_max,
                "verdict": paint.verdict,
                "reasons": list(paint.reasons),
            }
            for paint in done.paints.values()
        ],
        "fit_de00_mean": sum(means) / len(means),
        "heldout_de00_mean": check.mean if any_check else None,
        "heldout_de00_p95": check.p95 if any_check else None,
        "heldout_de00_max": check.worst if any_check else None,
        "model": done.model,
        "two_flux_heldout_de00_mean": done.check.mean if any_check else None,
        "heldout_scanned": len(check.scan_errors),
        "heldout_scan_error": rms(check.scan_errors) if check.scan_errors else None,
        "scan_fits": [
            {"fit": run.number, "device": run.device}
            | ({"mixes_sure_to": asdict(run.surer)} if run.surer else {})
            for run in done.scanned
        ],
        "not_fitted": dict(done.unfit),
        "set_aside": {paint: str(why) for paint, why in done.aside.items()},
        "learnt_from": list(done.learning.cards),
        "judged_by": list(done.judges),
    }


def learning_words(done: StudioFit) -> list[str]:
    """Say which mixtures taught and which judged, where any taught."""
    taught, judges = done.learning.cards, done.judges
    if not taught:
        return []
    said = [f"Learnt from the mixtures of card {', '.join(taught)}."]
    if set(done.judged.patches["card"]) & set(taught):
        said.append(
            "No other card of mixtures was measured, so these judge too: each was predicted by a "
            "fit that left it out, and all mixtures of the same paints with it."
        )
    if judges:
        said.append(f"Judged by the mixtures of card {', '.join(judges)}, which taught nothing.")
    return said


def next_picture_words(done: StudioFit) -> list[str]:
    """Say what another picture would make of paints that no target tells of."""
    return [
        f"No target was shown to {run.device}, so half of your mixes are sure to within "
        f"{run.surer.now:.1f} (CIEDE2000), the other half less. A picture of the same cards by "
        f"another device would make that about {run.surer.by_device:.1f}, a card of ten mixtures "
        f"about {run.surer.by_mixtures:.1f}, both about {run.surer.by_both:.1f}."
        for run in done.scanned
        if run.surer is not None
    ]


def not_fitted_words(done: StudioFit) -> list[str]:
    """Say which cards and paints were not fitted, and why."""
    cards = [
        f"Card {card} was read, but not fitted: {in_terminal(why)}."
        for card, why in done.unfit.items()
    ]
    return cards + [
        f"{paint} was set aside, and the others were fitted: {in_terminal(why)}."
        for paint, why in done.aside.items()
    ]


def show_fit(done: StudioFit) -> None:
    """Print a fit for people: a line a paint, then how mixtures came out."""
    from ...calibrate.optics.coefficients import TWO_FLUX
    from ...calibrate.optics.colour import in_words
    from ...calibrate.optics.transport import TRANSPORT
    from ..fits.check_mixtures import told_by_scan
    from ..mixing.model_choice import WORDS

    rows = [
        (p.paint, p.verdict, f"{p.de00_mean:.1f}", f"{p.de00_max:.1f}", "; ".join(p.reasons[1:]))
        for p in done.paints.values()
    ]
    print_table(["paint", "verdict", "miss", "worst", "remarks"], rows)
    typer.echo(
        "(miss: how far the fit lies from its own patches, as CIEDE2000: under 1 hard to see, "
        "1-2 side by side only, 2-5 a near miss, above a different colour)"
    )
    for words in not_fitted_words(done):
        typer.echo(words)
    for words in (*learning_words(done), *next_picture_words(done)):
        typer.echo(words)
    check = done.judged
    told = check.telling
    if check.patches.empty:
        typer.echo("No check card was read, so nothing says yet how mixtures will come out.")
    elif told.empty:
        typer.echo("No mixture was read surely enough to say how mixtures will come out.")
    else:
        taught = set(check.patches["card"]) & set(done.learning.cards)
        which = " that the fit never saw"
        if taught:
            which = ", each predicted by a fit that never saw it"
        typer.echo(
            f"Mixtures{which} ({told.groupby(['card', 'step']).ngroups} mixes, "
            f"{len(told)} patches): off by {check.mean:.2f} on average "
            f"({in_words(check.mean)}), 95 of 100 within {check.p95:.2f}, "
            f"the worst {check.worst:.2f} ({in_words(check.worst)})."
        )
        beside = done.check if done.model == TRANSPORT else done.transport and done.transport.check
        if beside and not (beside.patches.empty or done.in_use.check.patches.empty):
            typer.echo(
                f"That is by {WORDS[done.model]}, and mixes are calculated by it from now on; by "
                f"{WORDS[TWO_FLUX if done.model == TRANSPORT else TRANSPORT]} they are off by "
                f"{beside.mean:.2f}."
            )
    if told.empty and done.trial.by_steps:
        other = TWO_FLUX if done.model == TRANSPORT else TRANSPORT
        off = done.trial.off
        typer.echo(
            f"Mixes are calculated by {WORDS[done.model]}: steps left out of their ladders come "
            f"out CIEDE2000 {off[done.model]:.2f} off, by {WORDS[other]} {off[other]:.2f}."
        )
    for words in told_by_scan(check.scan_errors):
        typer.echo(f"{words[0].upper()}{words[1:]}.")
    for card, step in check.aside:
        typer.echo(
            f"{step} of card {card} does not hide black and white, and what lies beneath was not "
            "read, so it says nothing: scan the whole card, with its bare black and white."
        )
