"""What a mix looks like, and why it greys: what is asked, and the answers with all they rest on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.surface import Gloss
from ..common.remedies import StudioDo
from ..mixing.drying import Wet
from ..mixing.medium import MEDIUM
from ..mixing.prediction import BY_VOLUME, GRAMS, Look, by_weight, look, mix_words, parse_amounts
from ..mixing.target import Target
from ..mixing.viewing import AS_READ, Viewing
from .basis import Basis, Manner, just, nickname, on_hand
from .ground import ground_of
from .habits import habits

if TYPE_CHECKING:
    from ..mixing.tubes.greying import Muddy
    from ..store.store import Store


@dataclass(frozen=True)
class MixRequest:
    """A mix that is asked about.

    Attributes
    ----------
    mix : str
        Parts of tube paint, such as ``ANCHOR=2,ROPE=1,MEDIUM=7``.
    by_volume : bool
        Whether the parts are by volume, else by weight.
    finish : {"gloss", "satin", "matt"} or None
        Under which the eye sees it; None: the finish that the studio's paintings have.
    as_read : bool
        Whether it is asked for as the instrument that read the paints reads it.
    thickness_um : float or None
        Of a dry film, shown over black and over white too.
    ground : Target or None
        What else that film may lie over.
    """

    mix: str
    by_volume: bool = False
    finish: Gloss | None = None
    as_read: bool = False
    thickness_um: float | None = None
    ground: Target | None = None


@dataclass(frozen=True)
class PredictedMix:
    """What a mix looks like.

    Attributes
    ----------
    parts : dict of nickname to parts by weight
    words : str
        The mix as it was typed.
    by_volume : bool
        Whether its parts are by volume.
    looks : tuple of Look
        Opaque; then as films.
    assumed : list of str
        Paints whose density is only typical, where the parts were by volume.
    """

    basis: Basis
    parts: Mapping[str, float]
    words: str
    by_volume: bool
    looks: tuple[Look, ...]
    assumed: list[str]

    @property
    def wet(self) -> Wet | None:
        """What it looks like wet, hiding; None where that was never taught."""
        drying = self.basis.drying(self.parts)
        whole = self.looks[0]
        return None if drying is None else drying.wet(whole.lab(), whole.band)

    @property
    def dry_volume_assumed(self) -> list[str]:
        """Paints whose dry volume per gram was assumed, which matters to films alone."""
        read = self.basis.read
        known = zip(read.paints, read.dry_volume_measured, strict=True)
        return [paint for paint, measured in known if not measured]


def _parts(store: Store, request: MixRequest) -> tuple[dict[str, float], bool, Manner]:
    """What was typed, whether by volume, and how it is looked at."""
    parts, unit = parse_amounts(request.mix, lambda name: nickname(store, name))
    if request.by_volume and unit == GRAMS:
        raise InputError("mix", request.mix, "its amounts are grams, not by volume", "say which")
    if all(paint == MEDIUM for paint in parts):
        raise InputError("mix", request.mix, "medium alone has no colour", "add a paint")
    return parts, request.by_volume or unit in BY_VOLUME, Manner(_viewing(store, request))


def _viewing(store: Store, request: MixRequest) -> Viewing:
    if request.as_read:
        if request.finish:
            raise InputError(
                Field("finish"), request.finish, "is how the eye sees it, and not as it is read",
                "choose one of both",
            )  # fmt: skip
        return replace(AS_READ, light=habits(store).light)
    return habits(store).seen.under(request.finish)


def predicted_mix(store: Store, request: MixRequest) -> PredictedMix:
    """Predict a mix, opaque and as films.

    Raises
    ------
    InputError
        As `parse_mix` and `look`; and for paints without a fit, or medium alone.
    """
    typed, by_volume, manner = _parts(store, request)
    basis = just(store, manner, list(typed))
    read, ground, parts = basis.read, None, typed
    if request.ground is not None:
        if request.thickness_um is None:
            raise InputError(
                Field("over"), request.ground.said, "lies below a film only",
                StudioDo.MORE_THICKNESS(),
            )  # fmt: skip
        if request.ground.reflectance is None:
            raise InputError(
                Field("over"), request.ground.said,
                "is only a colour, and what it is made of shows through",
                "name a reading, CARD/STEP, a mix, or a tube",
            )  # fmt: skip
        ground = ground_of(store, request.ground, read)
    if by_volume:
        parts = by_weight(read, typed)
    looks = look(read, parts, request.thickness_um, basis.manner.viewing, ground)
    times = basis.widening(parts).times
    return PredictedMix(
        basis, parts, mix_words(typed, basis.names), by_volume,
        tuple(replace(each, wider=times) for each in looks),
        basis.assumed(typed) if by_volume else [],
    )  # fmt: skip


@dataclass(frozen=True)
class Greying:
    """Why a mix greys.

    Attributes
    ----------
    parts : dict of nickname to parts by weight
        The clear medium aside.
    """

    basis: Basis
    parts: Mapping[str, float]
    found: Muddy


def greying(store: Store, request: MixRequest) -> Greying:
    """Say why a mix greys, and which tubes on hand would stay cleaner.

    Raises
    ------
    InputError
        As `predicted_mix`.
    """
    typed, by_volume, manner = _parts(store, request)
    paints = {paint: part for paint, part in typed.items() if paint != MEDIUM}
    basis = on_hand(store, manner, list(paints))
    palette = basis.palette
    parts = by_weight(basis.read, paints) if by_volume else paints
    pigments = {paint.nickname: paint.pigments for paint in store.paints.all()}
    from ..mixing.tubes.greying import muddy

    return Greying(basis, parts, muddy(palette, parts, pigments))
