"""The words that go with a release: how to read it, how to cite it, what to be careful of."""

from __future__ import annotations

from collections.abc import Sequence

from .release_changes import Changes

CAUTIONS = """\
- Wear gloves; don't eat, drink or smoke at it. Ventilate.
- Never sand, or brush dry, paint with cadmium, cobalt, lead, chromium or unknown pigments:
  wet-wipe instead.
- Follow the label, the safety data sheet and local rules. Colour advice is not safety advice.
"""


def readme(name: str, version: str, paints: Sequence[str], scale: str) -> str:
    """Return the README of a release."""
    unit = "1/mm of dry film" if scale == "absolute" else scale
    return f"""\
# {name}

Release {version}: how {len(paints)} tube paints absorb and scatter light, for mixing colours.
K is absorption and S is scattering, in {unit}, wavelength by wavelength, each with its standard
uncertainty. They belong to the tube paint as sold, not to the dry pigment.

Paints: {", ".join(paints)}.

## Read it

```python
import pandas as pd
table = pd.read_csv("coefficients.csv", dtype={{"paint": "str"}})
ks = table.pivot(index=["paint", "wavelength"], columns="quantity", values="value")
```

Any spreadsheet opens the tables. `datapackage.json` describes every column and how the tables hang
together, in the open Data Package form; `schema.json` is the JSON Schema of that file and of a row
of each table.

## Mix with it

K and S of a mixture are the sums over its paints, weighted by dry volume: grams times `dry_volume`
of `paints.csv`. An opaque film then reflects, inside, 1 + K/S - sqrt((K/S)^2 + 2 K/S), which the
surface turns into what is read: `geometry`, `specular`, `n`, `k2` and `haze` of `paints.csv`. These
surface values belong to these K and S; don't combine them with another table's.

Uncertainty: variances of `covariance.csv`, plus the sum of squares over each paint's rows in
`own.csv`, plus that over `factors.csv`, whose factors all paints share. What the theory itself gets
wrong: `mix_error` of `paints.csv`, a relative error of the K of a mix, and `model_error` of
`wavelengths.csv`, as reflectance.

## Check it

`sha256sum -c SHA256SUMS` in this folder, or `tintladder verify` on it.

## Take care

{CAUTIONS}"""


def citation(name: str, version: str, created: str, paints: int, code_version: str) -> str:
    """Return the line to cite a release by."""
    return (
        f"{name}, release {version} of {created[:10]}: K and S of {paints} paints with their "
        f"uncertainty, made with tintladder {code_version}.\n"
    )


def changelog(entries: Sequence[tuple[str, str, Changes, str]]) -> str:
    """Return the changelog from (version, created, changes, note), newest first."""
    parts = ["# Changes\n"]
    for version, created, changes, note in entries:
        lines = [*changes.lines, *([note] if note else [])]
        parts.append(f"## {version}, {created[:10]}\n\n" + "".join(f"- {line}\n" for line in lines))
    return "\n".join(parts)
