"""Measured oil paints over black and over white, as a studio would have them in its files.

Source: M. Geldof, A. N. Proaño Gaibor, E. Kirchner, F. Ligterink, Reconstructing Van Gogh's palette
to determine the optical characteristics of his paints, Heritage Science 6 (2018) 17, doi
10.1186/s40494-018-0181-6; their data are public domain (CC0 1.0). ``oil_paints_2018/README.md``
says what the files hold; a part of the published set.

Each film is on a card of its own, for each was read with its own bare card. What the paper does not
state is typed as a studio would: the applicator's gap is one and the same everywhere, so the scale
of K and S rests on it and no colour does; percents by weight are grams of a batch of 100 g, each
sure to 0.1 g, the last digit given; density and solids of the tubes are not known.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from tintladder.calibrate.cards.card import BARE, SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.card_text import card_text

Purpose = Literal["fit", "check"]
FOLDER = Path(__file__).parent / "oil_paints_2018"
GAP_UM = 100.0
WEIGHED_TO_G = 0.1
WHITE, LEAD, BLACK = "ZINC", "LEAD", "BONE"
MASSTONE = "masstone"
BINDER = "oil"
NICKNAMES = {
    "eosin lake 1 (wax)": ("EOSIN-WAX", "PR90"),
    "eosin lake": ("EOSIN", "PR90"),
    "eosin lake on lead (wax)": ("EOSIN-LEAD", "PR90"),
    "cochineal lake": ("COCHINEAL", "NR4"),
    "red lead": ("RED-LEAD", "PR105"),
    "vermilion": ("VERMILION", "PR106"),
    "zinc white": (WHITE, "PW4"),
    "lead white": (LEAD, "PW1"),
    "bone black": (BLACK, "PBk9"),
    "viridian": ("VIRIDIAN", "PG18"),
    "emerald green": ("EMERALD", "PG21"),
    "ultramarine": ("ULTRAMARINE", "PB29"),
    "cobalt blue": ("COBALT", "PB28"),
    "chrome yellow": ("CHROME", "PY34"),
}
"""Nickname and Colour Index generic name of each paint (the latter from memory)."""


@dataclass(frozen=True)
class Film:
    """One film of the set.

    Attributes
    ----------
    sample : str
        As the paper names it; films of one paint begin with the same number.
    parts : mapping of nickname to percent by weight
    role : {"fit", "shade", "held out"}
    readings : mapping of patch to tuple of str
        Reflectances as written, at `WAVELENGTHS`.
    """

    sample: str
    parts: Mapping[str, float]
    role: str
    readings: Mapping[str, tuple[str, ...]]

    @property
    def paint(self) -> str:
        """Whose ladder it belongs to: the colour in a tint, what a shade lets down."""
        coloured = [p for p in self.parts if p not in (WHITE, BLACK)]
        if coloured:
            return coloured[0]
        return BLACK if BLACK in self.parts else WHITE

    @property
    def step(self) -> str:
        """Its name on the card."""
        if len(self.parts) == 1:
            return MASSTONE
        first, second = self.parts
        return f"{self.parts[first]:g} {first} {self.parts[second]:g} {second}"

    def card(self, purpose: Purpose) -> Card:
        """Its card, for a fit or for a check of one."""
        drawdown = Drawdown(
            self.step,
            self.paint if purpose == "fit" else None,
            self.parts,
            white=WHITE if purpose == "fit" else None,
            gap_um=GAP_UM,
        )
        return Card(
            self.sample,
            f"{self.sample}.toml",
            (drawdown,),
            purpose=purpose,
            balance_g=WEIGHED_TO_G,
            note="Heritage Science 6 (2018) 17, CC0 1.0",
        )


@cache
def wavelengths() -> tuple[str, ...]:
    """At which the films were read, nm."""
    with (FOLDER / "readings.csv").open(encoding="utf-8") as file:
        return tuple(next(csv.reader(file))[2:])


@cache
def films() -> tuple[Film, ...]:
    """Films of paints in one medium; two that were ground in another oil are left aside."""
    parts: dict[str, dict[str, float]] = {}
    roles: dict[str, str] = {}
    read: dict[str, dict[str, tuple[str, ...]]] = {}
    with (FOLDER / "samples.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["role"] != "another medium":
                nickname = NICKNAMES[row["paint"]][0]
                parts.setdefault(row["sample"], {})[nickname] = float(row["percent_by_weight"])
                roles[row["sample"]] = row["role"]
    with (FOLDER / "readings.csv").open(encoding="utf-8") as file:
        for sample, patch, *values in list(csv.reader(file))[1:]:
            read.setdefault(sample, {})[patch] = tuple(values)
    return tuple(Film(s, parts[s], roles[s], read[s]) for s in parts)


def write_files(folder: Path, some: Sequence[Film], purpose: Purpose = "fit") -> list[Path]:
    """Write the files that a studio takes in.

    Parameters
    ----------
    folder : Path
    some : sequence of Film
    purpose : {"fit", "check"}
        Of their cards.

    Returns
    -------
    list of Path
        Paints, then card and readings of each film.
    """
    tubes = [
        f'[[paint]]\nnickname = "{nickname}"\nname = "{name}"\npigments = ["{pigment}"]\n'
        f'binder = "{BINDER}"\n'
        for name, (nickname, pigment) in NICKNAMES.items()
    ]
    files = [folder / "paints.toml"]
    files[0].write_text("\n".join(tubes), encoding="utf-8")
    for film in some:
        card = film.card(purpose)
        lines = ["# geometry: di:8", "# specular: included", "# unit: fraction"]
        lines.append(",".join(["sample", *wavelengths()]))
        for over in SUBSTRATES:
            lines.append(",".join([f"{BARE}/{over}", *film.readings[f"bare/{over}"]]))
            lines.append(",".join([f"{film.step}/{over}", *film.readings[f"film/{over}"]]))
        texts = {f"{film.sample}.toml": card_text(card), f"{film.sample}.csv": "\n".join(lines)}
        for name, text in texts.items():
            (folder / name).write_text(f"{text}\n", encoding="utf-8")
            files.append(folder / name)
    return files
