"""Readings of cards, taken in and fitted as a studio does: what it then mixes by."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tintladder.calibrate.cards.card_text import card_text
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.problem.result import JointFit, PaintFit
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.coefficients import TWO_FLUX, Coefficients
from tintladder.calibrate.optics.transport import TRANSPORT
from tintladder.database.cards.intake import take_in
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.store.store import Store

MODELS = {"two_flux": TWO_FLUX, "transport": TRANSPORT}
AS_USED = "as_used"


@dataclass(frozen=True)
class Fitted:
    """What a studio holds once it was fitted.

    Attributes
    ----------
    used : mapping of name to Coefficients
        By each of `MODELS`, and `AS_USED`: what the studio mixes by.
    fits : mapping of name to JointFit
        By each model.
    paints : mapping of nickname to PaintFit
        As the studio speaks of them.
    model : str
        That it mixes by.
    """

    used: Mapping[str, Coefficients]
    fits: Mapping[str, JointFit]
    paints: Mapping[str, PaintFit]
    model: str


def fitted(files: Sequence[Path], folder: Path) -> Fitted:
    """Open a studio in a folder, take in files, and fit all it has by every model."""
    with Store.open(str(folder), create=True) as store:
        take_in(store, files)
        made = fit_studio(store)
        assert made.transport is not None
        paints = list(made.fit.paints)
        used = {name: store.fits.coefficients(paints, model) for name, model in MODELS.items()}
        used[AS_USED] = store.fits.coefficients(paints)
        fits = {"two_flux": made.fit, "transport": made.transport.fit}
        return Fitted(used, fits, made.paints, made.model)


def of_cards(readings: Sequence[CardReadings], tubes: Mapping[str, Tube]) -> Fitted:
    """The same of cards that are there as arrays, such as the virtual lab's."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return fitted(write_files(folder, readings, tubes), folder)


def write_files(
    folder: Path, readings: Sequence[CardReadings], tubes: Mapping[str, Tube]
) -> list[Path]:
    """Write paints, cards and readings as a user has them."""
    files = [folder / "paints.toml"]
    files[0].write_text("\n".join(_paint(tube) for tube in tubes.values()), encoding="utf-8")
    for each in readings:
        surface, spectra = each.surface, each.spectra
        axis = ",".join(["sample", *(f"{nm:g}" for nm in spectra.wavelengths)])
        lines = [f"# geometry: {surface.geometry}", f"# specular: {surface.specular}"]
        lines += ["# unit: fraction", axis]
        for label, row in zip(spectra.labels, spectra.values.tolist(), strict=True):
            lines.append(",".join([label, *("" if np.isnan(r) else repr(r) for r in row)]))
        card = folder / f"{each.card.name}.toml"
        card.write_text(card_text(each.card), encoding="utf-8")
        read = folder / f"{each.card.name}.csv"
        read.write_text("\n".join([*lines, ""]), encoding="utf-8")
        files += [card, read]
    return files


def _paint(tube: Tube) -> str:
    lines = ["[[paint]]", f'nickname = "{tube.paint}"', f'name = "{tube.paint.title()}"']
    lines += ["  [[paint.lot]]", f'  lot = "{tube.lot}"']
    for key in ("density", "volume_solids"):
        if (value := getattr(tube, key)) is not None:
            lines.append(f"  {key} = {value!r}")
    return "\n".join([*lines, ""])
