"""What a recipe is asked to match, from whatever way the user has of saying it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..calibrate.errors import InputError
from ..calibrate.formats.read import read_session
from ..calibrate.formats.session import Session
from ..calibrate.optics.colour import lab, srgb_to_lab
from ..calibrate.optics.predict import dry_fractions, predict
from ..calibrate.optics.spectra import GRID, Array, Spectra, to_grid
from ..calibrate.optics.surface import Gloss, Surface
from .colour_words import colour_words
from .medium import MEDIUM, with_medium
from .mixing import finished

if TYPE_CHECKING:
    from . import schema
    from .store import Store

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_LAB = re.compile(rf"\s*({_NUMBER})\s*[,;]\s*({_NUMBER})\s*[,;]\s*({_NUMBER})\s*")
_HEX = re.compile(r"#?([0-9a-fA-F]{6}|[0-9a-fA-F]{3})")
_TINT = re.compile(r"(.+?)\s+(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)")
_SCREEN = "a colour on a screen is an estimate; a reading is surer"
_WAYS = (
    "write L*,a*,b* such as '62,-18,-9', sRGB such as '#5f8ea0', a file of readings, a tube, "
    "a tube let down such as 'ANCHOR 4:1' (white to colour), a kept recipe, or CARD/STEP"
)


@dataclass(frozen=True)
class Target:
    """A colour to match.

    Attributes
    ----------
    said : str
        What it was taken for.
    lab : (3,) array
        CIELAB, D50/2°.
    reflectance : (W,) array or None
        On the inside grid; None where only a colour is known. Light that changes then tells how
        far a mix parts from it.
    estimate : bool
        Whether it was shown on a screen, or by a camera, rather than read.
    band : float
        CIEDE2000 that the colour itself is within of what is said, 95 of 100 times; 0 for one that
        was read or stated.
    notes : tuple of str
        How far to trust it, in words.
    """

    said: str
    lab: Array
    reflectance: Array | None = None
    estimate: bool = False
    band: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Light or dark, greyed or clean, and of what hue."""
        return colour_words(self.lab)

    def as_ground(self, thickness_um: float | None) -> tuple[str, Array]:
        """Return its name and its reflectance (W,), to lie below a film.

        Raises
        ------
        InputError
            Where there is no film, or only a colour is known.
        """
        if thickness_um is None:
            raise InputError(
                "--over", self.said, "lies below a film only", "say how thick: --thickness 60"
            )
        if self.reflectance is None:
            raise InputError(
                "--over", self.said, "is only a colour, and a film's ground needs its spectrum",
                "name a reading, CARD/STEP, or a tube",
            )  # fmt: skip
        return self.said, self.reflectance


def of_spectrum(said: str, reflectance: Array, wavelengths: Array = GRID) -> Target:
    """Make a target of a reflectance (W,); wavelengths unread are NaN."""
    row = Spectra.from_values(wavelengths, np.atleast_2d(reflectance), [said])
    values = to_grid(row).values
    colour = lab(values)[0]
    if not np.isfinite(colour).all():
        raise InputError(None, said, "its spectrum has gaps", "read it again")
    return Target(said, colour, values[0])


def of_lab(lightness: float, a: float, b: float) -> Target:
    """Make a target of CIELAB, D50/2°.

    Raises
    ------
    InputError
        For a colour that no surface has.
    """
    said = f"L*a*b* {lightness:g}, {a:g}, {b:g}"
    if not (0 <= lightness <= 100) or max(abs(a), abs(b)) > 150:
        raise InputError(
            "target", said, "expected L* from 0 to 100, a* and b* from -150 to 150", _WAYS
        )
    return Target(said, np.array([lightness, a, b], dtype=float))


def of_hex(text: str) -> Target:
    """Make a target of an sRGB colour such as ``#5f8ea0`` or ``#59a``.

    Raises
    ------
    InputError
        For any other text.
    """
    match = _HEX.fullmatch(text.strip())
    if not match:
        raise InputError("target", text, "expected sRGB as #rrggbb", _WAYS)
    digits = match[1] if len(match[1]) == 6 else "".join(2 * c for c in match[1])
    rgb = np.array([[int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]])
    return Target(f"sRGB #{digits.lower()}", srgb_to_lab(rgb)[0], estimate=True, notes=(_SCREEN,))


def of_mix(store: Store, mix: dict[str, float], said: str) -> Target:
    """Make a target of a mix by weight, as the studio's fits predict it."""
    c = store.current_coefficients([p for p in mix if p != MEDIUM])
    if MEDIUM in mix:
        c = with_medium(c)
    return of_spectrum(said, predict(c, dry_fractions(c, [mix])).reflectance[0], c.wavelengths)


def as_seen(target: Target, surface: Surface, finish: Gloss | None) -> Target:
    """Return a target that was read, as the eye sees it under a finish; any other as it is.

    Parameters
    ----------
    target : Target
    surface : Surface
        That it was read through.
    finish : {"gloss", "satin", "matt"} or None
    """
    if finish is None or target.reflectance is None:
        return target
    shine = finished(surface, finish).alpha - surface.alpha
    return of_spectrum(target.said, target.reflectance + shine * surface.k1)


def kept_target(kept: schema.Recipe) -> Target:
    """Make a target of what a kept recipe was made for."""
    said = kept.target
    return Target(
        str(said["said"]), np.array(said["lab"], dtype=float), estimate=bool(said.get("estimate"))
    )


def parse_target(text: str, store: Store) -> Target:
    """Find out what a target is and make it.

    Raises
    ------
    InputError
        Where it is nothing known, or what it names can't be used.
    """
    text = text.strip()
    if match := _LAB.fullmatch(text):
        return of_lab(*(float(x) for x in match.groups()))
    if text.startswith("#"):
        return of_hex(text)
    for way in (_of_kept, _of_file, _of_reading, _of_tube):
        found = way(text, store)
        if found is not None:
            return found
    if _HEX.fullmatch(text):
        return of_hex(text)
    raise InputError("target", text, "expected a colour to match", _WAYS)


def _of_kept(text: str, store: Store) -> Target | None:
    from .recipe_store import kept_recipe

    kept = kept_recipe(store, text)
    if kept is None:
        return None
    if "thickness_um" in kept.predicted:
        # A glaze is matched by its colour over its ground.
        return Target(f"recipe {kept.name}", np.array(kept.predicted["lab"], dtype=float))
    return of_mix(store, kept.parts, f"recipe {kept.name}")


def _of_file(text: str, store: Store) -> Target | None:
    name, _, label = text.partition("::")
    if not (is_there(name) or re.search(r"\.(txt|csv|tsv|xlsx|cgats)$", name, re.I)):
        return None
    return in_session(read_session(name), name, label)


def is_there(name: str) -> bool:
    """Whether a text is the name of a file that is there; one too long to be a name is none."""
    try:
        return Path(name).is_file()
    except OSError:
        return False


def in_session(session: Session, name: str, label: str = "") -> Target:
    """Make a target of one patch of a file of readings; by name, where the file holds several.

    Raises
    ------
    InputError
        Where it isn't one patch.
    """
    rows = [i for i, patch in enumerate(session.spectra.labels) if label in ("", patch)]
    labels = sorted({session.spectra.labels[i] for i in rows})
    if len(labels) != 1:
        listed = ", ".join(dict.fromkeys(session.spectra.labels[:6]))
        raise InputError(
            name, label or None, f"expected one patch, found {len(labels)} (there are: {listed})",
            f"name one: '{name}::{session.spectra.labels[0]}'",
        )  # fmt: skip
    values = session.spectra.values[rows].mean(axis=0)
    return of_spectrum(f"{labels[0]} of {name}", values, session.spectra.wavelengths)


def _of_reading(text: str, store: Store) -> Target | None:
    if "/" not in text:
        return None
    card, _, patch = text.partition("/")
    for purpose in ("fit", "check"):
        for readings in store.card_readings(purpose):
            if readings.card.name.casefold() != card.casefold():
                continue
            labels = readings.spectra.labels
            steps = [each.rpartition("/")[0] for each in labels]
            rows = [i for i, step in enumerate(steps) if patch in (step, labels[i])]
            if not rows:
                listed = ", ".join(dict.fromkeys(steps))
                raise InputError("target", text, f"expected a step of that card: {listed}", _WAYS)
            values = readings.spectra.values[rows].mean(axis=0)
            return of_spectrum(f"reading {text}", values, readings.spectra.wavelengths)
    return None


def _of_tube(text: str, store: Store) -> Target | None:
    match = _TINT.fullmatch(text)
    if not match:
        if not re.search(r"[^\W\d_]{2}", text) or _HEX.fullmatch(text):
            return None
        paint = _tube(text, store)
        return of_mix(store, {paint.nickname: 1.0}, f"{paint.name} from the tube")
    paint = store.find_paint(match[1])
    white, colour = float(match[2]), float(match[3])
    beside = [p for p in store.fit_of(paint.nickname).coefficients.paints if p != paint.nickname]
    if colour <= 0 or not beside:
        raise InputError(
            "target", text,
            "expected white to colour, of a tube that was let down with a white", _WAYS,
        )  # fmt: skip
    return of_mix(
        store,
        {paint.nickname: colour, beside[0]: white},
        f"{paint.name} let down {white:g} : {colour:g}, white to colour",
    )


def _tube(text: str, store: Store) -> schema.Paint:
    """Find a tube; where there is none, say which recipes are kept too."""
    from .recipe_store import kept_recipes

    try:
        return store.find_paint(text)
    except InputError as error:
        names = [kept.recipe.name for kept in kept_recipes(store)]
        if not names:
            raise
        near = [name for name in names if text.casefold() in name] or names
        listed = ", ".join(near[:6]) + (", ..." if len(near) > 6 else "")
        raise InputError(
            "target", text, f"is no kept recipe (kept: {listed}); as a tube it {error.expected}",
            "name one of either: see tintladder recipe and tintladder tubes",
        ) from None  # fmt: skip
