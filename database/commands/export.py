"""Export K and S, the ladders they predict, or readings."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, Model, StudioOption, number, open_store, say, working
from .compare import numbers_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..releases.compare import Numbers

EXAMPLE = "tintladder export csv --out paints.csv"
_SUFFIXES = {"csv": ".csv", "cgats": ".txt", "cxf": ".cxf", "spot": ".cxf", "xlsx": ".xlsx"}


def export(
    form: Annotated[
        str,
        typer.Argument(
            metavar="FORM",
            help="csv: K and S, or mu_a and mu_s', in one table; cgats (CGATS.17) or cxf (CxF3): "
            "predicted ladders; spot: one paint's films as a spot-ink characterisation "
            "(ISO 17972-4); with --readings csv, cgats, cxf or xlsx.",
        ),
    ],
    paints: Annotated[list[str] | None, typer.Argument(help="Nicknames; else all of them.")] = None,
    source: Annotated[
        str, typer.Option("--from", help="A version, the folder or zip of a release, or now.")
    ] = "now",
    model: Annotated[
        Model | None,
        typer.Option(
            help="The two-flux (Kubelka-Munk) model, or transport: the radiative-transfer model. "
            "Without it, csv takes the two-flux model, as most programs do, and all other forms "
            "take the one that mixes are calculated by."
        ),
    ] = None,
    readings: Annotated[
        str | None,
        typer.Option(
            metavar="CARD",
            help="Write the last readings of this card instead, as the fit takes them.",
        ),
    ] = None,
    raw: Annotated[
        bool, typer.Option("--raw", help="With --readings: as they came, before any correction.")
    ] = False,
    thickness: Annotated[
        float,
        typer.Option(
            parser=number(1), metavar="UM", help="With spot: thickness of the dry films, µm."
        ),
    ] = 75.0,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="File to write; without it, a name after the paints or the card, in this folder.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Write K and S, ladders or readings for other programs."""
    if form not in _SUFFIXES or form == ("xlsx" if readings is None else "spot"):
        raise InputError(
            None,
            f"form {form!r}",
            "expected csv, cgats, cxf or spot; with --readings csv, cgats, cxf or xlsx",
            "give one of these",
        )
    if form == "spot" and len(paints or ()) != 1:
        raise InputError(None, "spot", "it holds one paint", "name one: export spot ANCHOR")
    if readings is not None and model is not None:
        raise InputError("--model", str(model), "readings are of no model", "leave it out")
    file = out or Path(f"{_file_name(readings) or 'paints'}{_SUFFIXES[form]}")
    if readings is not None:
        _readings(form, readings, raw, file, as_json, studio)
        return
    with working("Exporting", as_json):
        numbers = _numbers(form, numbers_of(source, studio), paints or (), model)
        data = _data(form, numbers, paints or None, thickness)
        _write(file, data)
    by = numbers.coefficients.model
    result = {
        "form": form, "file": str(file), "from": numbers.name, "model": by, "bytes": len(data)
    }  # fmt: skip
    say(result, as_json, lambda: typer.echo(f"Wrote {file} ({form}, from {_whence(numbers)})."))


def _whence(numbers: Numbers) -> str:
    from ..releases.export import whence

    return whence(numbers)


def _numbers(form: str, every: Numbers, paints: Sequence[str], model: Model | None) -> Numbers:
    """Choose the numbers that go out."""
    from ..mixing.model_choice import no_such_fit
    from ..releases.export import only

    by = model or (Model.TWO_FLUX if form == "csv" else Model(every.calculated_by))
    chosen = every.of_model(by)
    if not paints:
        return chosen
    only(every, paints)  # refuses paints that aren't in it
    without = [paint for paint in paints if paint not in chosen.coefficients.paints]
    if without:
        raise no_such_fit(without, by, every.name)
    return only(chosen, paints)


def _file_name(card: str | None) -> str:
    return re.sub(r"[^\w.-]+", "-", card or "").strip("-.")


def _readings(
    form: str, card: str, raw: bool, file: Path, as_json: bool, studio: str | None
) -> None:
    from ...calibrate.formats.cgats import format_cgats
    from ...calibrate.formats.cxf_writing import format_cxf
    from ...calibrate.formats.table_writing import format_csv, format_xlsx
    from ...calibrate.instrument.sitting import corrected_alone
    from ..store.transactions import now

    with open_store(studio) as store:
        number, read = store.readings.last(card)
    made = read if raw else corrected_alone(read)
    data = {
        "cgats": lambda: format_cgats(made).encode(),
        "cxf": lambda: format_cxf(made, now()),
        "csv": lambda: format_csv(made).encode(),
        "xlsx": lambda: format_xlsx(made),
    }[form]()
    _write(file, data)
    result = {"form": form, "file": str(file), "session": number, "bytes": len(data)}
    what = f"{len(made.spectra)} readings of card {card}, session {number}"
    say(result, as_json, lambda: typer.echo(f"Wrote {file} ({form}, {what})."))


def _data(form: str, numbers: Numbers, paints: list[str] | None, thickness: float) -> bytes:
    from ..releases.export import as_cgats, as_csv

    if form == "csv":
        return as_csv(numbers).encode()
    if form == "cgats":
        return as_cgats(numbers, paints).encode()
    from ..releases.export.cxf import as_cxf
    from ..releases.export.spot_ink import as_spot_ink
    from ..store.transactions import now

    if form == "spot" and paints:
        return as_spot_ink(numbers, paints[0], thickness, now())
    return as_cxf(numbers, now(), paints)


def _write(file: Path, data: bytes) -> None:
    from ..common.files import write_whole
    from ..common.remedies import StudioDo

    if file.exists():
        raise InputError(file, None, "is there already", "name another file with --out")
    write_whole({file: data}, StudioDo.CHOOSE_PLACE())
