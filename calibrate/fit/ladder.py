"""K and S of paints from arrays: what was weighed, and what was read of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..cards.card import BARE, SUBSTRATES, Card, Drawdown
from ..cards.readings import CardReadings
from ..optics.colour import check_fraction
from ..optics.spectra import Array, Spectra, check_possible, to_grid
from ..optics.surface import Geometry, Surface
from .joint import fit_paints
from .problem.result import JointFit
from .problem.settings import FitSettings
from .problem.tube import Tube


def fit_ladder(
    masses: Mapping[str, Sequence[float] | Array],
    reflectance: Array,
    wavelengths: Sequence[float] | Array,
    surface: Surface | Geometry,
    *,
    white: str | None = None,
    thickness_um: float | Sequence[float] | Array | None = None,
    bare: Array | None = None,
    balance_g: float = 0.01,
    tubes: Mapping[str, Tube] | None = None,
    settings: FitSettings | None = None,
) -> JointFit:
    """Fit K and S of the paints of a tint ladder, or of any other mixes, with their uncertainty.

    Parameters
    ----------
    masses : mapping of nickname to (D,) array, g
        Of tube paint in each of D steps; a masstone is a step of one paint.
    reflectance : (D, W) or (D, 2, W) array
        As read, 0-1 and NaN where unread: of opaque films, or over black and then over white.
    wavelengths : (W,) array, nm
    surface : Surface, or a geometry
        That of the instrument's geometry and the films' gloss.
    white : str, optional
        Nickname of the white; K and S of opaque films are stated relative to its S.
    thickness_um : float or (D,) array, µm, optional
        Dry thickness of the films over black and white; infinite where one hides them.
    bare : (2, W) array, optional
        The bare black and white below those films, as read.
    balance_g : float, g
        Standard uncertainty of one weighing.
    tubes : mapping of nickname to Tube, optional
        Density and volume solids, where they are known.
    settings : FitSettings, optional

    Returns
    -------
    JointFit
        K and S are its `coefficients`: in 1/mm where a film's thickness is known, else relative.

    Raises
    ------
    ValueError
        For shapes that disagree, reflectance in percent, or a white or thickness that is missing.
    InputError
        Where a paint's readings can't tell K from S.

    Examples
    --------
    An invented rust of K 12 and S 3 in a white of K 0.05 and S 9, all per mm, read by a sphere:

    >>> import numpy as np
    >>> from tintladder.calibrate import Surface, fit_ladder, opaque_reflectance, to_measured
    >>> wavelengths, sphere = np.arange(400, 701, 10), Surface.of("di:8")
    >>> grams = {"RUST": [1, 1, 1, 0], "WHITE": [0, 2, 8, 1]}
    >>> share = np.array([[1, 0], [1 / 3, 2 / 3], [1 / 9, 8 / 9], [0, 1]])
    >>> inside = opaque_reflectance(share @ [12.0, 0.05], share @ [3.0, 9.0])
    >>> read = np.tile(to_measured(inside, sphere)[:, None], 31)
    >>> fit = fit_ladder(grams, read, wavelengths, sphere, white="WHITE")
    >>> found = fit.coefficients
    >>> found.scale, found.k[0, 10].round(2).item(), found.uncertainty[0][0, 10].round(1).item()
    ('relative to WHITE', 1.33, 0.1)
    >>> found.covariance.shape
    (2, 2, 2, 36)
    """
    if isinstance(surface, str):
        surface = Surface.of(surface)
    grams = {paint: np.atleast_1d(np.asarray(m, dtype=float)) for paint, m in masses.items()}
    read, nm = np.asarray(reflectance, dtype=float), np.asarray(wavelengths, dtype=float)
    steps = len(next(iter(grams.values()), ()))
    thick = None if thickness_um is None else np.broadcast_to(thickness_um, (steps,))
    _check(grams, read, nm, white, thick, bare)
    drawdowns = []
    for i in range(steps):
        held = {paint: float(m[i]) for paint, m in grams.items() if m[i] > 0}
        coloured = [paint for paint in held if paint != white] or list(held)
        hides = thick is None or bool(np.isinf(thick[i]))
        drawdowns.append(
            Drawdown(
                step=str(i + 1),
                paint=coloured[0] if len(coloured) == 1 else None,
                masses=held,
                white=white,
                over=SUBSTRATES if read.ndim == 3 else SUBSTRATES[1:],
                opaque=hides,
                thickness_um=None if hides or thick is None else float(thick[i]),
                surface=surface.gloss,
            )
        )
    card = Card("ladder", "ladder", tuple(drawdowns), balance_g=balance_g)
    labels = [f"{d.step}/{over}" for d in drawdowns for over in d.over]
    rows = read.reshape(len(labels), nm.size)
    if bare is not None:
        labels = [*(f"{BARE}/{over}" for over in SUBSTRATES), *labels]
        rows = np.vstack([bare, rows])
    spectra = Spectra.from_values(nm, rows, labels)
    check_possible(spectra)
    known = {paint: Tube(paint) for paint in grams} | dict(tubes or {})
    readings = CardReadings(card, to_grid(spectra), surface, "reflectance")
    return fit_paints([readings], known, settings)


def _check(
    grams: Mapping[str, Array],
    read: Array,
    wavelengths: Array,
    white: str | None,
    thickness: Array | None,
    bare: Array | None,
) -> None:
    """Say in one sentence which array doesn't fit the others."""
    steps = {paint: m.shape for paint, m in grams.items()}
    each = next(iter(steps.values()), (0,))
    if set(steps.values()) != {each} or len(each) != 1:
        raise ValueError(f"masses of each paint are one for each step; these have shapes {steps}")
    table = np.array(list(grams.values()))
    if not np.isfinite(table).all() or (table < 0).any() or (table.sum(axis=0) <= 0).any():
        raise ValueError("masses are in g, none negative, and above zero in each step")
    shape = (each[0], wavelengths.size)
    if read.shape not in (shape, (each[0], 2, wavelengths.size)):
        raise ValueError(
            f"{shape[0]} steps and {shape[1]} wavelengths make reflectance of shape {shape}, or "
            f"({shape[0]}, 2, {shape[1]}) over black and white, not {read.shape}"
        )
    check_fraction(read)
    if white is None and read.ndim == 2:
        raise ValueError("opaque films give K and S relative to a white only: name it in white")
    if white is not None and white not in grams:
        raise ValueError(f"the white {white} isn't among the paints {', '.join(grams)}")
    if (read.ndim == 3) != (thickness is not None) or (thickness is None) != (bare is None):
        raise ValueError(
            "films over black and white need thickness_um and bare, and opaque films neither"
        )
    if bare is not None and np.shape(bare) != (2, wavelengths.size):
        raise ValueError(f"bare is black then white, (2, {wavelengths.size}), not {np.shape(bare)}")
    if thickness is not None and not (thickness > 0).all():
        raise ValueError(
            "thickness_um is above zero, and infinite where a film hides its substrate"
        )
