"""Reads a card from a picture: finds it, samples it, evens it out; channels and colours result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..cards.card import Card
from ..cards.card_plan import seats
from ..cards.channels import ONE_SIDED, CardChannels, one_sided
from ..cards.layout import Layout
from ..errors import CalibrateDo, Field, InputError
from ..optics.display import srgb_of_xyz
from ..optics.spectra import Array
from ..optics.surface import Surface
from .characterise import Characterised, lab_of
from .curve import Curve
from .find import Found, find_card
from .image import Picture
from .own_check import TYPICAL_WHITE, Mended, own_check
from .sample import CHANNELS, MOST_CLIPPED, MOST_LEFT_OUT, Sample, sample_all, sites
from .screen import refuse_screen
from .settings import LOSSY
from .shine import light_on
from .stray import Evened, even_out

_SCALE_SD = 0.01
"""Relative standard uncertainty of a scanner's scale from one scan to the next."""
GREY_SD = 0.01
"""Relative, of a bought grey card's stated reflectance."""
_UNKNOWN_SD = 0.08
"""Relative standard uncertainty of a channel of a device that isn't characterised."""
_EMPTY_SD = 0.03
"""Of a dark channel that the device cut off at zero: it tells little but that."""
_LEAST_SPAN = 0.05
"""Of what a channel at its full-scale code may lie above it."""
_UNPAINTED = 0.02
"""Relative difference from the bare card under which a step counts as not painted."""


@dataclass(frozen=True)
class ScannedCard:
    """A card as read from a picture.

    Attributes
    ----------
    channels : CardChannels
        Of the bare card and every step read.
    xyz : (N, 3) array
        D50 and 2 degrees, Y = 1 for the perfect diffuser; in the order of the channels.
    spread : (N,) array
        Relative standard deviation of a patch's kept cells, the largest of its channels.
    left_out : (N,) array
        Share of each patch left out as soiled.
    samples : tuple of Sample
        Of every site, references too.
    scale : {"grey", "white", "device", "tones", "none"}
        What the level rests on: a known grey, a typical white, the device's own characterisation,
        printed tones as other pictures showed them.
    flags : tuple of (label, words)
        What is odd about single patches; they are kept as read.
    references : mapping of label to (3,) array
        The bare bands, grey pieces and printed tones as read, linear; before anything was mended.
    mended : tuple of str
        What of the picture's exposure, curve and white balance was set right, or can't be.
    """

    channels: CardChannels
    xyz: Array = field(repr=False)
    spread: Array = field(repr=False)
    left_out: Array = field(repr=False)
    found: Found = field(repr=False)
    samples: tuple[Sample, ...] = field(repr=False)
    evened: Evened = field(repr=False)
    scale: str = "device"
    flags: tuple[tuple[str, str], ...] = ()
    references: Mapping[str, Array] = field(default_factory=dict, repr=False)
    mended: tuple[str, ...] = ()

    @property
    def lab(self) -> Array:
        """CIELAB under D50, (N, 3)."""
        return lab_of(self.xyz)

    @property
    def srgb(self) -> Array:
        """For a display, (N, 3)."""
        return srgb_of_xyz(self.xyz)[0]


def read_scan(
    picture: Picture,
    card: Card,
    layout: Layout,
    layouts: Mapping[int, Layout],
    device: Characterised | None = None,
    grey: float | None = None,
    without: tuple[str, ...] = (),
    before: Mapping[bool, Mapping[str, Array]] | None = None,
) -> ScannedCard:
    """Read a card from a picture.

    Parameters
    ----------
    picture : Picture
    card : Card
    layout : Layout
        That the card is printed with.
    layouts : mapping of number to Layout
        Others that may be seen, for a message.
    device : Characterised, optional
        Without it the picture is taken as sRGB, and its channels are far less sure.
    grey : float, optional
        Known reflectance of the card's two grey pieces.
    without : tuple of str
        Steps that were left unpainted.
    before : mapping of bool to mapping of label to (3,) array, optional
        References as other pictures by the device showed them (see `ScannedCard.references`): those
        whose level rests on a typical white (True), and the others.

    Returns
    -------
    ScannedCard

    Raises
    ------
    InputError
        As `find_card`, `sample_all`, `refuse_screen`, `Settings.check_same` and `own_check`, and
        where a step isn't painted.
    """
    if device is not None:
        device.settings.check_same(picture.facts, device.name)
    steps = _steps(card, layout, without)
    found = find_card(picture, {**layouts, layout.number: layout}, layout)
    samples = sample_all(picture, found, sites(layout, steps))
    refuse_screen(picture, found, samples)
    curve = Curve.plain() if device is None else device.curve
    evened = even_out(picture, found, samples, curve)
    _check_painted(samples, evened.values, picture.facts.file)
    level, unsure, scale = level_of(samples, evened, picture, device, grey)
    references = _references(samples, evened.values * level)
    mended = Mended()
    if device is not None:
        by_device = scale == "device"
        known = (before or {}).get(scale == "white")
        mended = own_check(references, grey, by_device, known, picture.facts.file)
    if mended.curve is not None:
        # Stray and uneven light are found in linear values, and only now they are.
        right, as_read = mended, level
        evened = even_out(picture, found, samples, lambda v: right(curve(v) * as_read))
        level, mended = np.ones(3), replace(mended, curve=None, gain=np.ones(3))
        scale = "tones" if scale == "device" else scale
    elif mended.level_sd is not None:
        scale = "white"
    level, unsure = level * mended.gain, mended.level_sd or unsure
    rows = [i for i, s in enumerate(samples) if s.site.kind in ("step", "bare")]
    values = evened.values[rows] * level
    kept = [samples[i] for i in rows]
    values, variance = _one_sided(kept, values, evened.variance[rows] * level**2)
    beyond = _UNKNOWN_SD * values if device is None else device.unexplained(values)
    variance += beyond**2
    xyz = _srgb_to_xyz(values) if device is None else device.xyz(values)
    labels = tuple(s.site.label for s in kept)
    white = next((curve(s.middle) for s in kept if s.site.label == "bare/white"), None)
    # Without a bare white there is nothing to hold light against.
    light = [0.0 if white is None else light_on(s, curve, white) for s in kept]
    flags = _flags(kept, values, light)
    spread = np.array([_spread(s, curve) for s in kept])
    surface, source = Surface.of("45:0", "excluded"), picture.facts.file
    channels = CardChannels(
        card, values, variance, labels, surface, source, unsure, one_sided(flags)
    )
    return ScannedCard(
        channels,
        xyz,
        spread,
        np.array([s.left_out for s in kept]),
        found,
        samples,
        evened,
        scale,
        flags,
        references,
        mended.said,
    )


def _references(samples: tuple[Sample, ...], values: Array) -> dict[str, Array]:
    """Mean of each reference, over its pieces."""
    found: dict[str, list[Array]] = {}
    for sample, value in zip(samples, values, strict=True):
        if sample.site.kind != "step":
            found.setdefault(sample.site.label, []).append(value)
    return {label: np.mean(each, axis=0) for label, each in found.items()}


def _steps(card: Card, layout: Layout, without: tuple[str, ...]) -> dict[int, str]:
    for step in without:
        if step not in {d.step for d in card.drawdowns}:
            raise InputError(card.file, f"step {step}", "the card has no such step", "correct it")
    at = seats(layout, card)
    return {number: step for step, number in at.items() if step not in without}


def _spread(sample: Sample, curve: Curve) -> float:
    values = curve(sample.cells[sample.kept])
    result: float = (values.std(axis=0) / np.maximum(values.mean(axis=0), 0.01)).max()
    return float(result)


def _check_painted(samples: tuple[Sample, ...], values: Array, file: str) -> None:
    """Refuse a step that looks like the bare card on every ground."""
    bare = {s.site.over: v for s, v in zip(samples, values, strict=True) if s.site.kind == "bare"}
    off: dict[str, float] = {}
    for s, v in zip(samples, values, strict=True):
        if s.site.kind == "step" and s.site.over in bare:
            ground = bare[s.site.over]
            step = s.site.label.rpartition("/")[0]
            apart = float((np.abs(v - ground) / (ground + 0.05)).max())
            off[step] = max(off.get(step, 0.0), apart)
    for step, apart in off.items():
        if apart < _UNPAINTED:
            raise InputError(
                file,
                f"step {step}",
                "it isn't painted: it looks like the bare card on black and on white",
                CalibrateDo.WITHOUT_STEP(step=step),
            )


def level_of(
    samples: tuple[Sample, ...],
    evened: Evened,
    picture: Picture,
    device: Characterised | None,
    grey: float | None,
) -> tuple[Array, float, str]:
    """What evened values are multiplied by, its relative uncertainty, and what it rests on.

    Parameters
    ----------
    samples : tuple of Sample
    evened : Evened
    picture : Picture
    device : Characterised or None
    grey : float or None
        Reflectance of the grey, where known.

    Returns
    -------
    level : (3,) array
    uncertainty : float
        Relative.
    scale : {"grey", "device", "white"}
        What it rests on.

    Raises
    ------
    InputError
        Where the card has nothing to take it from.
    """
    greys = [i for i, s in enumerate(samples) if s.site.kind == "grey"]
    if grey is not None:
        if not greys:
            raise InputError(
                picture.facts.file, Field("grey"), "this layout has no grey pieces", "leave it out"
            )
        return grey / evened.values[greys].mean(axis=0), GREY_SD, "grey"
    if device is not None and device.settings.kind != LOSSY:
        return np.ones(3), _SCALE_SD, "device"
    whites = [i for i, s in enumerate(samples) if s.site.label == "bare/white"]
    if not whites:
        raise InputError(
            picture.facts.file,
            None,
            "references are missing: no grey and no bare white to take the level from",
            "print a layout that has them",
        )
    mean, sd = TYPICAL_WHITE
    unsure = sd / mean
    if device is not None and device.sensors is not None and len(device.sensors.tones):
        unsure = _SCALE_SD  # how light the white is stands among what is unsure of its tones
    return mean / evened.values[whites].mean(axis=0), unsure, "white"


def _flags(
    samples: list[Sample], values: Array, light: Sequence[float]
) -> tuple[tuple[str, str], ...]:
    """What is odd about each patch, all of it said at once."""
    flags = []
    for sample, value, shine in zip(samples, values, light, strict=True):
        said = []
        if shine:
            said.append(
                f"most of it is lighter than the rest by an even white ({shine:.0%} of the card's "
                "white), as light on the glass or on gloss makes it: take the picture again"
            )
        if sample.left_out > MOST_LEFT_OUT:
            said.append(f"{sample.left_out:.0%} of it is soiled or streaked and was left out")
        for share, end in ((sample.low, "zero"), (sample.high, "full-scale")):
            ended = [
                name for name, part in zip(CHANNELS, share, strict=True) if part > MOST_CLIPPED
            ]
            more = "no lighter" if end == "zero" else "no darker"
            said += [f"{name} {ONE_SIDED}: {more} than its {end} code" for name in ended]
        if value.min() < 0:
            said.append("below zero, where no colour is")
        if said:
            flags.append((sample.site.label, "; ".join(said)))
    return tuple(flags)


def _one_sided(samples: list[Sample], values: Array, variance: Array) -> tuple[Array, Array]:
    """Values and variances of what is known where channels are at an end of their codes.

    Beyond the full-scale code lies anything up to the perfect diffuser, all of it as likely (a
    rectangular distribution, JCGM 101 6.4.2). Below zero code little is left but what a device's
    matrix takes away.
    """
    low = np.array([s.low > MOST_CLIPPED for s in samples])
    high = np.array([s.high > MOST_CLIPPED for s in samples])
    span = np.where(high, np.maximum(1.0 - values, _LEAST_SPAN), 0.0)
    return values + span / 2, variance + span**2 / 12 + (_EMPTY_SD * low) ** 2


SRGB = np.array(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)
"""Linear sRGB (IEC 61966-2-1) to XYZ under D50, Bradford-adapted, as ICC profiles of it state."""


def _srgb_to_xyz(linear: Array) -> Array:
    return np.asarray(linear @ SRGB.T)
