"""What changed from one set of K and S to another, in figures and in colour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ...calibrate.optics.colour import ciede2000, lab
from ...calibrate.optics.predict import read_films
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.transport import TRANSPORT
from ..mixing.model_choice import WORDS
from ..mixing.palette import Ints
from ..store.in_use import whites_of
from ..store.store import Store
from .load import LoadedRelease
from .model_choice import model_of
from .tables.coefficients import coefficients_of

TINT = 4.0
"""Parts of white to one of the paint, by weight, in a mid-tint."""


@dataclass(frozen=True)
class Numbers:
    """K and S by the name under which they are compared.

    Attributes
    ----------
    name : str
        A version, or ``now``.
    coefficients : Coefficients
    whites : mapping of nickname to nickname
        The white of each paint's ladder, of those that have one.
    by_transport : Numbers or None
        Those of the paints that have a fit by transport, where these are by two fluxes.
    calculated_by : str
        The model that a mix of all these paints is calculated by.
    """

    name: str
    coefficients: Coefficients
    whites: Mapping[str, str]
    by_transport: Numbers | None = None
    calculated_by: str = TWO_FLUX

    def of_model(self, model: str) -> Numbers:
        """The same by a model.

        Raises
        ------
        InputError
            Where no paint has a fit by it.
        """
        if model == TWO_FLUX:
            return self
        if self.by_transport is None:
            raise InputError(
                None,
                self.name,
                f"no paint in it has a fit by {WORDS[model]}",
                "leave the model out",
            )
        return self.by_transport


@dataclass(frozen=True)
class Comparison:
    """What changed.

    Attributes
    ----------
    old, new : str
    added, removed, refitted : tuple of str
        Nicknames.
    table : DataFrame
        A row for each paint in both: paint, refitted, k_change and s_change (the largest change,
        over the larger of both standard uncertainties), k_nm and s_nm (where), and masstone_de00
        and tint_de00 (CIEDE2000 between both, D50/2 deg; the tint is 1 part in 5 of its white, by
        weight, each white as its own side has it; NaN where it has none).
    surface_changed : bool
        Whether both were fitted with different surfaces: then K and S aren't like for like, while
        the colours are.
    model : str
        That they were compared by.
    unsaid : tuple of str
        Paints in both that lack a fit by it on either side.
    colours : mapping of nickname to (2, 2, 3) array
        CIELAB of each paint in both: of masstone and mid-tint, before and after.
    """

    old: str
    new: str
    added: tuple[str, ...]
    removed: tuple[str, ...]
    refitted: tuple[str, ...]
    table: pd.DataFrame
    surface_changed: bool
    model: str = TWO_FLUX
    unsaid: tuple[str, ...] = ()
    colours: Mapping[str, Array] = field(default_factory=dict)


def lean(coefficients: Coefficients) -> Coefficients:
    """The same with all of each paint's uncertainty in `local`: small, and without correlations."""
    shape = coefficients.k.shape
    return replace(
        coefficients,
        local=coefficients.covariance,
        own=np.zeros((shape[0], 0, 2, shape[1])),
        factors=np.zeros((0, shape[0], 2, shape[1])),
        factor_names=(),
    )


def of_release(release: LoadedRelease) -> Numbers:
    """Return the numbers of a release."""
    beside = release.by_transport
    by_transport = None if beside is None else of_release(beside)
    calculated_by = model_of(release, list(release.tables["paints"]["paint"]))
    tables = dict(release.tables)
    wide = tables["coefficients"].pivot_table(
        index=["paint", "wavelength"], columns="quantity", values="uncertainty", dropna=False
    )
    variance = (wide**2).set_axis(["kk", "ss"], axis=1).reset_index()
    tables["covariance"] = variance.assign(ks=0.0)
    tables |= {name: tables[name].iloc[:0] for name in ("own", "factors", "shared")}
    paints = tables["paints"]
    whites = {p: w for p, w in zip(paints["paint"], paints["white"], strict=True) if w}
    return Numbers(release.version, coefficients_of(tables), whites, by_transport, calculated_by)


def of_store(store: Store) -> Numbers:
    """Return the numbers in use in a studio.

    Raises
    ------
    InputError
        Where no paint has a fit, or fits can't be used together.
    """
    with store.snapshot() as session:
        whites = whites_of(session, store.fits.current())
        paints = {TWO_FLUX: None, TRANSPORT: list(store.fits.current(TRANSPORT))}
        found = {
            model: Numbers(
                "now", Coefficients.concat([lean(c) for c in store.fits.parts(some, model)]), whites
            )
            for model, some in paints.items()
            if some or model == TWO_FLUX
        }
        every = found[TWO_FLUX]
        calculated_by = store.fits.model_for(every.coefficients.paints)
    return replace(every, by_transport=found.get(TRANSPORT), calculated_by=calculated_by)


def compare(old: Numbers, new: Numbers, model: str | None = None) -> Comparison:
    """Compare two sets of K and S.

    Parameters
    ----------
    old, new : Numbers
    model : {"two-flux", "transport"}, optional
        By default that which mixes are calculated by on both sides, else two fluxes.

    Raises
    ------
    InputError
        Where they are of different scales or grids: then no figure of one stands against the other;
        or where a side has no paint by that model.
    """
    if model is None:
        model = old.calculated_by if old.calculated_by == new.calculated_by else TWO_FLUX
    was, now = set(old.coefficients.paints), set(new.coefficients.paints)
    added = tuple(p for p in new.coefficients.paints if p not in was)
    removed = tuple(p for p in old.coefficients.paints if p not in now)
    everywhere = [paint for paint in new.coefficients.paints if paint in was]
    old, new = old.of_model(model), new.of_model(model)
    a, b = old.coefficients, new.coefficients
    for what, same in (
        (f"{a.scale} against {b.scale}", a.scale == b.scale),
        ("other wavelengths", np.array_equal(a.wavelengths, b.wavelengths)),
    ):
        if not same:
            raise InputError(
                None,
                f"{old.name} and {new.name}",
                f"can't be compared: {what}",
                "compare releases of one scale",
            )
    was = set(a.paints)
    both = [paint for paint in b.paints if paint in was]
    a, b = a.select(both), b.select(both)
    k_change, k_nm = _largest(a.k, b.k, a.uncertainty[0], b.uncertainty[0], a.wavelengths)
    s_change, s_nm = _largest(a.s, b.s, a.uncertainty[1], b.uncertainty[1], a.wavelengths)
    unchanged = [
        np.array_equal(x, y, equal_nan=True)
        for x, y in zip(np.stack([a.k, a.s], 1), np.stack([b.k, b.s], 1), strict=True)
    ]
    seen = [masstones(a), masstones(b)], [mid_tints(old, both), mid_tints(new, both)]
    table = pd.DataFrame(
        {
            "paint": both,
            "refitted": ~np.array(unchanged, dtype=bool),
            "k_change": k_change,
            "k_nm": k_nm,
            "s_change": s_change,
            "s_nm": s_nm,
            "masstone_de00": ciede2000(*seen[0]) if both else [],
            "tint_de00": ciede2000(*seen[1]) if both else [],
        }
    )
    return Comparison(
        old.name,
        new.name,
        added=added,
        removed=removed,
        refitted=tuple(table.loc[table["refitted"], "paint"]),
        table=table,
        surface_changed=a.surface != b.surface,
        model=a.model,
        unsaid=tuple(paint for paint in everywhere if paint not in both),
        colours=dict(zip(both, np.moveaxis(np.array(seen), 2, 0), strict=True)),
    )


def masstones(coefficients: Coefficients) -> Array:
    """CIELAB of each paint alone and opaque, (P, 3), D50/2 deg."""
    each = np.arange(len(coefficients.paints))
    return _seen(coefficients, each, each, np.ones((each.size, 1)))


def mid_tints(numbers: Numbers, paints: list[str]) -> Array:
    """CIELAB of each paint's mid-tint, (P, 3), D50/2 deg; NaN where its white is missing."""
    c = numbers.coefficients
    row = {paint: i for i, paint in enumerate(c.paints)}
    mine = np.array([row[paint] for paint in paints], dtype=np.intp)
    white = np.array([row.get(numbers.whites.get(paint, ""), -1) for paint in paints], np.intp)
    missing = (white < 0) | (white == mine)
    paint_part, white_part = c.dry_volume[mine], TINT * c.dry_volume[white]
    share = (paint_part / (paint_part + white_part))[:, None]
    seen = _seen(c, mine, white, share)
    seen[missing] = np.nan
    return seen


def _seen(coefficients: Coefficients, mine: Ints, white: Ints, share: Array) -> Array:
    return lab(opaque_readings(coefficients, mine, white, share), coefficients.wavelengths)


def opaque_readings(coefficients: Coefficients, mine: Ints, white: Ints, share: Array) -> Array:
    """What an instrument reads of opaque mixes of two paints; NaN where either is unread, (N, W).

    Parameters
    ----------
    coefficients : Coefficients
    mine, white : (N,) int array
        Rows of the two.
    share : (N, 1) array
        Of the first, by dry volume.
    """
    c = coefficients
    k, own = (share * v[mine] + (1 - share) * v[white] for v in (c.k, c.surface_offset[:, None]))
    # One paint alone is no mix of two: its own like is all around it.
    rest = np.where((mine == white)[:, None], 0.0, share * (1 - share))
    s = share * c.s[mine] + (1 - share) * c.s[white]
    s = s + rest * (c.crowding[mine, None] * c.s[mine] + c.crowding[white, None] * c.s[white])
    unread = np.isnan(k) | np.isnan(s)
    k, s = np.where(unread, 1.0, k), np.where(unread, 1.0, s)
    seen = read_films(c.model, c.surface, k, s, np.inf, 0.0, own).r
    return np.where(unread, np.nan, seen)


def _largest(old: Array, new: Array, u_old: Array, u_new: Array, nm: Array) -> tuple[Array, Array]:
    """Largest change over the larger uncertainty of each paint, and where; (P,) each."""
    change, unsure = np.abs(new - old), np.fmax(u_old, u_new)
    ratio = np.divide(change, unsure, out=np.where(change > 0, np.inf, 0.0), where=unsure > 0)
    # A wavelength read on one side alone is no change of a figure.
    ratio = np.where(np.isnan(ratio), -1.0, ratio)
    if not ratio.size:
        return np.zeros(len(old)), np.full(len(old), np.nan)
    at = ratio.argmax(axis=1)
    largest = ratio[np.arange(len(at)), at]
    return np.where(largest < 0, np.nan, largest), np.where(largest < 0, np.nan, nm[at])
