"""What greys a tube, and its neutral tints: what is asked, and the answer with all it rests on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ....calibrate.errors import InputError
from ....calibrate.optics.surface import Gloss
from ...common.remedies import StudioDo
from ...common.words import GREY_CHROMA
from ...mixing.medium import MEDIUM
from ...mixing.prediction import mix_words
from ...mixing.target import Target
from ...mixing.tubes.greying import lean, warmth
from ...mixing.tubes.neutral import Partner, partners
from ..basis import Basis, Manner, on_hand
from ..habits import BY_SCALE, Measuring, habits
from ..steps import SteppedWay, StepsQuestion, StepsRequest

if TYPE_CHECKING:
    from ...store.store import Store


@dataclass(frozen=True)
class NeutralRequest:
    """What is asked for.

    Attributes
    ----------
    tube : str
        Nickname.
    count : int
        Steps of the ladder of neutral tints, the white among them.
    finish : {"gloss", "satin", "matt"} or None
    """

    tube: str
    count: int = 7
    finish: Gloss | None = None
    measuring: Measuring = BY_SCALE


@dataclass(frozen=True)
class Neutral:
    """What greys a tube.

    Attributes
    ----------
    leans : dict of nickname to words
        Where each tube leans in a tint, the white aside.
    partners : tuple of Partner
        The cleanest grey first.
    ladder : SteppedWay or None
        From the grey of the first to white, in steps that look equal; None without a white.
    """

    basis: Basis
    tube: str
    leans: dict[str, str]
    partners: tuple[Partner, ...]
    ladder: SteppedWay | None

    @property
    def white(self) -> str | None:
        """The white that tints are let down with."""
        return self.basis.palette.white

    def lean_words(self, paint: str) -> str:
        """Say where a tube leans in a tint, and whether that is warm or cool; empty of a white."""
        leans = self.leans.get(paint, "")
        return f"{leans} ({warm})" if (warm := warmth(leans)) else leans

    def ratio_words(self, nth: int) -> str:
        """Say the ratio of a partner in tenths: ``6.4 parts Dusk Violet, 3.6 Resin Yellow``."""
        parts = self.partners[nth].parts
        digits = 1 if min(parts.values()) > 0.05 else 2
        return mix_words({p: round(10 * s, digits) for p, s in parts.items()}, self.basis.names)

    @property
    def words(self) -> str:
        """Say which partner greys it cleanest, and how clean that is."""
        best = self.partners[0]
        clean = "a clean grey" if best.chroma < GREY_CHROMA else "the nearest to a grey on hand"
        in_tints = "" if self.white is None else ", from the mix itself to its palest tint"
        return (
            f"{self.basis.names[best.paint]} greys it cleanest: {self.ratio_words(0)}, by weight, "
            f"make {clean}: chroma {best.chroma:.1f} at the most{in_tints}. Matched "
            f"{self.basis.manner.viewing.words}."
        )

    @property
    def whites(self) -> tuple[float, ...]:
        """Grams of white to one of tube and partner together, of each step but the white itself."""
        if self.ladder is None or self.white is None:
            return ()
        palette = self.basis.palette
        grams = self.ladder.found.shares / palette.coefficients.dry_volume
        white = grams[:, palette.paints.index(self.white)]
        return tuple(float(w / (g - w)) for w, g in zip(white, grams.sum(axis=1), strict=True)
                     if g - w > 1e-9 * g)  # fmt: skip


def neutral(store: Store, request: NeutralRequest) -> Neutral:
    """Find what greys a tube.

    Raises
    ------
    InputError
        Where no other tube is on hand, or the tube is the white.
    """
    viewing = habits(store).seen.under(request.finish)
    basis = on_hand(store, Manner(viewing), (request.tube,), (MEDIUM,))
    return neutral_of(basis, request)


def neutral_of(basis: Basis, request: NeutralRequest) -> Neutral:
    """Find it from what is gathered; see `neutral`."""
    palette, tube, white = basis.palette, request.tube, basis.palette.white
    if tube == white:
        raise InputError(None, basis.names[tube], "is the white that tints are let down with",
                         "name a colour")  # fmt: skip
    found = partners(palette, tube, white)
    if not found:
        raise InputError(
            None, basis.names[tube], "has no partner: no other colour is on hand",
            StudioDo.MORE_ON_HAND(),
        )  # fmt: skip
    leans = {
        p: lean(palette.coefficients, p, white) for p in palette.paints if white not in (None, p)
    }
    ladder = None
    if white is not None:
        ends = (_end(basis, found[0].parts), _end(basis, {white: 1.0}))
        asked = StepsRequest(*ends, request.count, measuring=request.measuring)
        ladder = StepsQuestion(basis, ends, asked).answer()
    return Neutral(basis, tube, leans, found, ladder)


def _end(basis: Basis, parts: dict[str, float]) -> Target:
    """A mix as an end of steps."""
    palette = basis.palette
    dry = np.array([parts.get(p, 0.0) for p in palette.paints]) * palette.coefficients.dry_volume
    lab = palette.lab((dry / dry.sum())[None])[0]
    tenths = {p: round(100 * share) / 10 for p, share in parts.items()}
    return replace(
        Target(mix_words(tenths, basis.names), lab, viewing=basis.manner.viewing), parts=parts
    )
