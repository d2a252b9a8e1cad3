"""A release changed and hashed anew, as a careful forger would: twenty kinds of change.

It knows what the README and the schema of a release tell anyone, and nothing of what verifies one.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

FORGER = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
"""A key of the forger's own."""
DESCRIPTION, SUMS, SIGNATURE = "datapackage.json", "SHA256SUMS", "SHA256SUMS.sig"
KEY = "PUBLIC-KEY.pem"

Change = Callable[["Forged", np.random.Generator], None]


class Forged:
    """The folder of a release, to be changed table by table."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def table(self, name: str) -> pd.DataFrame:
        """Read a table, every cell as its text."""
        text = (self.folder / f"{name}.csv").read_text(encoding="utf-8")
        return pd.read_csv(io.StringIO(text), dtype="str", keep_default_na=False)

    def put(self, name: str, table: pd.DataFrame) -> None:
        """Write a table."""
        text = table.to_csv(index=False, lineterminator="\n")
        (self.folder / f"{name}.csv").write_text(text, encoding="utf-8")

    def words(self, name: str, column: str, made: Callable[[str], str], rows: Any = None) -> None:
        """Change the cells of a column, of some rows or of all."""
        table = self.table(name)
        where = pd.Series(True, table.index) if rows is None else rows(table)
        table.loc[where, column] = [made(cell) for cell in table.loc[where, column]]
        self.put(name, table)

    def times(self, name: str, columns: list[str], factor: float, rows: Any = None) -> None:
        """Multiply the figures of some columns, of some rows or of all."""
        for column in columns:
            self.words(name, column, lambda x: repr(float(x) * factor) if x else x, rows)

    def describe(self, **said: Any) -> None:
        """Change what the description says."""
        path = self.folder / DESCRIPTION
        description = json.loads(path.read_text(encoding="utf-8")) | said
        text = json.dumps(description, indent=1, ensure_ascii=False) + "\n"
        path.write_text(text, encoding="utf-8")


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def seal(folder: Path, key: Ed25519PrivateKey | None = FORGER) -> None:
    """Make every hash right again, and sign with a key, or not at all."""
    for name in (SIGNATURE, KEY, SUMS):
        (folder / name).unlink(missing_ok=True)
    if key is not None:
        pem = key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
        (folder / KEY).write_bytes(pem)
    forged = Forged(folder)
    resources = json.loads((folder / DESCRIPTION).read_text(encoding="utf-8"))["resources"]
    for resource in resources:
        resource["bytes"] = (folder / resource["path"]).stat().st_size
        resource["hash"] = f"sha256:{_sha256(folder / resource['path'])}"
    forged.describe(resources=resources)
    lines = [f"{_sha256(path)}  {path.name}\n" for path in sorted(folder.iterdir())]
    (folder / SUMS).write_text("".join(lines), encoding="utf-8")
    if key is not None:
        (folder / SIGNATURE).write_bytes(key.sign((folder / SUMS).read_bytes()))


def _share(rng: np.random.Generator, least: float = 0.005, most: float = 0.3) -> float:
    """A factor: some 0.5 to 30 % up or down, as often near the one as the other."""
    return float(1 + rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(least), np.log(most))))


def _one(rng: np.random.Generator, table: pd.DataFrame, *columns: str) -> pd.Series:
    """Tell the rows that agree with one row, drawn at random, in some columns."""
    drawn = table.loc[rng.integers(len(table)), list(columns)]
    return (table[list(columns)] == drawn).all(axis=1)


def _surer(forged: Forged, rng: np.random.Generator) -> None:
    factor = float(rng.uniform(0.2, 0.99))
    forged.times("coefficients", ["uncertainty"], factor)
    forged.times("covariance", ["kk", "ks", "ss"], factor**2)
    for name in ("own", "factors"):
        grid = [column for column in forged.table(name) if column.isdigit()]
        forged.times(name, grid, factor)


def _swapped(forged: Forged, rng: np.random.Generator) -> None:
    """Of one model, or of one quantity: two paints have one another's numbers."""
    table = forged.table("coefficients")
    some = _one(rng, table, *[["model"], ["model", "quantity"]][rng.integers(2)])
    first, second = sorted(set(table["paint"]))
    mine, theirs = (some & (table["paint"] == paint) for paint in (first, second))
    both = ["value", "uncertainty"]
    before = table.loc[mine, both].to_numpy()
    table.loc[mine, both] = table.loc[theirs, both].to_numpy()
    table.loc[theirs, both] = before
    forged.put("coefficients", table)


def _reading(forged: Forged, rng: np.random.Generator) -> None:
    factor = _share(rng, 0.001, 0.06)

    def made(cell: str) -> str:
        return json.dumps([None if x is None else x * factor for x in json.loads(cell)])

    def rows(table: pd.DataFrame) -> pd.Series:
        film = ~table["patch"].str.startswith("bare")
        drawn = table[film].iloc[rng.integers(film.sum())]
        return (table["session"] == drawn["session"]) & (table["patch"] == drawn["patch"])

    forged.words("readings", "reflectance", made, rows)


def _weighed(forged: Forged, rng: np.random.Generator) -> None:
    factor = _share(rng)

    def made(cell: str) -> str:
        grams = json.loads(cell)
        some = sorted(grams)[rng.integers(len(grams))]
        return json.dumps(grams | {some: grams[some] * factor})

    def rows(table: pd.DataFrame) -> pd.Series:
        mixed = table.index[table["masses"].map(lambda cell: len(json.loads(cell)) > 1)]
        return pd.Series(table.index == rng.choice(mixed), table.index)

    forged.words("drawdowns", "masses", made, rows)


def _adopted(forged: Forged, rng: np.random.Generator) -> None:
    KINDS["K or S of a paint"](forged, rng)

    def made(cell: str) -> str:
        return json.dumps(json.loads(cell) | {"adopted": {"release": "paints-9.0.0"}})

    forged.words("fits", "inputs", made)


def _of_another_version(forged: Forged, rng: np.random.Generator) -> None:
    # Another version may leave a fit at a slightly other place: no small change is a forgery then.
    forged.times("coefficients", ["value"], _share(rng, 0.05))
    forged.words("fits", "code_version", lambda _: "0.1.0")
    forged.words("fits", "made_with", lambda _: "")


def _scaled(column: str, names: str, *by: str) -> Change:
    """Multiply a column of one table of some: every row, or those that agree with one drawn."""

    def change(forged: Forged, rng: np.random.Generator) -> None:
        rows = (lambda table: _one(rng, table, *by)) if by else None
        forged.times(str(rng.choice(names.split())), [column], _share(rng), rows)

    return change


def _said(column: str, names: str, *instead: str) -> Change:
    """Say another word of a paint."""

    def change(forged: Forged, rng: np.random.Generator) -> None:
        name = str(rng.choice(names.split()))
        rows = _one(rng, forged.table(name), "paint")
        other = sorted(set(instead) - set(forged.table(name).loc[rows, column]))
        forged.words(name, column, lambda _: str(rng.choice(other)), lambda _: rows)

    return change


def _forced(forged: Forged, _: np.random.Generator) -> None:
    forged.describe(gates={"excluded": [], "forced": "", "findings": []})


def _words(forged: Forged, rng: np.random.Generator) -> None:
    word = ("gloves", "Ventilate", "wet-wipe", "Never sand")[rng.integers(4)]
    path = forged.folder / "README.md"
    path.write_text(path.read_text(encoding="utf-8").replace(word, "pearls"), encoding="utf-8")


KINDS: Mapping[str, Change] = {
    "K or S of a paint": _scaled("value", "coefficients", "paint", "model", "quantity"),
    "one value": _scaled("value", "coefficients", "paint", "model", "quantity", "wavelength"),
    "every K and S": _scaled("value", "coefficients"),
    "two paints swapped": _swapped,
    "surer than it is": _surer,
    "error of mixes": _scaled("mix_error", "paints transport", "paint"),
    "error of the model": _scaled("model_error", "wavelengths"),
    "crowding": _scaled("crowding", "transport", "paint"),
    "a reading": _reading,
    "what was weighed": _weighed,
    "the applicator's gap": _scaled("gap_um", "drawdowns", "card"),
    "said to be adopted": _adopted,
    "said to be of another version": _of_another_version,
    "dry volume": _scaled("dry_volume", "paints", "paint"),
    "internal reflectance": _scaled("k2", "paints"),
    "how near it comes": _scaled("de00_mean", "paints transport", "paint"),
    "verdict": _said("verdict", "paints transport", "a first guess", "look at this step"),
    "pigments": _said("pigments", "paints", "PB28", "PR108", "PV23", "PY35", ""),
    "what stood against it": _forced,
    "cautions": _words,
}
"""What is changed; the last four follow from no reading."""
BY_WORD = tuple(KINDS)[-4:]
"""Told by who signed it alone."""
