"""What the user asks to match, from whatever way there is of saying it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.formats.session import Session
from ...calibrate.optics.predict import dry_fractions, predict
from ..mixing.medium import MEDIUM, resolver, with_medium
from ..mixing.prediction import mix_words, parse_mix
from ..mixing.target import HEX, WAYS, Target, of_hex, of_name, of_spectrum, said_colour
from ..mixing.viewing import Viewing, of_reading
from .habits import habits

if TYPE_CHECKING:
    from ..store import schema
    from ..store.store import Store

_MOST_COLOURS = 60
"""Of a file, that are mixed at once."""
_TINT = re.compile(r"(.+?)\s+(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)")


def of_mix(
    store: Store, mix: dict[str, float], said: str, viewing: Viewing | None = None
) -> Target:
    """Make a target of a mix by weight, as the studio's fits predict it.

    Under a viewing condition, or else as the eye sees paint in this studio.
    """
    c = store.fits.coefficients([p for p in mix if p != MEDIUM])
    if MEDIUM in mix:
        c = with_medium(c)
    viewing = (viewing or habits(store).seen).by(c.surface)
    made = predict(c, dry_fractions(c, [mix]), surface=viewing.surface(c.surface))
    target = of_spectrum(said, made.reflectance[0], c.wavelengths, viewing)
    return replace(target, parts=dict(mix))


def kept_target(kept: schema.Recipe) -> Target:
    """Make a target of what a kept recipe was made for."""
    said = kept.target
    return Target(
        str(said["said"]), np.array(said["lab"], dtype=float), estimate=bool(said.get("estimate")),
        viewing=kept_viewing(kept.predicted),
    )  # fmt: skip


def kept_viewing(said: Mapping[str, Any]) -> Viewing:
    """Return the viewing condition that is kept with a recipe, a swatch or a dab.

    Before conditions were kept there was a finish at the most, and without one the colour was
    compared as the paints were read.
    """
    return Viewing.of_kept(said.get("viewing", {"finish": said.get("finish")}))


def parse_target(text: str, store: Store) -> Target:
    """Find out what a target is and make it.

    Raises
    ------
    InputError
        Where it is nothing known, or what it names can't be used.
    """
    text = text.strip()
    plain = said_colour(text)
    if plain is not None:
        return habits(store).meant(plain)
    kept = _of_kept(text, store)
    if kept is not None:
        return kept
    for way in (_of_file, _of_typed_mix, _of_reading, _of_tube):
        found = way(text, store)
        if found is not None:
            return found.lit(habits(store).light)
    if HEX.fullmatch(text):
        return habits(store).meant(of_hex(text))
    raise InputError("target", text, "expected a colour to match", WAYS)


def parse_targets(text: str, store: Store) -> list[Target]:
    """As `parse_target`; of a file of readings that names none of its patches, each of them.

    Raises
    ------
    InputError
        As `parse_target`; and for more colours than are mixed at once.
    """
    if not is_there(text):
        return [parse_target(text, store)]
    session = _read(text)
    labels = list(dict.fromkeys(session.spectra.labels))
    if len(labels) > _MOST_COLOURS:
        raise InputError(
            text, None, f"holds {len(labels)} colours, and {_MOST_COLOURS} are mixed at once",
            f"name the ones that you want: '{text}::{labels[0]}'",
        )  # fmt: skip
    return [in_session(session, text, label).lit(habits(store).light) for label in labels]


def _of_kept(text: str, store: Store) -> Target | None:
    kept = store.recipes.find(text)
    if kept is None:
        return None
    if "thickness_um" in kept.predicted:
        # A glaze is matched by its colour over its ground.
        colour = np.array(kept.predicted["lab"], dtype=float)
        return Target(f"recipe {kept.name}", colour, viewing=kept_viewing(kept.predicted))
    viewing = kept_viewing(kept.predicted)
    return of_mix(store, kept.parts, f"recipe {kept.name}", viewing)


def _of_file(text: str, store: Store) -> Target | None:
    name, _, label = text.partition("::")
    if not (is_there(name) or re.search(r"\.(txt|csv|tsv|xlsx|cgats)$", name, re.I)):
        return None
    return in_session(_read(name), name, label)


def _read(name: str) -> Session:
    """Read a file; what reads files is loaded only then."""
    from ...calibrate.formats.read import read_session

    return read_session(name)


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
    viewing = Viewing.read(session.geometry, session.specular)
    return of_spectrum(f"{labels[0]} of {name}", values, session.spectra.wavelengths, viewing)


def _of_typed_mix(text: str, store: Store) -> Target | None:
    if "=" not in text:
        return None
    mix = parse_mix(text, resolver(lambda name: store.paints.find(name).nickname))
    names = {paint.nickname: paint.name for paint in store.paints.all()}
    return of_mix(store, mix, mix_words(mix, names))


def _of_reading(text: str, store: Store) -> Target | None:
    if "/" not in text:
        return None
    card, _, patch = text.partition("/")
    for purpose in ("fit", "check"):
        for readings in store.readings.all(purpose):
            if readings.card.name.casefold() != card.casefold():
                continue
            labels = readings.spectra.labels
            steps = [each.rpartition("/")[0] for each in labels]
            rows = [i for i, step in enumerate(steps) if patch in (step, labels[i])]
            if not rows:
                listed = ", ".join(dict.fromkeys(steps))
                raise InputError("target", text, f"expected a step of that card: {listed}", WAYS)
            values = readings.spectra.values[rows].mean(axis=0)
            viewing = of_reading(readings.surface)
            return of_spectrum(f"reading {text}", values, readings.spectra.wavelengths, viewing)
    return None


def _of_tube(text: str, store: Store) -> Target | None:
    match = _TINT.fullmatch(text)
    if not match:
        if not re.search(r"[^\W\d_]{2}", text) or HEX.fullmatch(text):
            return None
        if (named := of_name(text)) is not None and not _bears(text, store):
            return habits(store).meant(named)
        paint = _tube(text, store)
        return of_mix(store, {paint.nickname: 1.0}, f"{paint.name} from the tube")
    paint = store.paints.find(match[1])
    white, colour = float(match[2]), float(match[3])
    beside = [p for p in store.fits.of(paint.nickname).coefficients.paints if p != paint.nickname]
    if colour <= 0 or not beside:
        raise InputError(
            "target", text,
            "expected white to colour, of a tube that was let down with a white", WAYS,
        )  # fmt: skip
    return of_mix(
        store,
        {paint.nickname: colour, beside[0]: white},
        f"{paint.name} let down {white:g} : {colour:g}, white to colour",
    )


def _bears(text: str, store: Store) -> bool:
    """Whether the name of a tube holds these words."""
    wanted = text.casefold()
    return any(wanted in f"{p.nickname}\n{p.name}".casefold() for p in store.paints.all())


def _tube(text: str, store: Store) -> schema.Paint:
    """Find a tube; where there is none, say what else a colour may be."""
    try:
        return store.paints.find(text)
    except InputError as error:
        if _bears(text, store):
            raise
        names = [kept.recipe.name for kept in store.recipes.all()]
        if not names:
            raise InputError("target", text, error.expected, WAYS) from None
        near = [name for name in names if text.casefold() in name] or names
        listed = ", ".join(near[:6]) + (", ..." if len(near) > 6 else "")
        raise InputError(
            "target", text, f"is no kept recipe (kept: {listed}); as a tube it {error.expected}",
            WAYS,
        ) from None  # fmt: skip
