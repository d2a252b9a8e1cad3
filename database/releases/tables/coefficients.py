"""K and S, with all that is known of their uncertainty, as tables and back, bit for bit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from ....calibrate.optics.coefficients import Coefficients
from ....calibrate.optics.spectra import Array
from ....calibrate.optics.surface import Surface
from ...mixing.palette import Ints
from .schema import SPECTRUM
from .text import figures, lines, words

QUANTITIES = ("K", "S")
OF_PAINTS = ("paints", "coefficients", "covariance", "own", "factors")
"""Tables whose rows are each of one paint."""
_PIECE = 50
"""Paints whose rows are held at once."""


def coefficient_texts(
    parts: Sequence[Coefficients], beside: Sequence[Coefficients], paints: Sequence[str]
) -> dict[str, Callable[[], Iterator[str]]]:
    """Coefficients as CSV: wavelengths, coefficients, covariance, own, shared, factors.

    Parameters
    ----------
    parts : sequence of Coefficients
        Of fits that are alike.
    beside : sequence of Coefficients
        Of fits by transport of some of the same paints; may be none.
    paints : sequence of str
        All paints, in the order of the tables; all rows of a paint stand together.
    """
    # Factors are numbered through, from 1.
    number: dict[tuple[str, str], int] = {}
    place: dict[str, list[tuple[Coefficients, int, Ints]]] = {}
    for part in (*parts, *beside):
        of_part = [(part.model, name) for name in part.factor_names]
        numbers = [number.setdefault(factor, len(number) + 1) for factor in of_part]
        for i, paint in enumerate(part.paints):
            place.setdefault(paint, []).append((part, i, np.array(numbers, np.intp)))

    def pieces(write: Callable[[Coefficients, int, str, Ints], str]) -> Iterator[str]:
        for start in range(0, len(paints), _PIECE):
            yield "".join(
                write(part, i, paint, of_part)
                for paint in paints[start : start + _PIECE]
                for part, i, of_part in place[paint]
            )

    def wavelengths() -> Iterator[str]:
        grid = parts[0].wavelengths
        none = [np.full(grid.size, np.nan)]
        errors = ([part.model_error for part in some] or none for some in (parts, beside))
        yield lines(figures(grid), *(figures(np.max(each, axis=0)) for each in errors))

    def shared() -> Iterator[str]:
        models, names = [model for model, _ in number], [name for _, name in number]
        yield lines(words(number.values()), words(names), models)

    return {
        "wavelengths": wavelengths,
        "coefficients": lambda: pieces(_values),
        "covariance": lambda: pieces(_local),
        "own": lambda: pieces(_own),
        "shared": shared,
        "factors": lambda: pieces(_factors),
    }


def uncertainty(c: Coefficients, i: int) -> Array:
    """Standard uncertainty of K and S of one paint, (2, W); bit for bit, however many there are."""
    total = np.stack([c.local[i, 0, 0], c.local[i, 1, 1]])
    for change in (*c.own[i], *c.factors[:, i]):
        total = total + change**2
    result: Array = np.sqrt(total)
    return result


def _values(c: Coefficients, i: int, paint: str, _: Ints) -> str:
    w = c.wavelengths.size
    said = f"{paint},{c.model},"
    nm = figures(c.wavelengths)
    scan, scale = str(bool(c.scan_made[i])), words([c.scale])[0]
    ratio = [f"{scan},{c.surface.geometry},{scale},{truth}" for truth in c.ratio_only[i].tolist()]
    return lines(
        [f"{said}{quantity}" for quantity in QUANTITIES for _ in range(w)],
        nm + nm,
        figures(np.concatenate([c.k[i], c.s[i]])),
        figures(uncertainty(c, i).ravel()),
        ratio + ratio,
    )


def _local(c: Coefficients, i: int, paint: str, _: Ints) -> str:
    local = c.local[i]
    return lines(
        [paint] * c.wavelengths.size,
        figures(c.wavelengths),
        figures(local[0, 0]),
        figures(local[0, 1]),
        figures(local[1, 1]),
        [c.model] * c.wavelengths.size,
    )


def _own(c: Coefficients, i: int, paint: str, _: Ints) -> str:
    return _changes(c.own[i], paint, np.arange(1, c.own.shape[1] + 1), c.model)


def _factors(c: Coefficients, i: int, paint: str, numbers: Ints) -> str:
    return _changes(c.factors[:, i], paint, numbers, c.model)


def _changes(changes: Array, paint: str, numbers: Ints, model: str) -> str:
    """Rows of one paint's changes (F, 2, W), by factor; those of nought left out."""
    order = np.argsort(numbers)
    kept = np.argwhere((changes[order] != 0).any(axis=2))
    return lines(
        [f"{paint},{numbers[order[f]]},{QUANTITIES[q]}" for f, q in kept],
        figures(changes[order[kept[:, 0]], kept[:, 1]]),
        [model] * len(kept),
    )


def coefficients_of(tables: Mapping[str, pd.DataFrame]) -> Coefficients:
    """Coefficients from the tables of a release.

    Raises
    ------
    ValueError, KeyError
        Where the tables don't hang together.
    """
    paints, wavelengths = tables["paints"], tables["wavelengths"]
    p, w = len(paints), len(wavelengths)
    row = pd.Series(range(p), index=paints["paint"])
    column = pd.Series(range(w), index=wavelengths["wavelength"])
    which = {name: i for i, name in enumerate(QUANTITIES)}

    def of_paint(table: pd.DataFrame) -> Any:
        return row.loc[table["paint"]].to_numpy(np.intp)

    def of_quantity(table: pd.DataFrame) -> Any:
        return table["quantity"].map(which).to_numpy(np.intp)

    def of_wavelength(table: pd.DataFrame) -> Any:
        return column.loc[table["wavelength"]].to_numpy(np.intp)

    long, local_rows = tables["coefficients"], tables["covariance"]
    values = np.full((p, 2, w), np.nan)
    values[of_paint(long), of_quantity(long), of_wavelength(long)] = long["value"]
    ratio_only = np.zeros((p, w), dtype=bool)
    ratio_only[of_paint(long), of_wavelength(long)] = long["ratio_only"]
    local = np.full((p, 2, 2, w), np.nan)
    i, j = of_paint(local_rows), of_wavelength(local_rows)
    for (a, b), name in {(0, 0): "kk", (0, 1): "ks", (1, 0): "ks", (1, 1): "ss"}.items():
        local[i, a, b, j] = local_rows[name]
    mine, shared = tables["own"], tables["factors"]
    at = np.searchsorted(np.array(SPECTRUM, dtype=float), wavelengths["wavelength"])
    own = np.zeros((p, int(mine["factor"].max()) if len(mine) else 0, 2, w))
    own[of_paint(mine), mine["factor"] - 1, of_quantity(mine)] = _spectra(mine)[:, at]
    factors = np.zeros((len(tables["shared"]), p, 2, w))
    factors[shared["factor"] - 1, of_paint(shared), of_quantity(shared)] = _spectra(shared)[:, at]
    first = paints.iloc[0]
    return Coefficients(
        paints=tuple(paints["paint"]),
        wavelengths=wavelengths["wavelength"].to_numpy(),
        k=values[:, 0],
        s=values[:, 1],
        local=local,
        own=own,
        factors=factors,
        factor_names=tuple(tables["shared"]["name"]),
        scale=first["scale"],
        surface=Surface(
            geometry=first["geometry"],
            specular=first["specular"],
            gloss=first["gloss"],
            n=float(first["n"]),
            k2=float(first["k2"]),
            haze=float(first["haze"]),
        ),
        dry_volume=paints["dry_volume"].to_numpy(),
        density=paints["density"].to_numpy(),
        dry_volume_measured=paints["dry_volume_measured"].to_numpy(),
        ratio_only=ratio_only,
        scan_made=paints["scan_made"].to_numpy(),
        mix_error=paints["mix_error"].to_numpy(),
        model_error=wavelengths["model_error"].to_numpy(),
        part_error=_later(paints, "part_error"),
        crowding=_later(paints, "crowding"),
        surface_offset=_later(paints, "surface_offset"),
        surface_error=_later(paints, "surface_error"),
        model=first["model"],
    )


def _later(paints: pd.DataFrame, name: str) -> Array:
    """A column that two-flux fits may lack, and releases made before there was any: then 0."""
    if name not in paints:
        return np.zeros(len(paints))
    return np.asarray(paints[name].fillna(0.0), dtype=float)


Places = Mapping[str, Mapping[Any, Any]]
"""Rows of each paint in each table that is by paint."""


def places(tables: Mapping[str, pd.DataFrame]) -> Places:
    """Where each paint's rows stand, to be found once for many paints."""
    return {name: tables[name].groupby("paint", sort=False).indices for name in OF_PAINTS}


def of_paints(
    tables: Mapping[str, pd.DataFrame], paints: Sequence[str], at: Places
) -> dict[str, pd.DataFrame]:
    """Rows of some paints alone, with the shared factors that they feel."""
    none = np.zeros(0, dtype=np.intp)
    kept = {
        name: tables[name].take(np.sort(np.concatenate([at[name].get(p, none) for p in paints])))
        for name in OF_PAINTS
    }
    felt = tables["shared"][tables["shared"]["factor"].isin(kept["factors"]["factor"])]
    number = pd.Series(range(1, len(felt) + 1), index=felt["factor"])
    kept["factors"] = kept["factors"].assign(factor=kept["factors"]["factor"].map(number))
    shared = felt.assign(factor=range(1, len(felt) + 1))
    return kept | {"shared": shared, "wavelengths": tables["wavelengths"]}


def gigabytes(tables: Mapping[str, pd.DataFrame]) -> float:
    """Room that K and S of all paints at once would take: each paint a row of each shared value."""
    paints, shared = len(tables["paints"]), len(tables["shared"])
    own = int(tables["own"]["factor"].max()) if len(tables["own"]) else 0
    return 16e-9 * paints * len(tables["wavelengths"]) * (shared + own + 3)


def _spectra(table: pd.DataFrame) -> Array:
    values: Array = table[list(SPECTRUM)].to_numpy(dtype=float)
    return values
