"""The words that go with a release: how to read it, how to cite it, what to be careful of."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .changes import Changes

CAUTIONS = """\
- Wear gloves; don't eat, drink or smoke at it. Ventilate.
- Never sand, or brush dry, paint with cadmium, cobalt, lead, chromium or unknown pigments:
  wet-wipe instead.
- Follow the label, the safety data sheet and local rules. Colour advice is not safety advice.
"""


def caution_lines() -> list[str]:
    """Return the common cautions, each in one line."""
    return [" ".join(each.split()) for each in re.split(r"^- ", CAUTIONS, flags=re.M)[1:]]


def readme(
    name: str,
    version: str,
    paints: Sequence[str],
    scale: str,
    cautions: Mapping[str, str],
    curve: Sequence[float] = (),
) -> str:
    """Return the README of a release.

    Parameters
    ----------
    name, version, scale : str
    paints : sequence of str
    cautions : mapping of nickname to words
        Of single paints.
    curve : sequence of float
        What opaque films read by transport (see `opaque_polynomial`); none without such fits.
    """
    further = _TRANSPORT.format(curve=", ".join(f"{x:.7f}" for x in curve)) if len(curve) else ""
    unit = "1/mm of dry film" if scale == "absolute" else scale
    own = "".join(f"- {paint}: {words}.\n" for paint, words in cautions.items())
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
table = table[table["model"] == "two-flux"]
ks = table.pivot(index=["paint", "wavelength"], columns="quantity", values="value")
```

Any spreadsheet opens the tables. `datapackage.json` describes every column and how the tables hang
together, in the open Data Package form; `schema.json` is the JSON Schema of that file and of a row
of each table. `quality.csv` says how each paint hides, tints and turns its hue, under which
conditions, and how well its steps predict each other; `residuals.csv` what its fit leaves over.

## Mix with it

K and S of a mixture are the sums over its paints, weighted by dry volume: grams times `dry_volume`
of `paints.csv`. An opaque film then reflects, inside, 1 + K/S - sqrt((K/S)^2 + 2 K/S), which the
surface turns into what is read: `geometry`, `specular`, `n`, `k2` and `haze` of `paints.csv`. These
surface values belong to these K and S; don't combine them with another table's.

{further}Uncertainty: variances of `covariance.csv`, plus the sum of squares over each paint's
rows in `own.csv`, plus that over `factors.csv`, whose factors paints share; both have a column for
each wavelength. What the theory itself gets wrong: `mix_error` of `paints.csv`, a relative error of
the K of a mix; `part_error`, of each paint's K and S in it; and `model_error` of `wavelengths.csv`,
as reflectance. `surface_error` is how far the reflection of a film's own surface lies from the
record, as reflectance: one film is underbound and matt, another resinous.

## Check it

`sha256sum -c SHA256SUMS` in this folder says whether it is whole, and this who signed it:

    openssl pkeyutl -verify -pubin -inkey PUBLIC-KEY.pem -rawin -in SHA256SUMS \\
        -sigfile SHA256SUMS.sig

Compare the key with the one that its maker tells you. Tintladder does both, and fits its readings
anew. A text that a spreadsheet would take for a formula has an apostrophe before it.

## Take care

{CAUTIONS}{own}"""


_TRANSPORT = """\
Rows whose `model` is `transport` tell of the same paints otherwise, and nearer the truth in mixes:
K is the absorption mu_a and S the reduced scattering mu_s' of the radiative-transfer model. K mixes
as above. Among its like a pigment scatters less: a paint of share c counts c (1 + crowding (1 - c))
of its S, with `crowding` of `transport.csv`. What an opaque film reads, without the reflection of
the surface itself, is a polynomial in 2 y - 1, where y = 1 / (1 + q + sqrt(q (q + 2))) and q = 8/3
mu_a / mu_s'; its coefficients, of rising powers, are {curve}.
What the surface reflects comes on top, and `surface_offset` of `transport.csv` on top of that: of a
mix its mean by dry volume, as far as the instrument takes the shine in.
A program of radiative transfer, at the index `n`, gives films that show their ground.
`transport.csv` says which paints have such rows, `checks.csv` how far each fit of `fits.csv` lies
from mixtures that it never saw.

"""


def citation(name: str, version: str, created: str, paints: int, code_version: str) -> str:
    """Return the line to cite a release by."""
    return (
        f"{name}, release {version} of {created[:10]}: K and S of {paints} paints with their "
        f"uncertainty, made with tintladder {code_version}.\n"
    )


@dataclass(frozen=True)
class Entry:
    """What the changelog says of a release."""

    version: str
    created: str
    changes: Changes
    note: str
    gates: Mapping[str, Any]

    @property
    def lines(self) -> list[str]:
        """Changes and note; and, where it was forced, why and against what."""
        said = [*self.changes.lines, *([self.note] if self.note else [])]
        if self.gates["excluded"]:
            said.append(f"Excluded: {', '.join(self.gates['excluded'])}.")
        if self.gates["forced"]:
            said.append(f"Published all the same, because: {self.gates['forced']}")
            said += [f"Against: {f['line']}." for f in self.gates["findings"] if f["stops"]]
        return said


def changelog(entries: Sequence[Entry]) -> str:
    """Return the changelog, newest first."""
    parts = ["# Changes\n"]
    for entry in entries:
        said = "".join(f"- {line}\n" for line in entry.lines)
        parts.append(f"## {entry.version}, {entry.created[:10]}\n\n{said}")
    return "\n".join(parts)
