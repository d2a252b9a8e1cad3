"""Mixes by name and parts: what they look like, and how surely."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ...calibrate.optics.colour import D50, View, chroma_hue
from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.display import hex_code, lab_to_srgb
from ...calibrate.optics.predict import Prediction, dry_fractions, predict
from ...calibrate.optics.spectra import Array
from ..common.words import GREY_CHROMA, GREYED_CHROMA, colour_words, hue_name, hue_turn
from .viewing import AS_READ, Viewing

if TYPE_CHECKING:
    from .film import Ground

CARD_BLACK, CARD_WHITE = 0.01, 0.86
"""Inside reflectance of a typical sealed card's bands (common practice, no source)."""
VIEWS = (D50, View("D65"), View("A"))


GRAMS, ML, SPOON, CM, PART, BARE = "g", "ml", "spoon", "cm", "part", ""
"""Units that amounts may be typed in; a bare number has none."""
BY_VOLUME = (ML, SPOON, CM)
_AMOUNT = re.compile(
    r"(?P<number>\d+(?:\.\d*)?|\.\d+)\s*(?P<unit>g|ml|spoon|cm|part|%)?s?", re.IGNORECASE
)


def parse_mix(text: str, resolve: Callable[[str], str]) -> dict[str, float]:
    """Read a mix by weight such as ``ANCHOR=2,ROPE=1,HULL=7``.

    Parameters
    ----------
    text : str
        NAME=PARTS, separated by commas. Parts are of tube paint, by mass.
    resolve : callable
        From a name as typed to a nickname; raises InputError for a name that fits none.

    Returns
    -------
    dict of nickname to parts
        A paint named twice has its parts added.

    Raises
    ------
    InputError
        As `parse_amounts`, and for amounts by volume.
    """
    parts, unit = parse_amounts(text, resolve)
    if unit in BY_VOLUME:
        raise InputError("mix", text, f"expected amounts by weight, not in {unit}", "weigh them")
    return parts


def parse_amounts(text: str, resolve: Callable[[str], str]) -> tuple[dict[str, float], str]:
    """Read a mix as `parse_mix` does, in any one unit, such as ``ANCHOR=2ml,HULL=7ml``.

    Returns
    -------
    parts : dict of nickname to amount
    unit : str
        That all are in.

    Raises
    ------
    InputError
        For an amount that is no number, negative, or all of them zero; and for units mixed.
    """
    parts: dict[str, float] = {}
    units: dict[str, None] = {}
    for item in filter(None, (piece.strip() for piece in text.split(","))):
        name, equals, number = (piece.strip() for piece in item.partition("="))
        if parts and re.fullmatch(r"\d+", item):
            raise InputError(
                "mix", text, f"{item!r} stands alone; commas part the paints",
                "write decimals after a point, such as 'ANCHOR=2.5,HULL=7'",
            )  # fmt: skip
        if not equals or not name:
            raise InputError(
                "mix", item, "expected NAME=PARTS", "write for instance 'ANCHOR=2,HULL=7'"
            )
        match = _AMOUNT.fullmatch(number)
        if not match or not np.isfinite(float(match["number"])):
            raise InputError(
                "mix", item, "expected parts as a number, zero or more", "write for instance 2.5"
            )
        unit = (match["unit"] or BARE).casefold()
        units[PART if unit == "%" else unit] = None
        nickname = resolve(name)
        parts[nickname] = parts.get(nickname, 0.0) + float(match["number"])
    if len(units) > 1:
        listed = " and ".join(unit or "no unit" for unit in units)
        raise InputError(
            "mix", text, f"its amounts are in {listed}, which can't be added up",
            "give all of them in one unit",
        )  # fmt: skip
    if not parts or sum(parts.values()) <= 0:
        raise InputError(
            "mix", text or None, "expected at least one part above zero", "name some paint"
        )
    return {name: amount for name, amount in parts.items() if amount > 0}, next(iter(units))


@dataclass(frozen=True)
class Look:
    """How one mix looks over one ground.

    Attributes
    ----------
    over : str
        ``opaque``, ``black``, ``white``, or what else lies below.
    prediction : Prediction
        Of this one mix.
    view : View
        Light and observer.
    wider : float
        Times that its band is as wide as the paints' uncertainty alone makes it.
    """

    over: str
    prediction: Prediction
    view: View = D50
    wider: float = 1.0

    @property
    def reflectance(self) -> Array:
        """Reflectance, (W,)."""
        return self.prediction.reflectance[0]

    def lab(self, view: View | None = None) -> Array:
        """CIELAB, (3,); under another light where one is named."""
        return self.prediction.lab(view or self.view)[0]

    @property
    def band(self) -> float:
        """CIEDE2000 that the true colour stays within with 95 % probability."""
        covariance = self.prediction.lab_covariance(self.view)
        return self.wider * float(ciede2000_band(self.lab()[None], covariance)[0])

    @property
    def words(self) -> str:
        """The colour in words."""
        return colour_words(self.lab())

    @property
    def hex(self) -> str:
        """What a display shows of it, as #rrggbb, and "!" behind it where it can't."""
        rgb, cut = lab_to_srgb(self.lab())
        code = hex_code(rgb[0])
        return code + ("!" if cut[0] else "")


def by_weight(coefficients: Coefficients, volumes: Mapping[str, float]) -> dict[str, float]:
    """Parts by weight of a mix given by volume of tube paint."""
    return {n: v * float(coefficients.density[coefficients.index(n)]) for n, v in volumes.items()}


def look(
    coefficients: Coefficients,
    mix: Mapping[str, float],
    thickness_um: float | None = None,
    viewing: Viewing = AS_READ,
    over: Ground | None = None,
) -> list[Look]:
    """Predict a mix: opaque, and as a film over black and over white where a thickness is given.

    Parameters
    ----------
    mix : mapping of nickname to parts by weight
    thickness_um : float, optional
        Of the dry film.
    over : Ground, optional
        A further ground of the film.

    Raises
    ------
    InputError
        For a film of paints whose K and S are relative to a white.
    """
    if thickness_um is not None and coefficients.scale != ABSOLUTE:
        raise InputError(
            Field("thickness"),
            None,
            f"K and S of these paints are {coefficients.scale}: how thin a film hides is unknown",
            "leave the thickness out, or read a drawdown of known thickness over black and white",
        )
    used = coefficients.select(list(mix))
    fractions = dry_fractions(used, [mix])
    surface = viewing.surface(used.surface)
    view = viewing.view
    looks = [Look("opaque", predict(used, fractions, surface=surface), view)]
    if thickness_um is not None:
        x, wide = np.array([thickness_um * 1e-3]), used.wavelengths.size
        grounds = {"black": np.full(wide, CARD_BLACK), "white": np.full(wide, CARD_WHITE)}
        if over is not None:
            grounds[over.said] = np.array(over.inside)
        for name, inside in grounds.items():
            seen = predict(used, fractions, x, inside[None], surface)
            looks.append(Look(name, seen, view))
    return looks


def mix_words(mix: Mapping[str, float], names: Mapping[str, str]) -> str:
    """A recipe as a sentence's middle: ``6 parts Rope Earth, 2 Hull White``."""
    ordered = sorted(mix.items(), key=lambda item: -item[1])
    first = True
    words = []
    for nickname, amount in ordered:
        unit = (" part" if amount == 1 else " parts") if first else ""
        words.append(f"{amount:g}{unit} {names.get(nickname, nickname)}")
        first = False
    return ", ".join(words)


_DULLS, _TURNS, _TURNS_FAR, _LIGHTENS = 3.0, 25.0, 75.0, 8.0
"""Change of C*, of hue angle and of L* that a paint is named for (our own rule)."""


def why(coefficients: Coefficients, mix: Mapping[str, float], names: Mapping[str, str]) -> str:
    """Say why a mix works: which paint dulls it, and which turns its hue.

    Compares the opaque mix with the same mix less each of its paints in turn. The least of those
    whose leaving turns the hue turns it; of the others in a greyed mix, the one whose leaving
    cleans the colour most, and leaves its hue about where it was, dulls it.
    """
    if len(mix) < 2:
        return ""
    whole = look(coefficients, mix)[0].lab()
    rest = {n: look(coefficients, {m: mix[m] for m in mix if m != n})[0].lab() for n in mix}
    chroma, hue = _chroma_and_hue(whole)
    gain = {n: _chroma_and_hue(c)[0] - chroma for n, c in rest.items()}
    turn = {n: abs(hue_turn(_chroma_and_hue(c)[1], hue)) for n, c in rest.items()}
    left = {n: hue_name(_chroma_and_hue(c)[1]) for n, c in rest.items()}
    called = {n: f"the {names.get(n, n)}" for n in mix}
    grey, reasons = chroma < GREY_CHROMA, []
    turning = [
        n for n in mix
        if not grey and turn[n] >= _TURNS and left[n] != hue_name(hue)
        and gain[n] + chroma > 2 * GREY_CHROMA and not _is_white(coefficients, n)
    ]  # fmt: skip
    # Of two that make a hue between them, the bulk is what is turned.
    turner = min(turning, key=lambda n: mix[n], default=None)
    dulling = [
        n for n in mix
        if n != turner and gain[n] >= _DULLS and (grey or turn[n] < _TURNS_FAR)
        and not _is_white(coefficients, n)
    ]  # fmt: skip
    if dulling and len(mix) > 2 and chroma < GREYED_CHROMA:
        name = max(dulling, key=lambda n: gain[n])
        if _is_black(coefficients, name):
            reasons.append(f"{called[name]} greys the {left[name]}")
        else:
            black = "" if any(_is_black(coefficients, n) for n in mix) else ", so no black"
            reasons.append(f"{called[name]} already dulls the {left[name]}{black}")
    if turner:
        reasons.append(f"{called[turner]} turns the {left[turner]} to {hue_name(hue)}")
    lift = {n: float(whole[0] - c[0]) for n, c in rest.items()}
    name = max(lift, key=lambda n: lift[n])
    if not reasons and lift[name] >= _LIGHTENS:
        reasons.append(f"{called[name]} lets the {colour_words(rest[name])} down")
    return "; ".join(reasons)


def _chroma_and_hue(colour: Array) -> tuple[float, float]:
    chroma, hue = chroma_hue(colour)
    return float(chroma), float(hue)


def _is_white(coefficients: Coefficients, nickname: str) -> bool:
    """Whether a paint is light and of next to no hue: it lets down, and is said to dull nothing."""
    own = look(coefficients, {nickname: 1.0})[0].lab()
    return bool(own[0] > 85 and _chroma_and_hue(own)[0] < 12)


def _is_black(coefficients: Coefficients, nickname: str) -> bool:
    """Whether a paint is a black: it absorbs all wavelengths alike, far more than it scatters.

    Its masstone alone doesn't tell: that of a strong violet or green is as dark.
    """
    row = coefficients.index(nickname)
    seen = (coefficients.wavelengths >= 430) & (coefficients.wavelengths <= 680)
    k, s = coefficients.absorption[row, seen], coefficients.s[row, seen]
    return bool(np.nanmin(k) > 0.3 * np.nanmax(k) and np.nanmin(k / s) > 2)
