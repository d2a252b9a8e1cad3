"""A release changed and hashed anew, as a careful forger would: twenty kinds of change."""

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
from tintladder.database.releases.files import SIGNATURE, sums
from tintladder.database.releases.load import read_descriptor
from tintladder.database.releases.signing import PUBLIC_KEY, as_pem, public_of
from tintladder.database.releases.tables.descriptor import DESCRIPTOR

FORGER = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
"""A key of the forger's own."""

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
        path = self.folder / DESCRIPTOR
        descriptor = json.loads(path.read_text(encoding="utf-8")) | said
        text = json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n"
        path.write_text(text, encoding="utf-8")


def seal(folder: Path, key: Ed25519PrivateKey | None = FORGER) -> None:
    """Make every hash right again, and sign with a key, or not at all."""
    (folder / SIGNATURE).unlink(missing_ok=True)
    (folder / PUBLIC_KEY).unlink(missing_ok=True)
    if key is not None:
        (folder / PUBLIC_KEY).write_bytes(as_pem(public_of(key)))
    files = {path.name: path.read_bytes() for path in folder.iterdir()}
    descriptor = read_descriptor(files, folder)
    for resource in descriptor["resources"]:
        data = files[resource["path"]]
        resource["bytes"] = len(data)
        resource["hash"] = f"sha256:{hashlib.sha256(data).hexdigest()}"
    text = json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n"
    files[DESCRIPTOR] = text.encode()
    (folder / DESCRIPTOR).write_bytes(files[DESCRIPTOR])
    hashes = {n: hashlib.sha256(d).hexdigest() for n, d in files.items() if n != "SHA256SUMS"}
    listed = sums(hashes)
    (folder / "SHA256SUMS").write_bytes(listed)
    if key is not None:
        (folder / SIGNATURE).write_bytes(key.sign(listed))


def _share(rng: np.random.Generator) -> float:
    """A factor that tells: some 5 to 30 % up or down."""
    return float(1 + rng.choice([-1, 1]) * rng.uniform(0.05, 0.3))


def _of(quantity: str) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda t: (t["paint"] == "ANCHOR") & (t["quantity"] == quantity)


def _numbers(forged: Forged, rng: np.random.Generator, quantity: str = "K") -> None:
    forged.times("coefficients", ["value"], _share(rng), _of(quantity))


def _surer(forged: Forged, rng: np.random.Generator) -> None:
    factor = float(rng.uniform(0.2, 0.8))
    forged.times("coefficients", ["uncertainty"], factor)
    forged.times("covariance", ["kk", "ks", "ss"], factor**2)
    for name in ("own", "factors"):
        grid = [column for column in forged.table(name) if column.isdigit()]
        forged.times(name, grid, factor)


def _swapped(forged: Forged, _: np.random.Generator) -> None:
    table = forged.table("coefficients")
    other = {"ANCHOR": "HULL", "HULL": "ANCHOR"}
    key = ["model", "quantity", "wavelength"]
    values = table.set_index(["paint", *key])[["value", "uncertainty"]]
    took = [(other[row.paint], row.model, row.quantity, row.wavelength) for row in
            table[["paint", *key]].itertuples()]  # fmt: skip
    table[["value", "uncertainty"]] = values.loc[took].to_numpy()
    forged.put("coefficients", table)


def _readings(forged: Forged, rng: np.random.Generator) -> None:
    factor = 1 + 0.2 * (_share(rng) - 1)

    def made(cell: str) -> str:
        return json.dumps([None if x is None else x * factor for x in json.loads(cell)])

    forged.words("readings", "reflectance", made, lambda t: t["patch"].str.startswith("1:1"))


def _weighed(forged: Forged, rng: np.random.Generator) -> None:
    factor = _share(rng)

    def made(cell: str) -> str:
        return json.dumps({p: g * factor if p == "ANCHOR" else g for p, g in
                           json.loads(cell).items()})  # fmt: skip

    forged.words("drawdowns", "masses", made, lambda t: t["step"] == "4:1")


def _adopted(forged: Forged, rng: np.random.Generator) -> None:
    _numbers(forged, rng)

    def made(cell: str) -> str:
        return json.dumps(json.loads(cell) | {"adopted": {"release": "paints-9.0.0"}})

    forged.words("fits", "inputs", made)


def _of_another_version(forged: Forged, rng: np.random.Generator) -> None:
    _numbers(forged, rng)
    forged.words("fits", "code_version", lambda _: "0.1.0")
    forged.words("fits", "made_with", lambda _: "")


def _cell(name: str, column: str, value: str) -> Change:
    def change(forged: Forged, _: np.random.Generator) -> None:
        forged.words(name, column, lambda _: value)

    return change


def _scaled(name: str, column: str) -> Change:
    def change(forged: Forged, rng: np.random.Generator) -> None:
        forged.times(name, [column], _share(rng))

    return change


def _pigments(forged: Forged, _: np.random.Generator) -> None:
    forged.words("paints", "pigments", lambda _: "PB28", lambda t: t["paint"] == "ANCHOR")


def _forced(forged: Forged, _: np.random.Generator) -> None:
    forged.describe(gates={"excluded": [], "forced": "", "findings": []})


def _words(forged: Forged, _: np.random.Generator) -> None:
    path = forged.folder / "README.md"
    path.write_text(path.read_text(encoding="utf-8").replace("gloves", "pearls"), encoding="utf-8")


KINDS: Mapping[str, Change] = {
    "K of a paint": _numbers,
    "S of a paint": lambda forged, rng: _numbers(forged, rng, "S"),
    "every K and S": _scaled("coefficients", "value"),
    "two paints swapped": _swapped,
    "surer than it is": _surer,
    "error of mixes": _scaled("paints", "mix_error"),
    "error of the model": _scaled("wavelengths", "model_error"),
    "error of mixes by transport": _scaled("transport", "mix_error"),
    "a reading": _readings,
    "what was weighed": _weighed,
    "the applicator's gap": _scaled("drawdowns", "gap_um"),
    "said to be adopted": _adopted,
    "said to be of another version": _of_another_version,
    "dry volume": _scaled("paints", "dry_volume"),
    "internal reflectance": _scaled("paints", "k2"),
    "how near it comes": _scaled("paints", "de00_mean"),
    "verdict": _cell("paints", "verdict", "a first guess"),
    "pigments": _pigments,
    "what stood against it": _forced,
    "cautions": _words,
}
"""What is changed; the last three and the verdict follow from no reading."""
