"""Parts that a hand can measure: recipes snapped to grams, millilitres, spoons and whole parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from .palette import Palette
from .prediction import mix_words


@dataclass(frozen=True)
class Measure:
    """What amounts are measured with.

    Attributes
    ----------
    name : str
    unit : str
        What one unit is called.
    step : float
        Smallest step, in units.
    by_volume : bool
        Of tube paint, else by weight.
    batch : tuple of two float
        How many units a batch holds, from and to; the coarsest that costs no colour is taken.
    """

    name: str
    unit: str
    step: float
    by_volume: bool
    batch: tuple[float, float]


def scale(step: float = 0.01, batch: float = 10.0) -> Measure:
    """Return a balance of some step, g, for a batch of about so much."""
    return Measure(f"weighed to {step:g} g", "g", step, False, (0.9 * batch, 1.25 * batch))


def of_size(measure: Measure, batch: float) -> Measure:
    """Return a measure for a batch of so many units, and no less."""
    return replace(measure, batch=(batch, 1.1 * batch))


SPOONS = Measure("by the spoon", "spoon", 0.25, True, (1.0, 8.0))
SYRINGE = Measure("by syringe", "ml", 0.1, True, (4.0, 12.0))
WEIGHED_PARTS = Measure("in whole parts by weight", "part", 1.0, False, (2.0, 24.0))
SQUEEZED = Measure("in squeezed lengths of one width", "cm", 0.5, True, (4.0, 20.0))
MEASURES = (scale(0.01), scale(0.1), SYRINGE, SPOONS, SQUEEZED, WEIGHED_PARTS)
_PER_UNIT = 0.02
"""CIEDE2000 that a step more in the batch has to earn (our own rule)."""


TINT_PARTS = 9
"""Parts of the bulky paint to one of a strong one, in a tint mixed beforehand."""
_WORTH_A_TINT = 0.5
"""CIEDE2000 that mixing a tint beforehand has to save."""


@dataclass(frozen=True)
class Tint:
    """A strong paint let down beforehand, so that there is enough of it to measure.

    Attributes
    ----------
    paint, into : str
        Nicknames.
    parts : int
        Of `into` to one of `paint`, measured as everything else is.
    """

    paint: str
    into: str
    parts: int = TINT_PARTS


@dataclass(frozen=True)
class Snapped:
    """A recipe in amounts that can be measured.

    Attributes
    ----------
    measure : Measure
    amounts : dict of nickname to amount
        In the measure's unit; of a paint that is let down beforehand, the amount of its tint.
    moved : float
        CIEDE2000 that the snapping costs: from the exact mix to this one.
    difference : float
        CIEDE2000 from the target.
    tint : Tint or None
        To be mixed beforehand, where a part is too small to measure.
    """

    measure: Measure
    amounts: dict[str, float]
    moved: float
    difference: float
    tint: Tint | None = None


def snap(palette: Palette, parts: Mapping[str, float], target: Array, measure: Measure) -> Snapped:
    """Find the amounts, in whole steps, that cost least in colour.

    Parameters
    ----------
    palette : Palette
    parts : mapping of nickname to share by weight
    target : (3,) array
        CIELAB of what is to be matched.
    measure : Measure

    Notes
    -----
    Of every batch size each part is rounded both ways; no part is rounded away. Where that costs a
    difference that a tint of the scarcest paint, mixed beforehand in the bulkiest, saves, such a
    tint takes its place.
    """
    plain = _snapped(palette, parts, target, measure, None)
    if plain.moved < _WORTH_A_TINT or len(parts) < 2:
        return plain
    bulky, scarce = max(parts, key=lambda p: parts[p]), min(parts, key=lambda p: parts[p])
    if parts[bulky] < 2 * TINT_PARTS * parts[scarce]:
        return plain
    tinted = _snapped(palette, parts, target, measure, Tint(scarce, bulky))
    return tinted if tinted.moved < plain.moved - _WORTH_A_TINT else plain


def _snapped(
    palette: Palette,
    parts: Mapping[str, float],
    target: Array,
    measure: Measure,
    tint: Tint | None,
) -> Snapped:
    names = list(parts)
    rows = [palette.paints.index(p) for p in names]
    c = palette.coefficients
    # Dry volume that one unit of each leaves; a row for each thing measured out.
    each = c.dry_volume[rows] * (c.density[rows] if measure.by_volume else 1.0)
    unit = np.diag(each)
    if tint is not None:
        strong, into = names.index(tint.paint), names.index(tint.into)
        unit[strong] = 0
        unit[strong, strong] = each[strong] / (1 + tint.parts)
        unit[strong, into] = each[into] * tint.parts / (1 + tint.parts)
    shares = np.array(list(parts.values())) * c.dry_volume[rows]
    wanted = np.linalg.solve(unit.T, shares)
    wanted /= wanted.sum()
    low, high = (round(end / measure.step) for end in measure.batch)
    totals = np.unique(np.round(np.linspace(max(low, len(rows)), high, 400)))
    whole = np.floor(totals[:, None] * wanted)
    either = np.array(np.meshgrid(*[[0, 1]] * len(rows))).reshape(len(rows), -1).T
    counts = np.maximum(whole[:, None, :] + either, 1).reshape(-1, len(rows))
    exact = _lab(palette, rows, shares[None])
    colours = _lab(palette, rows, counts @ unit)
    moved = ciede2000(colours, exact)
    # A scale's steps cost nothing; counted by hand, each does.
    by_hand = high <= 40
    cost = moved + (_PER_UNIT * counts.sum(axis=1) if by_hand else 0.0)
    best = int(np.argmin(cost))
    found = counts[best]
    if measure.step == 1:
        found = found / np.gcd.reduce(found.astype(int))
    amounts = {p: float(n * measure.step) for p, n in zip(names, found, strict=True)}
    off = float(ciede2000(colours[best], target))
    return Snapped(measure, amounts, float(moved[best]), off, tint)


def _lab(palette: Palette, rows: Sequence[int], dry: Array) -> Array:
    dense = np.zeros((len(dry), len(palette.paints)))
    dense[:, rows] = dry / dry.sum(axis=1, keepdims=True)
    return palette.lab(dense)


def amount_words(amount: float, measure: Measure) -> str:
    """Say an amount as it is measured: ``2 ¼ spoons``, ``0.35 g``."""
    if measure.step == 0.25:
        whole, rest = divmod(round(amount * 4), 4)
        text = " ".join(([str(whole)] if whole else []) + (["", "¼", "½", "¾"][rest : rest + 1]))
        text = text.strip()
    else:
        digits = max(0, -int(np.floor(np.log10(measure.step))))
        text = f"{amount:.{digits}f}"
    plural = "s" if amount > 1 and measure.unit in ("spoon", "part") else ""
    return f"{text} {measure.unit}{plural}"


def weighed(snapped: Snapped) -> dict[str, float]:
    """Grams of each tube in amounts by weight, a tint's paints told apart."""
    grams, tint = dict(snapped.amounts), snapped.tint
    if tint is not None:
        strong = grams[tint.paint] / (1 + tint.parts)
        grams[tint.into] += grams[tint.paint] - strong
        grams[tint.paint] = strong
    return grams


def tint_words(tint: Tint, names: Mapping[str, str]) -> str:
    """Say how a tint is mixed: ``1 Dusk Violet to 9 Hull White``."""
    paint, into = (names.get(p, p) for p in (tint.paint, tint.into))
    return f"{paint} tint, 1 {paint} to {tint.parts} {into}"


def parts_words(snapped: Snapped, names: Mapping[str, str]) -> str:
    """Say a recipe in parts: ``6 parts Rope Earth, 2 Dusk Violet tint (1 to 9 Hull White)``."""
    tint, said = snapped.tint, dict(names)
    if tint is not None:
        paint, into = (names.get(p, p) for p in (tint.paint, tint.into))
        said[tint.paint] = f"{paint} tint (1 to {tint.parts} {into})"
    return mix_words(snapped.amounts, said)
