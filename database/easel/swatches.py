"""What batches dried to, beside what was expected of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.colour import ciede2000, in_words
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from ..mixing.medium import MEDIUM
from ..mixing.recipes import lacks
from ..mixing.target import Target
from ..store import schema
from ..store.transactions import now
from .basis import Manner
from .recipe import as_kept

if TYPE_CHECKING:
    from ..store.store import Store


@dataclass(frozen=True)
class Dried:
    """A dried swatch and what was expected.

    Attributes
    ----------
    lab, expected : (3,) array
        CIELAB, D50/2°.
    off : float
        CIEDE2000 between them.
    said : str
        Where its colour is from.
    band : float
        CIEDE2000 that its colour is within, 95 of 100 times; 0 where it was read.
    """

    lab: Array
    expected: Array
    off: float
    said: str
    band: float

    @property
    def words(self) -> str:
        """The difference in words."""
        if self.band > max(self.off, 1.0):
            return "as expected, as far as a photograph tells"
        if self.off < 1:
            return f"as expected: {in_words(self.off)}"
        other = lacks(self.expected, self.lab).removeprefix("it would have to be ")
        if other == "a little nearer":
            return f"{in_words(self.off)}"
        return f"{in_words(self.off)}: {other} than expected"


def dried(recipe: schema.Recipe, batch: schema.Batch) -> Dried | None:
    """Compare a batch's dried swatch with what its own recipe was expected to look like.

    Parameters
    ----------
    recipe : schema.Recipe
        That the batch was made of.

    Returns
    -------
    Dried or None
        None where no swatch was read.
    """
    if batch.swatch is None:
        return None
    seen = np.array(batch.swatch["lab"], dtype=float)
    expected = np.array(batch.swatch.get("expected", recipe.predicted["lab"]), dtype=float)
    off = float(ciede2000(seen, expected))
    return Dried(seen, expected, off, batch.swatch["said"], float(batch.swatch.get("band", 0.0)))


def keep_swatch(
    store: Store,
    name: str,
    swatch: Target,
    batch: int | None = None,
) -> schema.Batch:
    """Keep what a dried swatch of a batch was read as.

    Parameters
    ----------
    name : str
        Of the recipe.
    batch : int, optional
        Which one, by its key; the last of that recipe by default.

    Raises
    ------
    InputError
        Where no such batch of that name was made.

    Notes
    -----
    A spectrum is compared under the recipe's viewing condition. Of a swatch that is only a colour
    the condition can't be changed, so what was expected is calculated anew under the swatch's.
    """
    with store.transaction() as session:
        row = store.recipes.batch(name, batch)
        if row is None:
            raise InputError(
                Field("swatch"), name, "no batch of that recipe was kept",
                StudioDo.KEEP_BATCH(recipe=name),
            )  # fmt: skip
        recipe = session.get_one(schema.Recipe, row.recipe_id)
        manner = Manner.of_kept(recipe.predicted)
        if swatch.reflectance is not None:
            used = [paint for paint in recipe.parts if paint != MEDIUM]
            swatch = swatch.under(manner.viewing, store.fits.coefficients(used).surface)
        said: dict[str, Any] = {
            "said": swatch.said,
            "lab": [float(x) for x in swatch.lab],
            "read": now(),
            "viewing": swatch.viewing.said,
        }
        if swatch.band:
            said["band"] = swatch.band
        if row.portions is not None and row.portions["viewing"] == swatch.viewing.said:
            said["expected"] = row.portions["lab"]
        elif swatch.viewing != manner.viewing:
            made = as_kept(store, recipe, swatch.viewing).answer().answer.recipes[0]
            said["expected"] = [float(x) for x in made.lab]
        row.swatch = said
        session.flush()
        return row
