"""How far a new tube of a known paint lies from the old one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...optics.coefficients import ABSOLUTE, Coefficients, dry_volume_spread
from ...optics.colour import D50, View, chroma_hue, ciede2000, in_words
from ...optics.colour_difference import ciede2000_band
from ...optics.spectra import Array
from ..uncertainty.propagate import ReadMixes, beside, covariance_of, read_by_all, see
from .hiding import STANDARD_UM, chart
from .strength import GREYISH, Strength, tinting_strength

STEPS = (0.0, 1.0, 3.0, 9.0, 30.0)
"""Parts of white to one of colour, by weight, at which two lots are compared (our choice)."""
OLD = "old lot"
_LEAST = 0.3
"""Change of CIELAB lightness, chroma or hue that is worth a word (our rule)."""


@dataclass(frozen=True)
class DriftStep:
    """One step of both lots.

    Attributes
    ----------
    de00 : float
        CIEDE2000 from the old lot to the new.
    uncertainty : float
        Its standard uncertainty.
    limit : float
        CIEDE2000 that readings of one and the same paint stay within 19 times out of 20.
    change : (3,) array
        In lightness, chroma and hue difference (CIELAB), new less old.
    how : str
        The change in words.
    """

    step: str
    de00: float
    uncertainty: float
    limit: float
    change: Array
    how: str

    @property
    def moved(self) -> bool:
        """Whether the lots differ by more than the readings leave open."""
        return self.de00 > self.limit

    def __str__(self) -> str:
        if not self.moved:
            return (
                f"{self.step}: no difference that the readings can tell "
                f"(CIEDE2000 {self.de00:.1f}; up to {self.limit:.1f} may be chance)"
            )
        return (
            f"{self.step}: {in_words(self.de00)}, {self.how} "
            f"(CIEDE2000 {self.de00:.1f} ± {1.96 * self.uncertainty:.1f})"
        )


@dataclass(frozen=True)
class Drift:
    """A new lot against the old one.

    Attributes
    ----------
    strength : Strength or None
        Of the new lot against the old; None without a white.
    """

    paint: str
    steps: tuple[DriftStep, ...]
    strength: Strength | None
    view: View

    @property
    def worst(self) -> DriftStep:
        """The step that moved the most, of those that moved at all."""
        return max(self.steps, key=lambda s: (s.moved, s.de00))

    def __str__(self) -> str:
        worst = self.worst
        if not worst.moved:
            first = f"the new tube of {self.paint} is the old one as far as the readings can tell"
        else:
            first = (
                f"the new tube of {self.paint} differs most at {worst.step}: "
                f"{in_words(worst.de00)}, {worst.how}"
            )
        lines = [first]
        s = self.strength
        if s is not None and not s.band[0] <= 1 <= s.band[1]:
            much = abs(1 / s.ratio - 1)
            word = "less" if s.ratio > 1 else "more"
            lines.append(
                f"it tints {'more' if s.ratio > 1 else 'less'} strongly: use {much:.0%} {word} of "
                f"it (strength {s.ratio:.2f}, from {s.band[0]:.2f} to {s.band[1]:.2f})"
            )
        return "\n".join([*lines, *(f"  {step}" for step in self.steps)])


def drift(
    old: Coefficients,
    new: Coefficients,
    paint: str,
    white: str | None = None,
    view: View = D50,
) -> Drift:
    """Compare masstone and tints of two lots, in films that hide, and of films on white.

    Parameters
    ----------
    old, new : Coefficients
        Each with the paint; where both have the white each lot is let down with its own.
    paint : str
    white : str, optional
        Without it only masstones are compared.
    view : View

    Returns
    -------
    (N,) array

    Raises
    ------
    ValueError
        Where the two can't go side by side, or their readings leave a gap.

    Notes
    -----
    Mixing errors of two fluxes are of both lots alike and are left out; what they make unsure of K
    and S is not, so a drift is called late rather than early. A white that both have
    from the same record counts once, so its own uncertainty mostly cancels.
    """
    both, names = beside(new, old, OLD)
    if white is not None and white not in names and white not in new.paints:
        raise ValueError(f"neither lot was fitted with {white}")
    whites = (
        []
        if white is None
        else [white if white in new.paints else names[white], names.get(white, white)]
    )
    c = read_by_all(both, list(dict.fromkeys([paint, names[paint], *whites])))
    steps = []
    for parts in STEPS if whites else STEPS[:1]:
        rows = np.zeros((2, len(c.paints)))
        for row, name, let_down in zip(
            rows, (paint, names[paint]), whites or (None, None), strict=True
        ):
            amount = 1.0
            if let_down is not None:
                v, v_white = (c.dry_volume[c.index(p)] for p in (name, let_down))
                amount = float(v / (v + parts * v_white))
                row[c.index(let_down)] = 1 - amount
            row[c.index(name)] += amount
        label = "masstone" if parts == 0 else f"{parts:g} : 1"
        steps.append(_step(label, c, see(c, rows), view))
    if c.scale == ABSOLUTE:
        lots = [c.index(paint), c.index(names[paint])]
        under = np.repeat(chart(c)[1:], 2, axis=0)
        film = see(c, np.eye(len(c.paints))[lots], STANDARD_UM * 1e-3, under)
        spread = np.array([dry_volume_spread(bool(c.dry_volume_measured[i])) for i in lots])
        thicker = film.by_x * STANDARD_UM * 1e-3 * spread[:, None]
        steps.append(_step(f"{STANDARD_UM:.0f} µm over white", c, film, view, thicker))
    strength = None
    if whites:
        strength = tinting_strength(
            both, paint, names[paint], whites[0], reference_white=whites[1], view=view
        )
    return Drift(paint, tuple(steps), strength, view)


def _step(
    label: str, c: Coefficients, seen: ReadMixes, view: View, thicker: Array | None = None
) -> DriftStep:
    """Compare two mixes; `thicker` is what one standard deviation of its own does to each."""
    colours, slope = seen.lab(view)
    by_ks = np.einsum("miw,mpqw->mipqw", slope, seen.by_ks)
    covariance = covariance_of(c, by_ks[0] - by_ks[1])
    if thicker is not None:
        moved = np.einsum("miw,mw->mi", slope, thicker)
        covariance = covariance + moved.T @ moved
    h = 1e-3
    steps = np.eye(3) * h
    rise = ciede2000(colours[0] + steps, colours[1]) - ciede2000(colours[0] - steps, colours[1])
    gradient = rise / (2 * h)
    middle = colours.mean(axis=0, keepdims=True)
    # One record against itself has no uncertainty at all.
    known = bool(np.trace(covariance) > 1e-18)
    chroma, hue = chroma_hue(colours)
    turn = np.radians(hue[0] - hue[1])
    across = 2 * np.sqrt(chroma[0] * chroma[1]) * np.sin(turn / 2)
    change = np.array([colours[0, 0] - colours[1, 0], chroma[0] - chroma[1], across])
    return DriftStep(
        label,
        float(ciede2000(colours[0], colours[1])),
        float(np.sqrt(np.maximum(gradient @ covariance @ gradient, 0.0))),
        float(ciede2000_band(middle, covariance[None])[0]) if known else 0.0,
        change,
        _how(change, colours),
    )


def _how(change: Array, colours: Array) -> str:
    """Put a change of lightness, chroma and hue in words, the largest first."""
    toward = "yellower" if colours[0, 2] > colours[1, 2] else "bluer"
    if abs(colours[0, 1] - colours[1, 1]) > abs(colours[0, 2] - colours[1, 2]):
        toward = "redder" if colours[0, 1] > colours[1, 1] else "greener"
    words: list[str] = [
        "lighter" if change[0] > 0 else "darker",
        "cleaner" if change[1] > 0 else "greyer",
        toward,
    ]
    size: Array = np.abs(change)
    if chroma_hue(colours)[0].max() < GREYISH:
        words[1], size[1] = toward, np.hypot(size[1], size[2])
        size[2] = 0.0
    least = max(_LEAST, float(size.max()) / 3)
    said = [words[i] for i in np.argsort(-size) if size[i] >= least]
    return " and ".join(dict.fromkeys(said)) or "in no way that has a word"
