"""How strongly a paint tints, how its hue turns on the way, and how far one lot lies from another.

References
----------
ISO 18314-2 (relative tinting strength at the absorption maximum, and at equal depth). From memory;
its formula for depth of shade is not built in: here equally deep means equally far from the white
in CIELAB.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...optics.coefficients import Coefficients
from ...optics.colour import D50, View, chroma_hue, lab
from ...optics.spectra import Array
from ..uncertainty.propagate import covariance_of, read_by_all, see

Criterion = Literal["absorption maximum", "equal depth"]
CRITERIA: tuple[Criterion, ...] = ("absorption maximum", "equal depth")
WHITE_PARTS = 9.0
"""Parts of white to one of colour, by weight, at which strengths are compared (our choice)."""
_STRONGEST = 1e6
GREYISH = 5.0
"""Chroma under which a hue is not worth a word (our rule, no source)."""
STEADY = 5.0
"""Turn of hue, in degrees, under which a paint keeps its hue (our rule, no source)."""
# CIELAB hue angles of the four hues that hold no trace of another (unique hues; from memory), and
# violet, which painters name as a way to lean (ours).
_NAMED = (("red", 24.0), ("yellow", 90.0), ("green", 162.0), ("blue", 246.0), ("violet", 310.0))


@dataclass(frozen=True)
class Strength:
    """Tinting strength against a reference, by weight of tube paint.

    Attributes
    ----------
    paint, reference, white : str
    ratio : float
        2 where one gram does the work of two of the reference.
    relative_uncertainty : float
        Standard uncertainty of the ratio's logarithm.
    criterion : {"absorption maximum", "equal depth"}
    white_parts : float
        Parts of white to one of the reference, by weight.
    peaks : (2,) tuple, nm
        Absorption maximum of each tint.
    """

    paint: str
    reference: str
    white: str
    ratio: float
    relative_uncertainty: float
    criterion: Criterion
    white_parts: float
    peaks: tuple[float, float]

    @property
    def band(self) -> tuple[float, float]:
        """95 % interval of the ratio."""
        wide = float(np.exp(1.96 * self.relative_uncertainty))
        return self.ratio / wide, self.ratio * wide

    def __str__(self) -> str:
        low, high = self.band
        how = "K/S at the" if self.criterion == "absorption maximum" else "by"
        return (
            f"{strength_in_words(self.ratio)} {self.reference}: {self.ratio:.2f} to 1, somewhere "
            f"from {low:.2f} to {high:.2f} ({how} {self.criterion}, {self.white_parts:g} parts of "
            f"{self.white} to 1 of {self.reference} by weight)"
        )


def strength_in_words(ratio: float) -> str:
    """A ratio of strengths in everyday words, up to the name of the reference."""
    if 0.95 < ratio < 1.05:
        return "as strong as"
    if 0.9 < ratio < 1.1:
        return f"a shade {'stronger' if ratio > 1 else 'weaker'} than"
    if ratio > 1:
        return _times(ratio, "as strong as")
    if abs(ratio - 0.5) < 0.04:
        return "half as strong as"
    if abs(ratio - 1 / 3) < 0.025:
        return "a third as strong as"
    return f"{ratio:.0%} as strong as" if ratio > 0.1 else "far weaker than"


def _times(ratio: float, rest: str) -> str:
    names = {2: "twice", 3: "three times", 4: "four times", 5: "five times"}
    near = round(ratio)
    if near in names and abs(ratio - near) < 0.08 * near:
        return f"{names[near]} {rest}"
    return f"{ratio:.1f} times {rest}" if ratio < 9.5 else f"{ratio:.0f} times {rest}"


def _share(c: Coefficients, column: int, white: int, parts: float) -> float:
    """Dry-volume share of a paint in so many parts of white to one, by weight."""
    v, v_white = c.dry_volume[column], c.dry_volume[white]
    return float(v / (v + parts * v_white))


def _row(c: Coefficients, column: int, white: int, share: float) -> Array:
    row = np.zeros((1, len(c.paints)))
    row[0, column] += share
    row[0, white] += 1 - share
    return row


def tinting_strength(
    coefficients: Coefficients,
    paint: str,
    reference: str,
    white: str,
    criterion: Criterion = "absorption maximum",
    *,
    white_parts: float = WHITE_PARTS,
    reference_white: str | None = None,
    view: View = D50,
) -> Strength:
    """Compare how strongly two paints tint a white, in films that hide.

    Parameters
    ----------
    coefficients : Coefficients
        Of all of them; two sets go side by side with `propagate.beside`.
    paint, reference, white : str
    criterion : {"absorption maximum", "equal depth"}
        The first compares what each adds to the white's K/S where it adds the most, at the same
        ratio. The second asks how much of the paint takes as much white as far from white as the
        reference takes it, in CIELAB.
    white_parts : float
        Parts of white to one of the reference, by weight of tube paint.
    reference_white : str, optional
        The reference's own white, where it is another record.
    view : View

    Returns
    -------
    Strength

    Raises
    ------
    ValueError
        Where the readings leave a gap, or no amount of the paint is as deep as the reference.
    """
    c = read_by_all(coefficients, [paint, white, reference, reference_white or white])
    if criterion == "absorption maximum":
        one, by_one, peak = _added(c, 0, 1, white_parts)
        other, by_other, other_peak = _added(c, 2, 3, white_parts)
        ratio, slopes = one / other, by_one / one - by_other / other
        peaks = peak, other_peak
    else:
        share = _share(c, 2, 3, white_parts)
        target, by_target, _ = _depth(c, 2, 3, share, view)

        def short(log_parts: Array | float) -> Array:
            return _far(c, np.exp(np.atleast_1d(log_parts)), view) - target

        grid = np.linspace(np.log(1 / _STRONGEST), np.log(_STRONGEST), 120)
        deep = np.flatnonzero(short(grid) > 0)
        if not deep.size or deep[-1] == grid.size - 1:
            raise ValueError(f"no amount of {paint} is as deep as {white_parts:g}:1 {reference}")
        from scipy.optimize import brentq

        at = int(deep[-1])
        parts = float(np.exp(brentq(lambda x: short(x)[0], grid[at], grid[at + 1], xtol=1e-12)))
        own = _share(c, 0, 1, parts)
        _, by_depth, by_share = _depth(c, 0, 1, own, view)
        # Depth by log share over what the paint lacks: d log parts = -d log(share / (1 - share)).
        ratio = parts / white_parts
        slopes = (by_depth - by_target) / (by_share * own * (1 - own))
        peaks = _added(c, 0, 1, parts)[2], _added(c, 2, 3, white_parts)[2]
    relative = float(np.sqrt(_variance(coefficients, c, slopes)))
    return Strength(paint, reference, white, ratio, relative, criterion, white_parts, peaks)


def _variance(coefficients: Coefficients, chosen: Coefficients, slopes: Array) -> float:
    """Variance of a figure whose paints may name one record twice: its slopes there add up."""
    names = tuple(dict.fromkeys(chosen.paints))
    unique = read_by_all(coefficients, names)
    at = np.isin(unique.wavelengths, chosen.wavelengths)
    summed = np.zeros((1, len(names), 2, unique.wavelengths.size))
    for i, name in enumerate(chosen.paints):
        summed[0, names.index(name)][:, at] += slopes[i]
    return float(covariance_of(unique, summed)[0, 0])


def _added(c: Coefficients, paint: int, white: int, parts: float) -> tuple[float, Array, float]:
    """Most K/S that a paint adds to its white at a ratio, its slope (P, 2, W), and where."""
    share = _share(c, paint, white, parts)
    row = _row(c, paint, white, share)[0]
    counted = c.scattering_shares(row)
    k, s = row @ c.k, counted @ c.s
    added = k / s - c.k[white] / c.s[white]
    at = int(np.argmax(added))
    if added[at] <= 0:
        raise ValueError(f"{c.paints[paint]} takes no light from {c.paints[white]}")
    by = np.zeros((len(c.paints), 2, c.wavelengths.size))
    by[:, 0, at] = row / s[at]
    by[:, 1, at] = -counted * k[at] / s[at] ** 2
    by[white, 0, at] -= 1 / c.s[white, at]
    by[white, 1, at] += c.k[white, at] / c.s[white, at] ** 2
    return float(added[at]), by, float(c.wavelengths[at])


def _far(c: Coefficients, parts: Array, view: View) -> Array:
    """CIELAB distance of the first paint's tints from its white, the second; parts (M,) to (M,)."""
    rows = [_row(c, 0, 1, _share(c, 0, 1, float(p))) for p in (*parts, np.inf)]
    colours = lab(see(c, np.concatenate(rows)).r, c.wavelengths, view)
    result: Array = np.linalg.norm(colours[:-1] - colours[-1], axis=1)
    return result


def _depth(
    c: Coefficients, paint: int, white: int, share: float, view: View
) -> tuple[float, Array, float]:
    """CIELAB distance of a tint from its white; its slopes by K and S, (P, 2, W), and by share."""
    rows = np.concatenate([_row(c, paint, white, share), _row(c, paint, white, 0.0)])
    seen = see(c, rows)
    colours, slope = seen.lab(view)
    apart = colours[0] - colours[1]
    size = max(float(np.linalg.norm(apart)), 1e-12)
    by_r = np.einsum("i,miw->mw", apart / size, slope) * np.array([[1.0], [-1.0]])
    by_ks = np.einsum("mw,mpiw->piw", by_r, seen.by_ks)
    by_share = float(by_r[0] @ (seen.by_share[0, paint] - seen.by_share[0, white]))
    return size, by_ks, by_share


@dataclass(frozen=True)
class HueTurn:
    """How a paint's hue turns from masstone to tint, in films that hide.

    It is followed over the stretch where the paint has a hue to speak of: between a masstone that
    is all but black and a tint that is all but white, hue means little.

    Attributes
    ----------
    paint, white : str
    from_parts, to_parts : float
        Parts of white to one of colour, by weight, where the turn starts and where it is largest.
    from_hue, to_hue : float, degrees
    turn, uncertainty : float, degrees
        Toward yellow from red is positive; 0 for a paint that stays close to grey. Standard
        uncertainty.
    back : float, degrees
        How far it turns back as the tint grows weaker still.
    chroma : float
        The largest.
    view : View
    """

    paint: str
    white: str
    from_parts: float
    to_parts: float
    from_hue: float
    to_hue: float
    turn: float
    uncertainty: float
    back: float
    chroma: float
    view: View

    def __str__(self) -> str:
        how_sure = (
            f" (± {1.96 * self.uncertainty:.0f}°, {_ratio(self.from_parts)} to "
            f"{_ratio(self.to_parts)}, {self.view})"
        )
        return turn_words(self.chroma, self.from_hue, self.to_hue, self.turn, self.back, how_sure)


def turn_words(
    chroma: float, from_hue: float, to_hue: float, turn: float, back: float, how_sure: str = ""
) -> str:
    """Say how a hue turns from masstone to tint, such as ``turns 14° toward blue``.

    Parameters
    ----------
    chroma : float
        The largest.
    from_hue, to_hue, turn, back : float, degrees
        As in `HueTurn`.
    how_sure : str
        What stands behind a turn in brackets.
    """
    if chroma < GREYISH:
        return "stays close to grey as it is let down"
    if chroma < 2 * GREYISH:
        near = min(_NAMED, key=lambda named: abs((to_hue - named[1] + 180) % 360 - 180))
        return f"stays close to grey and leans {near[0]}"
    if abs(turn) < STEADY:
        return "keeps its hue as it is let down"
    words = f"turns {abs(turn):.0f}° toward {_toward(from_hue, to_hue, turn)} as it is let down"
    if abs(back) >= max(STEADY, abs(turn) / 4):
        return f"{words}{how_sure}, then {abs(back):.0f}° back"
    return f"{words}{how_sure}"


def _toward(from_hue: float, to_hue: float, turn: float) -> str:
    """Name the hue that a turn ends nearest to, of those that lie on its way."""
    way = np.sign(turn)
    ahead = [each for each in _NAMED if STEADY < ((each[1] - from_hue) * way) % 360 < 180]
    return min(ahead, key=lambda named: abs((to_hue - named[1] + 180) % 360 - 180))[0]


def _ratio(parts: float) -> str:
    """Say white to colour: ``3 : 1``, ``1 : 2``, or ``masstone``."""
    if parts < 1e-3:
        return "masstone"
    more, ends = (parts, "{} : 1") if parts >= 1 else (1 / parts, "1 : {}")
    return ends.format(f"{more:.0f}" if more >= 10 else f"{more:.2g}")


def telling_hues(chroma: Array, hue: Array) -> tuple[int, Array]:
    """Where along a tint ladder a paint has a hue to speak of, and the hues there, unwound.

    Parameters
    ----------
    chroma, hue : (N,) array
        From masstone to tint; hue in degrees.

    Returns
    -------
    first : int
        Row where they begin.
    turned : array, degrees
        Without jumps of 360; of nothing where all is close to grey.
    """
    top = int(np.argmax(chroma))
    enough = chroma >= max(GREYISH, chroma[top] / 4)
    first = top - int(np.argmin(enough[top::-1])) + 1 if not enough[: top + 1].all() else 0
    last = top + int(np.argmin(enough[top:])) if not enough[top:].all() else enough.size
    return first, np.degrees(np.unwrap(np.radians(hue[first:last])))


def hue_turn(coefficients: Coefficients, paint: str, white: str, view: View = D50) -> HueTurn:
    """Follow the hue from masstone to the palest tint that still has one.

    Parameters
    ----------
    coefficients : Coefficients
    paint : str
        Nickname.
    white : str
        Nickname.
    view : View
        Light and observer.

    Returns
    -------
    HueTurn

    Raises
    ------
    ValueError
        Where the readings leave a gap.
    """
    c = read_by_all(coefficients, [paint, white])
    parts = np.concatenate([[0.0], np.logspace(-2, 4, 121)])
    shares = np.array([_share(c, 0, 1, float(p)) for p in parts])
    seen = see(c, np.stack([shares, 1 - shares], axis=1))
    colours, slope = seen.lab(view)
    chroma, hue = chroma_hue(colours)
    top = int(np.argmax(chroma))
    first, turned = telling_hues(chroma, hue)
    turn, back, sd, far = 0.0, 0.0, 0.0, top
    if turned.size:
        far = first + int(np.argmax(np.abs(turned - turned[0])))
        turn, back = float(turned[far - first] - turned[0]), float(turned[-1] - turned[far - first])
        # d hue = (a db - b da) / C^2.
        by_lab = np.stack([-colours[:, 2], colours[:, 1]], axis=1) / chroma[:, None] ** 2
        by_r = np.degrees(np.einsum("mi,miw->mw", by_lab, slope[:, 1:]))
        by_ks = by_r[:, None, None] * seen.by_ks
        sd = float(np.sqrt(covariance_of(c, (by_ks[far] - by_ks[first])[None])[0, 0]))
    return HueTurn(
        paint,
        white,
        float(parts[first if turned.size else top]),
        float(parts[far]),
        float(hue[first if turned.size else top]),
        float(hue[far]),
        turn,
        sd,
        back,
        float(chroma[top]),
        view,
    )
