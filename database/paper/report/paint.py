"""What a report says and shows of one paint."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from ....calibrate.fit.judging.hiding import coats_in_words
from ....calibrate.fit.judging.quality_figures import figures as quality_rows
from ....calibrate.fit.judging.quality_report import by_step, predicted_in_words, quality_report
from ....calibrate.fit.judging.strength import Strength
from ....calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ....calibrate.optics.colour import chroma_hue
from ....calibrate.optics.spectra import Array
from ...mixing.ladder import (
    Ladder,
    TintPath,
    half_way,
    in_a_sentence,
    ladder,
    ratio_label,
    tint_path,
)
from ...mixing.viewing import AS_READ
from ...pictures.swatch import FILM_UM, Swatch, films, swatches
from .figures import Figures, figures_of
from .fits import Packed

TINTS = (1.0, 3.0, 9.0, 27.0)
"""Parts of white to one of colour, by weight, on the wall."""


@dataclass(frozen=True)
class Band:
    """A row of a strip: colours, step by step; None where there is none."""

    name: str
    swatches: tuple[Swatch | None, ...]


@dataclass(frozen=True)
class PaintPage:
    """One paint's part of a report.

    Attributes
    ----------
    row : mapping
        Its row of ``paints.csv``.
    masstones : tuple of (ground, Swatch)
        Of a film over white and over black; where scale is relative, of one that hides.
    tints : tuple of (ratio, Swatch)
    line : (M, 3) array
        CIELAB from masstone to white.
    sources : tuple of mapping
        The card, session and instrument behind it.
    flagged : tuple of str
        What is odd about its patches.
    predicted : str
        How well its steps predict each other; empty where that wasn't worked out.
    """

    row: Mapping[str, Any]
    masstones: tuple[tuple[str, Swatch], ...]
    tints: tuple[tuple[str, Swatch], ...]
    steps: Ladder
    bands: tuple[Band, ...]
    line: Array
    figures: Figures
    sentence: str
    half_way: float
    sources: tuple[Mapping[str, str], ...]
    flagged: tuple[str, ...]
    predicted: str

    @property
    def nickname(self) -> str:
        """Of the paint."""
        return str(self.row["paint"])

    @property
    def name(self) -> str:
        """On the label."""
        return str(self.row["name"])

    @property
    def label(self) -> str:
        """Maker and range, as far as they are known."""
        return ", ".join(text for text in (self.row["maker"], self.row["range"]) if text)

    @property
    def read(self) -> list[tuple[str, Swatch]]:
        """Every colour that was read, with what it lay over."""
        return [
            (band.name.rpartition(" ")[2], swatch)
            for band in self.bands
            if band.name.startswith("read")
            for swatch in band.swatches
            if swatch
        ]

    @property
    def marked(self) -> bool:
        """Whether a display can't show one of its wall colours."""
        return any(swatch.outside for _, swatch in (*self.masstones, *self.tints))

    @property
    def wall_words(self) -> str:
        """Its look in words, for who doesn't see it."""
        parts = [f"{ground}: {swatch.words}" for ground, swatch in self.masstones]
        parts += [f"{ratio}: {swatch.words}" for ratio, swatch in self.tints]
        return f"{self.name}. {'; '.join(parts)}"

    @property
    def look(self) -> str:
        """Masstone and tint in a few words."""
        words = self.masstones[0][1].words
        if self.tints and self.tints[1][1].words != words:
            return f"{words}; {self.tints[1][1].words} at {unbroken(self.tints[1][0])}"
        return words

    @property
    def own_surface(self) -> float:
        """What its own surface reflects beyond that of the fit; 0 where nothing much tells."""
        found = float(self.row.get("surface_offset", 0.0))
        return round(found, 4) if math.isfinite(found) else 0.0

    @property
    def strength(self) -> Strength | None:
        """How strongly it tints."""
        return self.figures.strength

    @property
    def hides(self) -> str:
        """The film that hides, short."""
        thick = self.figures.hides_um
        if math.isnan(thick):
            return ""
        return f"{thick:.0f} µm, {coats_in_words(thick)}" if math.isfinite(thick) else "never"

    @property
    def sayings(self) -> list[str]:
        """What is known of how it hides and tints, in sentences."""
        f, said = self.figures, []
        if f.hides:
            said.append(f"It {f.hides}.")
        if f.contrast:
            said.append(f"{_upper(f.contrast)}.")
        if f.strength is not None and f.strength.paint != f.strength.reference:
            said.append(f"It is {f.strength}.")
        return said + [f"{_upper(words)}." for words in f.unsaid]

    @property
    def keys(self) -> dict[str, float]:
        """What paints are ordered by."""
        masstone = self.masstones[0][1].lab
        whole = self.line if len(self.line) else masstone[None]
        chroma, hue = chroma_hue(whole)
        vivid = int(np.nanargmax(chroma)) if np.isfinite(chroma).any() else 0
        return {
            "light": _key(float(masstone[0]), 200.0),
            # Greys come after every hue.
            "hue": _key(float(hue[vivid]) if chroma[vivid] >= 8 else 400.0, 400.0),
            "strength": _key(-self.strength.ratio if self.strength else 1.0, 1.0),
            "hiding": _key(self.figures.hides_um, 1e6),
            "miss": _key(float(self.row["de00_mean"]), 1e6),
        }


def _key(value: float, otherwise: float) -> float:
    return round(value, 3) if math.isfinite(value) else otherwise


def _upper(said: object) -> str:
    text = str(said)
    return text[:1].upper() + text[1:]


def paint_page(
    row: Mapping[str, Any],
    coefficients: Coefficients,
    packed: Packed,
    tables: Mapping[str, pd.DataFrame],
    names: Mapping[str, str],
) -> PaintPage:
    """Gather everything on one paint of a release; `names` are those by which it is spoken of."""
    paint = row["paint"]
    fit, readings = packed.fits[paint], packed.of_paint(paint)
    cards = list({r.card.name: r.card for r in readings}.values())
    steps, path = ladder(fit, cards), tint_path(fit)
    grid = coefficients.wavelengths
    white = steps.white
    rows = tables["quality"][tables["quality"]["paint"] == paint]
    # Releases of the first layout don't say.
    figures = figures_of(rows if len(rows) else quality_rows(quality_report(fit, readings)), names)
    left = by_step(fit.patches)
    parts = [{paint: 1.0}] + ([{paint: 1.0, white: t} for t in TINTS] if white else [])
    thick = swatches(films(fit.coefficients, parts), grid)
    masstones = [("masstone", thick[0])]
    if coefficients.scale == ABSOLUTE:
        thin = FILM_UM / figures.films
        masstones = [
            (
                f"over {over}",
                swatches(films(fit.coefficients, parts[:1], thin, over), grid)[0],
            )
            for over in ("white", "black")
        ]
    return PaintPage(
        row=row,
        masstones=tuple(masstones),
        tints=tuple(zip(map(ratio_label, TINTS), thick[1:], strict=False)),
        steps=steps,
        bands=_bands(steps, fit.coefficients, path),
        line=np.zeros((0, 3)) if path is None else path.lab,
        figures=figures,
        sentence=in_a_sentence(replace(steps, paint=names[paint]), path).replace(
            " : ", unbroken(" : ")
        ),
        half_way=math.nan if path is None or np.isnan(path.lab).any() else half_way(path),
        sources=_sources(list(fit.patches["card"]), tables, packed),
        flagged=_flagged(fit.patches),
        predicted=predicted_in_words(left) if len(left) else "",
    )


def unbroken(text: str) -> str:
    """The same, never broken across lines."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def _bands(steps: Ladder, coefficients: Coefficients, path: TintPath | None) -> tuple[Band, ...]:
    """Rows of the strip: read over white and black, and predicted as that would be read.

    With the white at the end.
    """
    grid = steps.wavelengths
    bands = []
    end: tuple[Swatch | None, ...] = (None,) if path is not None else ()
    for over in steps.substrates:
        seen = swatches(steps.measured[over], grid)
        row = tuple(swatch if swatch.code else None for swatch in seen)
        bands.append(Band(f"read over {over}", row + end))
    if path is not None and steps.white is not None:
        v = [coefficients.dry_volume[coefficients.index(p)] for p in (steps.paint, steps.white)]
        mixes = [
            {steps.paint: float(share / v[0]), steps.white: float((1 - share) / v[1])}
            for share in (*steps.shares, 0.0)
        ]
        made = swatches(films(coefficients, mixes, viewing=AS_READ), grid)
        bands.append(Band("predicted, hiding all", tuple(made)))
    return tuple(bands)


def _flagged(patches: pd.DataFrame) -> tuple[str, ...]:
    said = []
    for card, patch, flag, weight in patches[["card", "patch", "flag", "weight"]].itertuples(
        index=False
    ):
        lighter = f"counted for {100 * weight:.0f} %" if weight < 0.995 else ""
        if words := ", ".join(filter(None, (flag, lighter))):
            said.append(f"{patch.replace('/', ' over ')} of card {card}: {words}")
    return tuple(said)


def _sources(
    cards: Sequence[str], tables: Mapping[str, pd.DataFrame], packed: Packed
) -> tuple[Mapping[str, str], ...]:
    """Return the sessions and scans behind some cards; one that none is packed of has a row too."""
    found = []
    scanners = tables["scanners"].set_index("calibration")
    painted = tables["cards"].set_index("card")["date"]
    for card in dict.fromkeys(cards):
        rows = tables["sessions"][tables["sessions"]["card"] == card].to_dict("records")
        scans = tables["scans"][tables["scans"]["card"] == card].to_dict("records")
        for scan in scans:
            scanner = scanners.loc[scan["calibration"]]
            found.append(
                {
                    "card": card,
                    "painted": str(painted.get(card, "")),
                    "read": scan["taken"] or f"{scan['added'][:10]} or before",
                    "device": scanner["device"],
                    "how": f"scanned at {scan['dpi']:.0f} dpi, as 45:0",
                    "calibrated": scanner["done"][:10],
                    "file": scan["file"],
                    "trouble": "",
                }
            )
        for s in rows or ([] if scans else [dict.fromkeys(tables["sessions"].columns, "")]):
            how = [s["geometry"]]
            if s["geometry"] and s["geometry"] != "45:0":
                how.append(f"specular {s['specular']}")
            found.append(
                {
                    "card": card,
                    "painted": str(painted.get(card, "")),
                    "read": s["date"] or "not stated",
                    "device": " ".join(filter(None, (s["device"], s["serial"]))) or "not stated",
                    "how": ", ".join(filter(None, (*how, s["condition"]))),
                    "calibrated": s["calibrated"],
                    "file": s["file"],
                    "trouble": packed.unread.get(card, "" if rows else "not packed here"),
                }
            )
    return tuple(found)
