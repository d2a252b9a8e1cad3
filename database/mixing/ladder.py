"""How a paint tints toward white: its ladder, its path, and both in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.cards.card import SUBSTRATES, Card
from ...calibrate.cards.weighing import composition
from ...calibrate.fit.judging.strength import telling_hues, turn_words
from ...calibrate.fit.problem.result import PaintFit
from ...calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ...calibrate.optics.colour import chroma_hue, xyz
from ...calibrate.optics.predict import predict
from ...calibrate.optics.spectra import Array


@dataclass(frozen=True)
class Ladder:
    """The drawdowns of one paint, from masstone toward white.

    Attributes
    ----------
    white : str or None
        The white it is let down with; None where the paint has no ladder.
    wavelengths : (W,) array, nm
    shares : (N,) array
        Dry-volume share of the paint in each step.
    labels : tuple of N str
        Parts of white to colour by weight, such as ``3 : 1``; without a ladder the step's name.
    measured, fitted : mapping of substrate to (N, W) array
        NaN where a step was not drawn over it.
    flags : mapping of substrate to tuple of N str
        What is odd about each patch, in words, or empty.
    scanned : bool
        Whether a scanner saw it: then ``measured`` is a spectrum that its three channels allow,
        right in colour alone.
    """

    paint: str
    white: str | None
    wavelengths: Array
    shares: Array
    labels: tuple[str, ...]
    measured: Mapping[str, Array]
    fitted: Mapping[str, Array]
    flags: Mapping[str, tuple[str, ...]]
    scanned: bool = False

    @property
    def substrates(self) -> tuple[str, ...]:
        """Substrates that anything was read over, white first."""
        return tuple(over for over in ("white", "black") if over in self.measured)


@dataclass(frozen=True)
class TintPath:
    """Predicted colours of the paint let down to white, in films thick enough to hide.

    Attributes
    ----------
    shares : (M,) array
        Dry-volume share of the paint, falling from 1 to 0.
    parts : (M,) array
        Parts of white to one of colour, by weight; infinite at the end.
    reflectance : (M, W) array
    lab : (M, 3) array
    """

    shares: Array
    parts: Array
    reflectance: Array
    lab: Array


def white_of(fit: PaintFit) -> str | None:
    """Nickname of the white that the paint was let down with, if any."""
    return next((p for p in fit.coefficients.paints if p != fit.paint), None)


def ladder(fit: PaintFit, cards: Sequence[Card] = ()) -> Ladder:
    """Sort a paint's patches into the steps of its ladder.

    Parameters
    ----------
    cards : sequence of Card, optional
        The cards it was fitted to. With them steps bear the ratio that was weighed, and mixtures
        with a third paint are left out; without them steps bear the ratio that the fit arrived at.
    """
    white = white_of(fit)
    patches = fit.patches
    weighed = _weighed(fit.paint, white, cards)
    keys = list(zip(patches["card"], patches["step"], strict=True))
    known = [weighed.get(key, np.nan) for key in keys]
    patches = patches.assign(parts=np.array([np.nan if p is None else p for p in known]))
    patches = patches[[parts is not None for parts in known]]
    if white is None:
        # Beside a white lie the ladders of its card: only the paint alone speaks for it.
        patches = patches[patches["share"] > 0.999]
    steps = (
        patches.groupby(["card", "step"], sort=False)[["share", "thickness_um", "parts"]]
        .first()
        .reset_index()
        .sort_values(["share", "thickness_um"], ascending=[False, False], kind="stable")
    )
    shares = steps["share"].to_numpy(float)
    if white is None:
        labels = [_film_label(fit, s, t) for s, t in steps[["step", "thickness_um"]].to_numpy()]
    else:
        fitted_parts = white_parts(fit.coefficients, fit.paint, white, shares)
        parts = steps["parts"].to_numpy(float)
        labels = [ratio_label(p) for p in np.where(np.isnan(parts), fitted_parts, parts)]
    row = {key: i for i, key in enumerate(zip(steps["card"], steps["step"], strict=True))}
    measured, fitted, flags = {}, {}, {}
    for over in SUBSTRATES:
        mine = patches[patches["over"] == over]
        if mine.empty:
            continue
        at: dict[tuple[str, str], int] = {}
        odd: list[dict[str, None]] = [{} for _ in row]
        columns = mine[["card", "step", "patch", "flag", "weight"]]
        for card, step, patch, flag, weight in columns.itertuples(index=False):
            at[card, patch] = row[card, step]
            odd[row[card, step]][_oddity(flag, weight)] = None
        measured[over], fitted[over] = _spectra(fit, at, len(row))
        flags[over] = tuple(", ".join(filter(None, said)) for said in odd)
    return Ladder(
        fit.paint,
        white,
        fit.coefficients.wavelengths,
        shares,
        tuple(labels),
        measured,
        fitted,
        flags,
        bool(fit.coefficients.scan_made[fit.coefficients.index(fit.paint)]),
    )


def _spectra(fit: PaintFit, at: Mapping[tuple[str, str], int], count: int) -> tuple[Array, Array]:
    """Measured and fitted spectra (count, W), each patch in the row it goes to; the mean of many.

    NaN where nothing was read.
    """
    table, grid = fit.residuals, fit.coefficients.wavelengths
    keys = zip(table["card"], table["patch"], strict=True)
    row = np.array([at.get(key, -1) for key in keys], dtype=np.intp)
    wavelength = table["wavelength"].to_numpy(float)
    column = np.minimum(np.searchsorted(grid, wavelength), grid.size - 1)
    here = (row >= 0) & (grid[column] == wavelength)
    found = []
    for name in ("measured", "fitted"):
        values = table[name].to_numpy(float)
        known = here & np.isfinite(values)
        total, number = np.zeros((2, count, grid.size))
        np.add.at(total, (row[known], column[known]), values[known])
        np.add.at(number, (row[known], column[known]), 1.0)
        found.append(np.divide(total, number, out=np.full_like(total, np.nan), where=number > 0))
    return found[0], found[1]


def _weighed(
    paint: str, white: str | None, cards: Sequence[Card]
) -> dict[tuple[str, str], float | None]:
    """Parts of white to one of the paint as weighed, by card and step; None with a third paint."""
    found: dict[tuple[str, str], float | None] = {}
    for card in cards:
        made = composition(card)
        for drawdown, row in zip(card.drawdowns, made.fractions, strict=True):
            masses = dict(zip(made.paints, row, strict=True))
            own = masses.get(paint, 0.0)
            let_down = masses.get(white, 0.0) if white else 0.0
            third = own + let_down < 1 - 1e-9
            found[card.name, drawdown.step] = None if third or own == 0 else let_down / own
    return found


def _oddity(flag: str, weight: float) -> str:
    lighter = f"counted for {100 * weight:.0f} %" if weight < 0.995 else ""
    return ", ".join(words for words in (flag, lighter) if words)


def _film_label(fit: PaintFit, step: str, thickness_um: float) -> str:
    name = step if len(step) <= 16 else f"{step[:15]}…"
    return f"{name}\n{thickness_um:.0f} µm" if fit.coefficients.scale == ABSOLUTE else name


def white_parts(coefficients: Coefficients, paint: str, white: str, shares: Array) -> Array:
    """Parts of white to one of colour, by weight of tube paint, at dry-volume shares (N,)."""
    v, v_white = (coefficients.dry_volume[coefficients.index(p)] for p in (paint, white))
    with np.errstate(divide="ignore"):
        result: Array = (1 - shares) * v / (v_white * shares)
    return result


def ratio_label(parts: float) -> str:
    """Say white to colour: ``3 : 1``, ``1 : 2``, or ``masstone`` without white."""
    if not np.isfinite(parts):
        return "white"
    if parts < 1e-3:
        return "masstone"
    side = parts if parts >= 0.97 else 1 / parts
    # Weighing scatters by a few percent: 3.04 was meant as 3.
    near = round(side)
    text = f"{near}" if side >= 10 or abs(side - near) < 0.04 * near else f"{side:.1f}"
    return f"{text} : 1" if parts >= 0.97 else f"1 : {text}"


def tint_path(fit: PaintFit) -> TintPath | None:
    """Predict the way from masstone to white; None where the paint has no ladder."""
    white = white_of(fit)
    if white is None:
        return None
    # Even in log ratio, for a strong paint still moves at a thousand to one.
    shares = np.concatenate([[1.0], 1 / (1 + np.logspace(-2, 4.5, 60)), [0.0]])
    both = fit.coefficients.select([fit.paint, white])
    found = predict(both, np.stack([shares, 1 - shares], axis=1))
    parts = white_parts(both, fit.paint, white, shares)
    return TintPath(shares, parts, found.reflectance, found.lab())


def hue_in_words(path: TintPath) -> str:
    """How the hue turns from masstone to tint, such as ``turns 14° toward blue``.

    Judged over the stretch where the paint has a hue to speak of: between a masstone that is all
    but black and a tint that is all but white, hue means little.
    """
    chroma, hue = chroma_hue(path.lab)
    top = float(chroma.max())
    _, turned = telling_hues(chroma, hue)
    if not turned.size:
        return turn_words(top, 0.0, 0.0, 0.0, 0.0)
    far = int(np.argmax(np.abs(turned - turned[0])))
    out, back = float(turned[far] - turned[0]), float(turned[-1] - turned[far])
    return turn_words(top, float(turned[0]), float(turned[far]), out, back)


def half_way(path: TintPath) -> float:
    """Parts of white to one of colour, by weight, that bring the paint half way to white.

    Half way is half of masstone's CIELAB distance from the white; the last crossing counts, since
    a dark transparent paint first moves away from white as it is let down.
    """
    distance = np.linalg.norm(path.lab - path.lab[-1], axis=1)
    at = int(np.flatnonzero(distance >= distance[0] / 2)[-1])
    above, below = distance[at], distance[at + 1]
    step = (above - distance[0] / 2) / (above - below)
    share = np.exp(
        (1 - step) * np.log(path.shares[at]) + step * np.log(max(path.shares[at + 1], 1e-6))
    )
    per_share = path.parts[1] * path.shares[1] / (1 - path.shares[1])
    return float(per_share * (1 - share) / share)


def in_a_sentence(steps: Ladder, path: TintPath | None) -> str:
    """What a painter wants to know of the paint's tinting, in a sentence or two."""
    if path is not None and np.isfinite(path.lab).all():
        parts = half_way(path)
        return (
            f"{steps.paint} {hue_in_words(path)}. It is half way to white at "
            f"{ratio_label(parts)}, white to colour by weight."
        )
    if set(steps.substrates) == set(SUBSTRATES):
        both = [xyz(steps.measured[over], steps.wavelengths)[:, 1] for over in SUBSTRATES]
        hides = both[0] / both[1]
        if np.isfinite(hides).any():
            at = int(np.nanargmax(hides))
            film = ", ".join(steps.labels[at].splitlines())
            return (
                f"Over black, {steps.paint} comes to {100 * hides[at]:.0f} % of its brightness "
                f"over white ({film})."
            )
    return f"{steps.paint} was read without a ladder toward white."
