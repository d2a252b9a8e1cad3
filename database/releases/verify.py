"""Checks a release: that it is as published, hangs together, and makes physical sense."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from jsonschema import Draft202012Validator
from numpy.typing import NDArray

from ...calibrate.errors import InputError
from ...calibrate.instrument.corrections_record import correct_anew
from ...calibrate.optics.spectra import Array
from .files import SIGNATURE, SUMS, read_files, sha256, sums
from .load import (
    LoadedRelease,
    assembled,
    of_this_layout,
    parse_table,
    read_descriptor,
    tables_in,
)
from .signing import checked_public
from .tables.columns import Column, Table
from .tables.descriptor import DESCRIPTOR, SCHEMA, json_schema, without_words
from .tables.inputs import session_of

_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_CLOSE = 1e-9
"""Reflectance; what another machine may round otherwise."""


class LookedOver(NamedTuple):
    """What a release holds, and what is wrong with it.

    Attributes
    ----------
    problems : list of str
        Each begins with the file at fault; empty where nothing is wrong.
    files : mapping of name to bytes
    release : LoadedRelease or None
        None where something is wrong.
    """

    problems: list[str]
    files: Mapping[str, bytes]
    release: LoadedRelease | None = None


def verify_release(path: str | Path, digest: str | None = None) -> list[str]:
    """Return what is wrong with a release (see `look_over`)."""
    return look_over(path, digest).problems


def look_over(path: str | Path, digest: str | None = None) -> LookedOver:
    """Check a release, folder or zip.

    Parameters
    ----------
    digest : str, optional
        SHA-256 of its SHA256SUMS, as its maker's studio keeps it. Without it a release that was
        changed together with its SHA256SUMS passes.

    Raises
    ------
    InputError
        Where it is no release at all, or a zip that must not be opened.
    """
    files = read_files(path)
    problems = [*_zip_hash(Path(path)), *_hashes(files, digest), *_signature(files)]
    try:
        descriptor = read_descriptor(files, path)
    except InputError:
        if problems:
            return LookedOver(problems, files)
        raise
    try:
        layout = tables_in(descriptor, path)
    except InputError as error:
        return LookedOver([*problems, f"{error.where}: {error.expected}"], files)
    problems += _descriptor(descriptor, layout, files)
    tables: dict[str, pd.DataFrame] = {}
    for table in layout:
        if table.file in files:
            try:
                tables[table.name] = parse_table(table, files[table.file])
            except ValueError as error:
                problems.append(f"{table.file}: can't be read ({error})")
    problems += _keys(layout, tables)
    if len(tables) < len(layout) or problems:
        return LookedOver(problems, files)
    release = assembled(descriptor, of_this_layout(tables))
    problems += _sense(release.tables)
    problems += corrections_follow(tables)
    problems += _sense(release.beside) if release.beside else []
    return LookedOver(problems, files, None if problems else release)


def _zip_hash(path: Path) -> Iterator[str]:
    beside = path.parent / f"{path.name}.sha256"
    if path.is_file() and beside.is_file():
        line = f"{sha256(path.read_bytes())}  {path.name}\n"
        if beside.read_bytes() != line.encode():
            yield f"{path.name}: isn't the file that {beside.name} was written for"


def _hashes(files: Mapping[str, bytes], digest: str | None) -> Iterator[str]:
    if SUMS not in files:
        yield f"{SUMS}: is missing"
        return
    if digest is not None and sha256(files[SUMS]) != digest:
        yield f"{SUMS}: isn't the one that was published"
    listed = dict[str, str]()
    for number, line in enumerate(files[SUMS].decode(errors="replace").splitlines(), 1):
        if match := _LINE.fullmatch(line):
            listed[match[2]] = match[1]
        else:
            yield f"{SUMS}: line {number} isn't a hash and a name"
    sound = True
    for name in sorted(listed.keys() | files.keys() - {SUMS, SIGNATURE}):
        if name not in files:
            wrong = "is missing"
        elif name not in listed:
            wrong = f"is not listed in {SUMS}"
        elif sha256(files[name]) != listed[name]:
            wrong = "was changed since it was published"
        else:
            continue
        sound = False
        yield f"{name}: {wrong}"
    hashes = {name: sha256(data) for name, data in files.items() if name != SIGNATURE}
    if sound and sums(hashes) != files[SUMS]:
        yield f"{SUMS}: isn't as it was written"


def _signature(files: Mapping[str, bytes]) -> Iterator[str]:
    if SUMS in files:
        try:
            checked_public(files)
        except ValueError as error:
            yield f"{SIGNATURE}: {error}"


def _descriptor(
    descriptor: Mapping[str, Any], layout: Sequence[Table], files: Mapping[str, bytes]
) -> Iterator[str]:
    """Hold it against the schema that is installed here.

    The release's own could ask for anything, from anywhere; it has to say the same, in whatever
    words it says what each part means.
    """
    schema = without_words(json_schema(descriptor["layout"], layout))
    try:
        own = without_words(json.loads(files[SCHEMA]))
    except (KeyError, ValueError, RecursionError):
        yield f"{SCHEMA}: isn't a JSON Schema"
        return
    if own != schema:
        yield f"{SCHEMA}: isn't the schema of layout {descriptor['layout']}"
        return
    for error in Draft202012Validator(schema).iter_errors(without_words(descriptor)):
        yield f"{DESCRIPTOR}: {error.json_path}: {_short(error.message)}"
        return
    for resource in descriptor["resources"]:
        data = files.get(resource["path"])
        if data is None:
            yield f"{resource['path']}: is missing"
        elif resource["hash"] != f"sha256:{sha256(data)}" or resource["bytes"] != len(data):
            yield f"{resource['path']}: isn't the table that {DESCRIPTOR} describes"


def _short(message: str) -> str:
    """What is wrong stands at the end, after all that it is wrong in."""
    return message if len(message) < 100 else f"...{message[-80:]}"


def _keys(layout: Iterable[Table], tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    for table in layout:
        if table.name not in tables:
            continue
        frame = tables[table.name]
        for column in table.columns:
            yield from (f"{table.file}: {wrong}" for wrong in _column(column, frame[column.name]))
        if table.key and frame.duplicated(list(table.key)).any():
            yield f"{table.file}: two rows of one {', '.join(table.key)}"
        for own, other, theirs in table.foreign:
            if other not in tables:
                continue
            known = pd.MultiIndex.from_frame(tables[other][list(theirs)])
            mine = pd.MultiIndex.from_frame(frame[list(own)])
            lost = mine[~mine.isin(known)]
            if len(lost):
                first = ", ".join(str(part) for part in lost[0])
                yield f"{table.file}: {', '.join(own)} {first} isn't in {other}.csv"


def _column(column: Column, values: pd.Series) -> Iterator[str]:
    if column.required and (values.isna() | (values.astype(str) == "")).any():
        yield f"{column.name} is empty in a row"
    if column.words and not values.isin(column.words).all():
        odd = values[~values.isin(column.words)].iloc[0]
        yield f"{column.name} {odd!r} isn't one of {', '.join(column.words)}"
    if column.kind == "number" and np.isinf(values.to_numpy()).any():
        yield f"{column.name} isn't finite"
    if column.kind in ("object", "array"):
        for value in values:
            if not (value or column.required):
                continue
            try:
                json.loads(value)
            except (ValueError, RecursionError):
                yield f"{column.name} isn't JSON in a row"
                return


def _sense(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    table, grid = tables["coefficients"], len(tables["wavelengths"])
    value, unsure = table["value"].to_numpy(), table["uncertainty"].to_numpy()
    for what, bad in (
        ("a negative K or S", value < 0),
        ("a negative uncertainty", unsure < 0),
        ("a value without its uncertainty", np.isnan(unsure) & ~np.isnan(value)),
    ):
        if bad.any():
            row = table.iloc[int(np.argmax(bad))]
            place = f"{row['paint']}, {row['quantity']} at {row['wavelength']:g} nm"
            yield f"coefficients.csv: {what}: {place}"
    counts = table.groupby(["paint", "quantity"]).size()
    if len(counts) != 2 * len(tables["paints"]) or (counts != grid).any():
        yield "coefficients.csv: a paint isn't on the one grid of wavelengths.csv"
        return
    theory = ["model", "scale", "geometry", "specular", "gloss", "n", "k2", "haze"]
    if len(tables["paints"][theory].drop_duplicates()) != 1:
        yield "paints.csv: paints of different scale or surface can't stand in one release"
        return
    arranged = _arranged(tables)
    lone = np.isnan(arranged.value[:, 0]) != np.isnan(arranged.value[:, 1])
    if (lone & ~arranged.ratio_only).any():
        yield "coefficients.csv: K without S, or S without K"
    if not np.allclose(arranged.stated, arranged.follows, rtol=1e-9, equal_nan=True):
        yield "coefficients.csv: an uncertainty doesn't follow from covariance, own and factors"


class _Arranged(NamedTuple):
    """K and S and their uncertainty, (P, 2, W), as stated and as it follows from its parts."""

    value: Array
    stated: Array
    follows: Array
    ratio_only: NDArray[np.bool_]


def _arranged(tables: Mapping[str, pd.DataFrame]) -> _Arranged:
    paints = pd.Index(tables["paints"]["paint"])
    grid = pd.Index(tables["wavelengths"]["wavelength"])
    shape = len(paints), 2, len(grid)
    value, stated, square = (np.full(shape, np.nan) for _ in range(3))
    ratio_only = np.zeros((len(paints), len(grid)), dtype=bool)
    table = tables["coefficients"]
    i, j = paints.get_indexer(table["paint"]), grid.get_indexer(table["wavelength"])
    q = (table["quantity"] == "S").to_numpy(int)
    value[i, q, j], stated[i, q, j] = table["value"], table["uncertainty"]
    ratio_only[i, j] = table["ratio_only"]
    local = tables["covariance"]
    i, j = paints.get_indexer(local["paint"]), grid.get_indexer(local["wavelength"])
    square[i, 0, j], square[i, 1, j] = local["kk"], local["ss"]
    columns = [f"{wavelength:g}" for wavelength in grid]
    for name in ("own", "factors"):
        changes = tables[name]
        i = paints.get_indexer(changes["paint"])
        q = (changes["quantity"] == "S").to_numpy(int)
        np.add.at(square, (i, q), changes[columns].to_numpy() ** 2)
    return _Arranged(value, stated, np.sqrt(square), ratio_only)


def corrections_follow(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Name the sessions whose corrected readings don't follow from the raw ones.

    Parameters
    ----------
    tables : mapping of name to DataFrame
        Of a release, sound by themselves.
    """
    sessions = tables["sessions"]
    if "corrections" not in sessions:
        return
    for number in sessions.loc[sessions["corrections"] != "", "session"]:
        wrong = f"sessions.csv: session {number}: its corrected readings don't follow from the raw"
        try:
            read = session_of(tables, int(number))
            if read.corrected is None or read.corrections is None:
                raise ValueError("they aren't there")
            made = correct_anew(read.spectra, read.corrections)
        except (InputError, KeyError, TypeError, ValueError, IndexError) as error:
            yield f"{wrong} ({' '.join(str(error).split())})"
            continue
        if not np.allclose(made.values, read.corrected.values, rtol=0, atol=_CLOSE, equal_nan=True):
            yield wrong
