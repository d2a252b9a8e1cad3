"""Export K and S, or the ladders they predict."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, say, working
from .compare import numbers_of

if TYPE_CHECKING:
    from ..compare import Numbers

EXAMPLE = "tintladder export csv --out paints.csv"
_SUFFIXES = {"csv": ".csv", "cgats": ".txt", "cxf": ".cxf"}


def export(
    form: Annotated[
        str,
        typer.Argument(
            metavar="FORM",
            help="csv: K and S in one table; cgats (CGATS.17) or cxf (CxF3): predicted ladders.",
        ),
    ],
    paints: Annotated[list[str] | None, typer.Argument(help="Nicknames; else all of them.")] = None,
    source: Annotated[
        str, typer.Option("--from", help="A version, the folder or zip of a release, or now.")
    ] = "now",
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Else paints.csv, .txt or .cxf, here.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Write K and S, or the ladders that they predict, for other programs."""
    if form not in _SUFFIXES:
        raise InputError(None, f"form {form!r}", "expected csv, cgats or cxf", "give one of these")
    file = out or Path(f"paints{_SUFFIXES[form]}")
    with working("Exporting", as_json):
        numbers = numbers_of(source, studio)
        data = _data(form, numbers, paints or None)
        _write(file, data)
    result = {"form": form, "file": str(file), "from": numbers.name, "bytes": len(data)}
    say(result, as_json, lambda: typer.echo(f"Wrote {file} ({form}, from {numbers.name})."))


def _data(form: str, numbers: Numbers, paints: list[str] | None) -> bytes:
    from ..exports import as_cgats, as_csv, only

    if form == "csv":
        return as_csv(only(numbers, paints) if paints else numbers).encode()
    if form == "cgats":
        return as_cgats(numbers, paints).encode()
    from ..export_cxf import as_cxf
    from ..transactions import now

    return as_cxf(numbers, now(), paints)


def _write(file: Path, data: bytes) -> None:
    if file.exists():
        raise InputError(file, None, "is there already", "name another file with --out")
    part = file.with_name(f".{file.name}.part")
    try:
        part.write_bytes(data)
        part.replace(file)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise InputError(
            file, None, f"can't be written ({error.strerror})", "name another place with --out"
        ) from error
