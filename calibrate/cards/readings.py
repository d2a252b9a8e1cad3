"""A card together with what was read of it, on the inside grid."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import CalibrateDo, InputError
from ..formats.session import Session
from ..optics.shared_errors import SharedErrors
from ..optics.spectra import GRID, Array, Flag, Spectra, check_possible, to_grid
from ..optics.surface import Surface
from .card import BARE, Card

_HUMP = 0.02
"""Reflectance by which a hump must stand above the level beyond it."""


@dataclass(frozen=True)
class CardReadings:
    """Readings of one card.

    Attributes
    ----------
    spectra : Spectra
        On the inside grid; labels are the card's patch labels, a repeat is a row of the same label.
    surface : Surface
        As the instrument sees a glossy drawdown; each drawdown's own gloss is on the card.
    source : str
        The file of readings.
    unsure : (N, W) array or None
        Variance of what the instrument's corrections may have got wrong; repeats don't lessen it.
        None where nothing is known of it.

    Examples
    --------
    One patch, read twice (an invented grey of 18 %):

    >>> from tintladder.calibrate import Drawdown
    >>> step = Drawdown("1", "BLUE", {"BLUE": 2.0, "WHITE": 8.0}, white="WHITE", gap_um=300)
    >>> read = Spectra.from_values(GRID, np.full((2, 36), 0.18), ["1/white", "1/white"])
    >>> readings = CardReadings(Card("blue", "", (step,)), read, Surface.of("di:8"), "blue.txt")
    >>> readings.read("1/white")[:, 0].round(2).tolist()
    [0.18, 0.18]
    """

    card: Card
    spectra: Spectra
    surface: Surface
    source: str
    unsure: Array | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        if not np.array_equal(self.spectra.wavelengths, GRID):
            raise ValueError(
                f"readings of a card are kept at {GRID[0]:g}-{GRID[-1]:g} nm by 10; "
                "bring them there with to_grid"
            )

    def rows(self, patch: str) -> np.ndarray:
        """Rows of the spectra that are readings of a patch."""
        return np.array([i for i, label in enumerate(self.spectra.labels) if label == patch], int)

    def read(self, patch: str) -> Array:
        """Every reading of a patch, (repeats, W)."""
        return self.spectra.values[self.rows(patch)]


def pair(card: Card, session: Session) -> CardReadings:
    """Put a session's readings to the patches of a card.

    Parameters
    ----------
    card : Card
    session : Session
        Its labels are the card's patches.

    Returns
    -------
    CardReadings
        On the inside grid of 380-730 nm.

    Raises
    ------
    InputError
        For a reading whose label is no patch of the card, a card of which nothing was read, wet
        paint, or an impossible reflectance.

    Examples
    --------
    >>> from importlib.resources import files
    >>> from tintladder.calibrate import read_card, read_session
    >>> folder = files("tintladder.measurements") / "boatyard"
    >>> card = read_card(folder / "cards/buoy-red.toml")
    >>> readings = pair(card, read_session(folder / "readings/buoy-red.txt"))
    >>> readings.read("masstone/white").mean(axis=0)[-1].round(3).item()
    0.485
    """
    if session.state == "wet":
        raise InputError(
            session.file, None, "these readings are of wet paint", "read the card again once dry"
        )
    check_patches(card, session)
    surface, spectra = Surface.of(session.geometry, session.specular), to_grid(session.trusted)
    spectra = spectra.flag(_glows(spectra), Flag.FLUORESCENT)
    return CardReadings(card, spectra, surface, session.file, unsure=_unsure(session))


def _unsure(session: Session) -> Array | None:
    """Variance of corrected readings beside their noise, (N, W) on the inside grid."""
    said = (session.corrections or {}).get("errors")
    if said is None or session.corrected is None:
        return None
    errors, read = SharedErrors.of_record(said), session.corrected
    values = read.values[:, np.isin(read.wavelengths, errors.wavelengths)]
    variance = (errors.factors(values) ** 2).sum(axis=0) + errors.own(values)
    return np.array([
        np.interp(GRID, errors.wavelengths[known := ~np.isnan(row)], row[known])
        if not np.isnan(row).all() else np.zeros(GRID.size)
        for row in variance
    ])  # fmt: skip


def check_patches(card: Card, session: Session) -> None:
    """Refuse readings that can't be of a card, wet or dry.

    Parameters
    ----------
    card : Card
    session : Session

    Raises
    ------
    InputError
        For a reading whose label is no patch of the card, a card of which nothing was read, or an
        impossible reflectance.
    """
    if not len(session.spectra):
        raise InputError(
            session.file, None, f"no sample of card {card.name} stands in it", "export it again"
        )
    patches = set(card.patches)
    for label in session.spectra.labels:
        if label not in patches:
            raise InputError(
                session.file,
                f"sample {label}",
                f"card {card.name} has no such patch (it has {', '.join(card.patches[:4])}, ...)",
                CalibrateDo.NAME_SAMPLES(),
            )
    check_possible(session.trusted, session.file)


def _glows(spectra: Spectra) -> NDArray[np.bool_]:
    """Where bare cards' brightener glows, (N, W): a hump near 440 nm above the level beyond it.

    Brightened stock lights up to a tenth above its own plateau there (common practice, no source);
    a card without brightener only rises to it.
    """
    near = (spectra.wavelengths >= 430) & (spectra.wavelengths <= 450)
    beyond = (spectra.wavelengths >= 500) & (spectra.wavelengths <= 540)
    bare = np.array([label.startswith(f"{BARE}/") for label in spectra.labels])
    hump = spectra.values[:, near].max(axis=1) - spectra.values[:, beyond].mean(axis=1)
    with np.errstate(invalid="ignore"):
        glows = bare & (hump > _HUMP)
    return np.asarray(glows[:, None] & near[None, :])
