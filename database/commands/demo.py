"""Run the demo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from .common import JsonOption, StudioOption, say, working
from .fit import fit_as_dict, show_fit

if TYPE_CHECKING:
    from ..demo.demo import Demo

EXAMPLE = "tintladder demo"


def demo(as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """Show the whole job on invented paints, in half a minute.

    It reads, fits, checks, publishes and draws ten paints in a folder of its own, and mixes from
    them.
    """
    with working("Painting a demo", as_json) as progress:
        from ..demo.demo import make_demo

        made = make_demo(Path(studio or "tintladder-demo"), progress)
    result = fit_as_dict(made.fitted, made.names)
    result |= {
        "release": made.release.version,
        "scan": {
            "paint": made.scan.paint,
            "steps": list(made.scan.steps),
            "de00_against_spectra": [round(float(off), 2) for off in made.scan.off],
            "overlay": str(made.scan.overlay),
        },
        "files": [str(p) for p in (*made.pictures, made.release.folder, made.release.archive)],
    }
    say(result, as_json, lambda: _show(made))


def _show(made: Demo) -> None:
    from ...calibrate.optics.colour import in_words
    from ..mixing.prediction import mix_words

    words = mix_words(made.recipe, made.names)
    typer.echo(f"A kelp green, {made.look.words}: {words} by weight. {_sentence(made.why)}")
    typer.echo(
        f"Predicted from the tubes alone; painted, it lay CIEDE2000 {made.off:.1f} away "
        f"({in_words(made.off)})."
    )
    scan = made.scan
    typer.echo(
        f"From a scan of its quick card alone, the tints of {made.names[scan.paint]} come out "
        f"CIEDE2000 {scan.off.mean():.1f} from what the spectrophotometer says "
        f"({in_words(float(scan.off.mean()))}), at worst {scan.off.max():.1f}. What was read "
        f"where: {scan.overlay}"
    )
    typer.echo(f"How {made.names['ANCHOR']} tints toward white: {made.pictures[0]}")
    typer.echo(
        "\nA drawdown is paint drawn down in an even film over black and white; the masstone is "
        "the paint alone,\nand a lot is one tube of it. These paints are invented, their readings "
        "simulated."
    )
    typer.echo("")
    show_fit(made.fitted)
    typer.echo(
        f"\nRelease {made.release.version} (a numbered copy of the fits that never changes): "
        f"{made.release.folder}\nThe studio: {made.folder} - try 'tintladder plot DUSK --studio "
        f"{made.folder}' next."
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + "." if words else ""
