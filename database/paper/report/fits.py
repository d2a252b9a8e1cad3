"""Fits, readings and held-out mixtures of a release, from its tables, as pictures need them."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ....calibrate.cards.readings import CardReadings, pair
from ....calibrate.errors import InputError
from ....calibrate.fit.problem.result import PaintFit
from ....calibrate.fit.scans.check import check_scans
from ....calibrate.fit.uncertainty.check import Check, check_mixtures, together
from ...common.remedies import StudioDo
from ...releases.load import LoadedRelease
from ...releases.tables.inputs import card_of, session_of
from ...releases.tables.scans import judging_scans

_SPECTRA = ["card", "patch", "wavelength", "measured", "fitted", "sigma"]


@dataclass(frozen=True)
class Packed:
    """What a release packs beside its numbers.

    Attributes
    ----------
    fits : mapping of nickname to PaintFit
        Their residuals hold what was read alone: what was fitted to it isn't packed.
    readings : mapping of card to tuple of CardReadings
        A card may have been read several times.
    unread : mapping of card to str
        Why the packed readings of a card can't be used.
    """

    fits: Mapping[str, PaintFit]
    readings: Mapping[str, tuple[CardReadings, ...]]
    unread: Mapping[str, str]

    def of_paint(self, paint: str) -> list[CardReadings]:
        """Readings of the cards that a paint was fitted to."""
        cards = dict.fromkeys(self.fits[paint].patches["card"])
        return [reading for card in cards for reading in self.readings.get(card, ())]


def unpack(release: LoadedRelease, known: Packed | None = None) -> Packed:
    """Put the tables of a release together again.

    Parameters
    ----------
    known : Packed, optional
        Of the same release by another model, whose readings are these.

    Raises
    ------
    InputError
        Where they don't hang together.
    """
    tables = release.tables
    try:
        coefficients = release.coefficients
    except (IndexError, KeyError, ValueError) as error:
        raise InputError(
            release.name, None, f"its tables don't hang together ({error})",
            StudioDo.VERIFY(),
        ) from error  # fmt: skip
    kept, unread = (known.readings, known.unread) if known is not None else _readings(tables)
    fits = {}
    patches = dict(list(tables["patches"].groupby("paint", sort=False)))
    for row in tables["paints"].to_dict("records"):
        mine = patches.get(row["paint"], tables["patches"].iloc[:0]).drop(columns=["fit", "paint"])
        beside = [p for p in (row["paint"], row["white"]) if p in coefficients.paints]
        fits[row["paint"]] = PaintFit(
            row["paint"],
            coefficients.select(list(dict.fromkeys(beside))),
            mine,
            _as_read(mine, kept),
            row["verdict"],
            tuple(reason for reason in row["reasons"].split("; ") if reason),
        )
    return Packed(fits, kept, unread)


def _readings(
    tables: Mapping[str, pd.DataFrame],
) -> tuple[dict[str, tuple[CardReadings, ...]], dict[str, str]]:
    """Every packed reading of a card that can be used, and why those of others can't."""
    readings: dict[str, list[CardReadings]] = defaultdict(list)
    unread: dict[str, str] = {}
    cards = {name: card_of(tables, name) for name in tables["cards"]["card"]}
    dry = tables["sessions"][tables["sessions"]["state"] == "dry"]
    for number, card in dry[["session", "card"]].itertuples(index=False):
        try:
            readings[card].append(pair(cards[card], session_of(tables, number)))
        except InputError as error:
            unread[card] = str(error)
    return {card: tuple(found) for card, found in readings.items()}, unread


def _as_read(patches: pd.DataFrame, readings: Mapping[str, Sequence[CardReadings]]) -> pd.DataFrame:
    """Mean reading of each patch, as the residuals of a fit have it."""
    found = []
    for card, patch in patches[["card", "patch"]].itertuples(index=False):
        repeats = [rows for r in readings.get(card, ()) if len(rows := r.read(patch))]
        if not repeats:
            continue
        grid = readings[card][0].spectra.wavelengths
        mean = np.concatenate(repeats).mean(axis=0)
        read = {"card": card, "patch": patch, "wavelength": grid, "measured": mean}
        found.append(pd.DataFrame({**read, "fitted": np.nan, "sigma": np.nan}))
    return pd.concat(found) if found else pd.DataFrame({name: [] for name in _SPECTRA})


def held_out(release: LoadedRelease, packed: Packed) -> tuple[pd.DataFrame, Check | None]:
    """Mixtures that no fit saw: how far each lies from what was predicted, as published.

    Parameters
    ----------
    release : LoadedRelease
        By one model; see `release_choice.of_model`.

    Returns
    -------
    table : DataFrame
        A row for each patch: card, step, over, de00, and scan_error, NaN where it was measured;
        the mean where several fits were judged by it.
    check : Check or None
        The same mixtures predicted again from the packed readings and scans, for their looks; None
        where that can't be done.
    """
    by_patch = release.tables["checks"].groupby(["card", "patch"], sort=False)
    split = by_patch[["de00", "scan_error"]].mean().reset_index()
    names = split["patch"].str.rsplit("/", n=1, expand=True)
    if split.empty:
        return split.assign(step=[], over=[]), None
    split = split.assign(step=names[0], over=names[1])
    scanned = split.loc[split["scan_error"].notna(), "card"].unique()
    measured = [card for card in split["card"].unique() if card not in scanned]
    readings = [r for card in measured for r in packed.readings.get(card, ())]
    try:
        found = [check_mixtures(release.coefficients, readings)]
        for card in scanned:
            for scans, sensors in judging_scans(release.tables, card):
                found.append(check_scans(release.coefficients, scans, sensors))
        return split, together(found)
    except (InputError, KeyError, ValueError):
        return split, None


def learnt_from(tables: Mapping[str, pd.DataFrame]) -> tuple[str, ...]:
    """Return the names of the cards whose mixtures the fits of a release learnt from."""
    inputs = [json.loads(said) for said in tables["fits"]["inputs"]]
    found: dict[str, None] = {}
    for name, key in (("sessions", "session"), ("scans", "scan")):
        items = [item for said in inputs for item in said.get(name, ())]
        taught = {item[key] for item in items if item.get("learnt")}
        if taught:
            table = tables[name]
            found |= dict.fromkeys(table.loc[table[key].isin(taught), "card"])
    return tuple(found)
