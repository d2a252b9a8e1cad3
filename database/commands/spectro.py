"""Report on a spectrophotometer, from what the studio read with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .common import JsonOption, StudioOption, open_store, say

if TYPE_CHECKING:
    from ...calibrate.instrument.agreement import Scatter
    from ..cards.device_report import Compared, InstrumentReport, TileTrend

_WANTED = 0.1
"""Standard error of a patch's mean that repeats should come to, CIELAB."""
EXAMPLE = "tintladder device spectro 'bench reader' --against 'field reader' --out bench.png"


def spectro(
    name: Annotated[
        str | None,
        typer.Argument(help="Name of the instrument, or a part of it; without it, every one."),
    ] = None,
    against: Annotated[
        str | None,
        typer.Option(help="Another one: how well they agree on patches that both have read."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw tiles over time and scatter, as .png or .svg."),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say how well a spectrophotometer repeats itself, drifts, and agrees with another."""
    from ...calibrate.errors import InputError
    from ..cards.device_report import compare_instruments, instrument_reports
    from ..pictures.style import check_suffix

    if out is not None:
        check_suffix(out)
    with open_store(studio) as store:
        reports = instrument_reports(store, name)
        if (against or out) and len(reports) != 1:
            there = ", ".join(report.name for report in reports) or "none yet"
            raise InputError(
                None, "device spectro", f"which instrument is meant (there are: {there})", "name it"
            )
        compared = compare_instruments(store, reports[0].name, against) if against else None
    if out is not None:
        from ..pictures.devices import instrument_figure
        from ..pictures.style import save

        save(instrument_figure(reports[0]), out)
    said = {
        "instruments": [_plain(vars(report)) for report in reports],
        "compared": None if compared is None else _plain(vars(compared)),
        "picture": None if out is None else str(out),
    }
    say(said, as_json, lambda: _show(reports, compared, out))


def _plain(value: Any) -> Any:
    """The same for JSON, which knows no arrays and no NaN."""
    import numpy as np

    if hasattr(value, "__dataclass_fields__"):
        value = vars(value)
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    return value


def _show(reports: list[InstrumentReport], compared: Compared | None, out: Path | None) -> None:
    if not reports:
        typer.echo("No spectrophotometer has read anything for this studio yet.")
    for report in reports:
        _show_one(report)
    if compared is not None:
        _show_compared(compared)
    if out is not None:
        typer.echo(f"Picture: {out}")


def _show_one(report: InstrumentReport) -> None:
    from ...calibrate.instrument.repeats import repeats_needed

    serial = f", no. {report.serial}" if report.serial else ""
    when = f", {report.first} to {report.last}" if report.first else ""
    typer.echo(
        f"{report.name}{serial}: {report.readings} readings in {report.sessions} sessions{when}"
        + (f"; {report.optics}" if report.optics else "")
    )
    typer.echo(f"  Repeats of a patch: {_scatter(report.repeatability, 'nothing was read twice')}")
    if report.repeatability is not None:
        needed = repeats_needed(report.repeatability.sd, _WANTED)
        typer.echo(
            f"  Read a patch {'once' if needed == 1 else f'{needed} times'}, lifting the "
            f"instrument in between, and its mean is sure to {_WANTED} in CIELAB (standard error)."
        )
    none = "no patch was read in two sessions"
    typer.echo(f"  From session to session: {_scatter(report.reproducibility, none)}")
    for tile in report.tiles:
        typer.echo(f"  {_tile(tile)}")
    if not report.tiles:
        typer.echo("  No tile was read with it: name samples tile/white and tile/trap as you read.")


def _scatter(found: Scatter | None, none: str) -> str:
    from ...calibrate.optics.colour import in_words

    if found is None:
        return none
    return (
        f"differences {in_words(found.mcdm)} (mean CIEDE2000 from the mean {found.mcdm:.3f}, worst "
        f"{found.worst:.2f}; 95 % within a ball of {found.radius:.2f} in CIELAB; "
        f"{found.readings} readings of {found.groups})"
    )


def _tile(tile: TileTrend) -> str:
    from math import isfinite

    from ...calibrate.instrument.tiles import tile_kind
    from ...calibrate.optics.colour import in_words

    if tile_kind(tile.name) == "trap":
        return f"{tile.name}: reads {tile.level.mean():.4f} on average ({len(tile.level)} readings)"
    moved = float(tile.moved.max())
    said = f"{tile.name}: moved by {moved:.2f} CIEDE2000 at most, {in_words(moved)}"
    if isfinite(tile.slope):
        said += f"; {100 * tile.slope:+.2f} ± {100 * tile.slope_uncertainty:.2f} % a year"
    return f"{said} ({len(tile.level)} readings)"


def _show_compared(compared: Compared) -> None:
    from math import isnan

    from ...calibrate.optics.colour import in_words

    a = compared.agreement
    typer.echo(
        f"{compared.one} and {compared.other}, on {a.things} patches that both have read: "
        f"differences {in_words(a.mean)} (mean CIEDE2000 {a.mean:.2f}, worst {a.worst:.2f} at "
        f"{compared.worst_patch}; each from the mean of both {a.mcdm:.2f})"
    )
    bias = ", ".join(f"{n} {d:+.2f}" for n, d in zip(("L*", "a*", "b*"), a.bias, strict=True))
    if isnan(a.by_chance):
        typer.echo(f"  On average {bias}; too few patches to tell that from chance.")
    else:
        verdict = "they differ systematically" if a.is_bias else "no more than chance"
        typer.echo(
            f"  On average {bias}: {verdict} (Hotelling's T² {a.t_squared:.1f}, "
            f"{100 * a.by_chance:.2g} % by chance)."
        )
    for remark in compared.remarks:
        typer.echo(f"  Note: {remark}.")
