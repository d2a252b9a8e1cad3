"""Holds a picture against its own card: it should be as bright, neutral and straight as its device.

Something may have been switched on since a device was characterised: exposure, a gamma, a contrast
curve, a white balance. Every card shows it. Its white was painted, so that it lies near 0.85 in all
channels; a bought grey is known; and the strip of printed tones looks as it did on other pictures
by the same device, if the same printer printed it. What can be told is set right, and said; where
tones can't be set right the picture is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..cards.card import BARE
from ..cards.layout_parts import GREY, TONE
from ..errors import InputError
from ..optics.spectra import Array

TYPICAL_WHITE = (0.85, 0.04)
"""Reflectance of a painted, sealed white band, and its standard uncertainty (common practice, no
source): what stands in where no reference is known."""
_MOST_OFF = 0.15
"""Logarithm by which a white may lie off the typical one: three standard uncertainties."""
_TINTED = 0.06
"""Logarithm by which the channels of a painted white differ where the balance was moved."""
_LEAST = 1e-5
_FURTHEST = np.log(5.0)
"""Logarithm of exposures beyond which too few of a picture's tones are left."""
_LIGHTEST_BLACK = 0.12
"""No sealed black band reflects more (common practice, no source)."""
_BENT = 0.12
"""Relative departure of the exponent between grey and white, of which 0.04 is the white's own."""
_SAME_STRIP = 0.04
"""Logarithm by which two pictures of printed tones differ at most where nothing was switched."""
_MORE_ALIKE, _AS_BEFORE = 0.6, 0.005
"""Share of what bands moved by, in cube roots of reflectance, that the tones' curve may leave over
to be believed; and what it may always leave."""
_PRINTED = (0.7, 3.2)
"""Powers by which printers make printed tones rise: about 1 to 2.5 (common practice, no source)."""
_BY_STRIP_SD = 0.02
"""Relative standard uncertainty of a level that rests on the tone strip."""
_LEAST_VEIL, _VEIL_LEAVES = 0.01, 0.25
"""Veil of light, as a share of a perfect white, that is looked for; and the share of what moved
that it may leave over to be believed."""
_COLOUR_ENOUGH, _LIVELY = 0.06, 1.6
"""Root of squares of what channels differ by, in logarithms, from which on references have colour
enough to tell; and how many times as much of it was enhanced."""
_SWITCH_OFF = (
    "switch automatic exposure, contrast and colour off and take it again, or characterise the "
    "device with these settings"
)


@dataclass(frozen=True)
class Mended:
    """What is done to levelled values of a picture.

    Attributes
    ----------
    curve : tuple of arrays or None
        Logarithms as read, rising, and what they are to be, (T, 3) each; between them straight.
    gain : (3,) array
        Multiplied by afterwards.
    level_sd : float or None
        Relative standard uncertainty of the level from then on; None: as before.
    said : tuple of str
        What was found, and what was done.
    """

    curve: tuple[Array, Array] | None = field(default=None, repr=False)
    gain: Array = field(default_factory=lambda: np.ones(3))
    level_sd: float | None = None
    said: tuple[str, ...] = ()

    def __call__(self, values: Array) -> Array:
        """Values (..., 3) set right; those not above zero are only scaled."""
        moved = np.array(values, dtype=float)
        if self.curve is not None:
            seen, meant = self.curve
            logs = np.log(np.maximum(moved, _LEAST))
            for c in range(3):
                by_curve = np.exp(_straight(logs[..., c], seen[:, c], meant[:, c]))
                moved[..., c] = np.where(values[..., c] > _LEAST, by_curve, values[..., c])
        return np.asarray(moved * self.gain)


def own_check(
    read: Mapping[str, Array],
    grey: float | None,
    by_device: bool,
    before: Mapping[str, Array] | None,
    file: str,
) -> Mended:
    """Hold a picture's own references against what they must be.

    Parameters
    ----------
    read : mapping of label to (3,) array
        Levelled values of the bare bands, grey pieces and printed tones.
    grey : float or None
        Known reflectance of the grey pieces, which the level rests on then.
    by_device : bool
        Whether the level rests on the device's own characterisation.
    before : mapping of label to (3,) array, optional
        The same as other pictures by the device showed them.
    file : str

    Returns
    -------
    Mended

    Raises
    ------
    InputError
        Where tones are wrong and can't be set right.
    """
    mended = _by_strip(read, before) if before else None
    if mended is None:
        mended = _by_grey(read, grey) if grey is not None else _by_white(read, by_device, file)
    _check_tones({label: mended(value[None])[0] for label, value in read.items()}, file)
    black = read.get("bare/black")
    if black is not None and (light := float(mended(black[None]).mean())) > _LIGHTEST_BLACK:
        raise InputError(
            file,
            "bare/black",
            f"it came out as light as {light:.2f} of a perfect white, which no black is: dark "
            "tones were raised, by a gamma, a contrast curve or light on the glass",
            _SWITCH_OFF,
        )
    return mended


def _check_tones(read: Mapping[str, Array], file: str) -> None:
    """Refuse a picture whose printed tones rise as no printer makes them."""
    tones = {float(k.partition("/")[2]): v.mean() for k, v in read.items() if k.startswith(TONE)}
    if not {0.0, 1.0} <= set(tones) or len(tones) < 4:
        return
    ink, paper = tones.pop(0.0), tones.pop(1.0)
    shares = np.array([(v - ink) / max(paper - ink, _LEAST) for v in tones.values()])
    powers = np.log(np.clip(shares, _LEAST, 1.0)) / np.log(list(tones))
    power = float(np.median(powers))
    if not _PRINTED[0] <= power <= _PRINTED[1]:
        raise InputError(
            file,
            "the printed tones",
            f"they rise by a power of {power:.2f}, where printers make it {_PRINTED[0]:g} to "
            f"{_PRINTED[1]:g}: a gamma or a contrast curve was switched on",
            _SWITCH_OFF,
        )


def _by_white(read: Mapping[str, Array], by_device: bool, file: str) -> Mended:
    """Set exposure and balance right by the painted white, where they are clearly off."""
    white = read.get("bare/white")
    if white is None or not by_device or white.min() <= 0:
        return Mended()
    off = np.log(TYPICAL_WHITE[0] / white)
    tinted = np.ptp(off) > _TINTED
    if np.abs(off).max() < _MOST_OFF and np.ptp(off) < 2 * _TINTED:
        return Mended()
    if np.abs(off).max() > _FURTHEST:
        raise InputError(
            file,
            "bare/white",
            f"it came out at {float(white.mean()):.2f} of a perfect white: the exposure is far off",
            _SWITCH_OFF,
        )
    unsure = TYPICAL_WHITE[1] / TYPICAL_WHITE[0]
    gain = np.exp(off if tinted else np.full(3, off.mean()))
    words = (
        f"its exposure changed since its device was characterised ({1 / gain.mean():.2f} times as "
        "bright)"
    )
    if tinted:
        shares = ", ".join(f"{1 / g:.2f}" for g in gain)
        words = (
            "its exposure or white balance changed since its device was characterised (red, green "
            f"and blue {shares} times as bright)"
        )
    done = f"{words}: set right by the painted white, so every level is unsure by {unsure:.0%}"
    return Mended(None, gain, unsure, (done,))


def _by_grey(read: Mapping[str, Array], grey: float | None) -> Mended:
    """Set a gamma right where a known grey and the painted white show it."""
    white = read.get("bare/white")
    if white is None or grey is None or not grey < white.min():
        return Mended()
    meant = np.log(TYPICAL_WHITE[0] / grey)
    exponent = float(meant / np.log(white / grey).mean())
    sd = TYPICAL_WHITE[1] / TYPICAL_WHITE[0] / meant
    if abs(exponent - 1) < max(_BENT, 3 * sd):
        return Mended()
    ends = np.log(np.array([1e-5, 1.5]))
    seen = np.repeat(ends[:, None], 3, axis=1)
    curve = seen, np.log(grey) + exponent * (seen - np.log(grey))
    said = (
        f"its tones rise by a power of {1 / exponent:.2f} of what its device showed: set right "
        f"between the known grey and the painted white, unsure by {sd:.0%} of the power"
    )
    return Mended(curve, np.ones(3), sd, (said,))


def _by_strip(read: Mapping[str, Array], before: Mapping[str, Array]) -> Mended | None:
    """Compare printed tones with other pictures'; None where they tell nothing."""
    tones = sorted(
        (label for label in read if label.startswith(f"{TONE}/") and label in before),
        key=lambda label: float(before[label].mean()),
    )
    good = [t for t in tones if read[t].min() > 0 and before[t].min() > 0]
    if len(good) < 4:
        return None
    seen = np.log(np.array([read[t] for t in good]))
    meant = np.log(np.array([before[t] for t in good]))
    if np.abs(seen - meant)[1:].max() < _SAME_STRIP:
        return Mended(said=_livelier(read, before))
    if (veil := _veiled(read, before)) is not None:
        return veil
    if (np.diff(seen, axis=0) <= 0.02).any():
        return None
    # The same bands were painted by hand, the tones by a printer: another printer moves these
    # alone, a picture that was changed moves both alike.
    bands = [b for b in read if b.partition("/")[0] in (BARE, GREY) and b in before]
    most = f"{np.abs(np.expm1(seen - meant)).max():.0%}"
    now, then = (np.array([of[b] for b in bands]) for of in (read, before))
    by_curve = Mended((seen, meant))
    if not bands or _apart(by_curve(now), then) > max(_MORE_ALIKE * _apart(now, then), _AS_BEFORE):
        said = (
            "its printed tones are not as on other pictures by its device, though its painted "
            f"bands are: nothing was changed, so mid tones may be off by {most}"
        )
        return Mended(said=(said,))
    # What was done to it can't be told from grey tones alone, and need not be to undo it.
    said = (
        f"its tones came out otherwise than on other pictures by its device (by up to {most}): "
        "set right by the printed tones, so every level is unsure by "
        f"{_BY_STRIP_SD:.0%}; switch off what changes pictures by itself"
    )
    return Mended((seen, meant), np.ones(3), _BY_STRIP_SD, (said,))


def _veiled(read: Mapping[str, Array], before: Mapping[str, Array]) -> Mended | None:
    """Take an even veil of light away where that alone explains what moved, darks most of all."""
    labels = [label for label in read if label in before]
    seen, meant = (np.array([of[label] for label in labels]) for of in (read, before))
    veil, gain = np.empty(3), np.empty(3)
    for c in range(3):
        # Weighed for what the eye sees of it.
        weight = 1 / np.maximum(meant[:, c], 0.005) ** (2 / 3)
        terms = np.stack([meant[:, c], np.ones(len(labels))], axis=1) * weight[:, None]
        rise, veil[c] = np.linalg.lstsq(terms, seen[:, c] * weight, rcond=None)[0]
        gain[c] = 1 / max(rise, _LEAST)
    if veil.min() < _LEAST_VEIL:
        return None
    right, known = np.maximum((seen - veil) * gain, 0.0), np.maximum(meant, 0.0)
    if _apart(right, known) > _VEIL_LEAVES * _apart(np.maximum(seen, 0.0), known):
        return None
    light = np.log(veil + np.geomspace(1e-4, 2.0, 60)[:, None])
    curve = light, np.log((np.exp(light) - veil) * gain)
    said = (
        f"a veil of light lies over it ({veil.mean():.0%} of a perfect white), as a dirty lens or "
        "glass, or light from the side makes it: taken away by what other pictures by its device "
        f"showed, so every level is unsure by {_BY_STRIP_SD:.0%} and darks by more"
    )
    return Mended(curve, np.ones(3), _BY_STRIP_SD, (said,))


def _livelier(read: Mapping[str, Array], before: Mapping[str, Array]) -> tuple[str, ...]:
    """Say where what little colour the references have came out stronger than before."""
    labels = [k for k in read if k in before and min(read[k].min(), before[k].min()) > 0]
    logs = (np.log(np.array([of[label] for label in labels])) for of in (read, before))
    seen, meant = (of - of.mean(axis=1, keepdims=True) for of in logs)
    if (size := float((meant**2).sum())) < _COLOUR_ENOUGH**2:
        return ()
    times = float((seen * meant).sum()) / size
    if times < _LIVELY:
        return ()
    return (
        f"its colours came out some {times:.1f} times as far from grey as on other pictures by its "
        "device: saturation was enhanced, which nothing can set right; switch it off and take it "
        "again",
    )


def _apart(one: Array, other: Array) -> float:
    """How far values lie apart for the eye: root mean square of their cube roots' differences."""
    return float(np.sqrt(np.mean((np.cbrt(one) - np.cbrt(other)) ** 2)))


def _straight(at: Array, seen: Array, meant: Array) -> Array:
    """Interpolate; beyond either end what is moved there is moved as far."""
    beyond = np.minimum(at - seen[0], 0.0) + np.maximum(at - seen[-1], 0.0)
    return np.asarray(np.interp(at, seen, meant) + beyond)
