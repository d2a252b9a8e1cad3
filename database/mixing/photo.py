"""The colours of a photograph: evened by a grey, a white or a card in it, and read at a spot."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from ...calibrate.cards.layout import Layout
from ...calibrate.errors import Field, InputError
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.display import srgb_to_lab
from ...calibrate.optics.spectra import Array
from ...calibrate.scan.curve import decoded
from ...calibrate.scan.find import find_card, markers_in
from ...calibrate.scan.image import Picture, opened, read_picture
from ...calibrate.scan.reading import TYPICAL_WHITE
from ...calibrate.scan.sample import sample_all, sites
from ..common.remedies import StudioDo
from .target import Target
from .viewing import AS_SEEN

GREY = 0.18
"""Reflectance of a photographer's grey card (common practice, no source)."""
BLACK = 0.01
"""Of a card's sealed black band as a camera sees it, its shine kept out (common practice, no
source)."""
WHITE = TYPICAL_WHITE[0]
_SURE = {WHITE: TYPICAL_WHITE[1], GREY: 0.006, BLACK: 0.01}
"""Standard uncertainty of each, and of the light that a camera adds everywhere."""
_LIFT_SD = 0.01
BANDS = {
    "nothing": 15.0,
    "a white": 9.2,
    "a grey": 9.2,
    "a white and a black": 9.2,
    "the card": 9.2,
}
"""CIEDE2000 that 95 of 100 colours stay within, by what a photograph was evened with: as rendered
photographs of an invented phone showed; no source for any other."""
RADIUS = 0.006
"""Of a spot, as a share of the picture's longer side."""
MOTTLED = 6.0
"""CIEDE2000 from a spot's middle, beyond which a quarter of it isn't one colour."""
_CLIPPED = 0.02
_ALIKE, _A_PIECE = 14, 0.15
"""Steps of 255 within which a grey card's pixels lie; share of a picture that is no card."""
_TINTS = (-1.25, 0.75)
"""Stops by which red and blue, on average, lie from green in a grey, under any usual light: lamps
and daylight part red and blue instead (-0.33 by CIE A, 0.25 by a black body of 20000 K, calculated
from their chromaticities in sRGB; the margin is our own rule)."""
_TINTED = 0.5
"""Stops from the picture's own mean within which its light may be as tinted (our own rule)."""
Spot = tuple[float, float]
"""Across and down from the upper left corner, px."""


@dataclass(frozen=True)
class Photo:
    """A photograph whose neutrals are neutral, as far as it shows any.

    Attributes
    ----------
    pixels : (H, W, 3) array of uint8
        sRGB as saved, upright.
    gain, lift : (3,) array
        Linear light is ``gain x (decoded pixel) + lift``; 1 is the perfect diffuser.
    by : str
        What it was evened with: a key of `BANDS`.
    aside : (H, W) bool array
        What only stands there for evening, and belongs to no picture.
    """

    pixels: NDArray[np.uint8] = field(repr=False)
    gain: Array
    lift: Array
    by: str
    file: str
    aside: NDArray[np.bool_] = field(repr=False)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px."""
        return self.pixels.shape[1], self.pixels.shape[0]

    def lab(self, pixels: NDArray[Any]) -> Array:
        """CIELAB under D50, (N, 3), of pixels (N, 3) of this photograph, 0-255."""
        linear = self.gain * decoded("sRGB", np.asarray(pixels, dtype=float) / 255) + self.lift
        return srgb_to_lab(_encoded(linear))


def _encoded(linear: Array) -> Array:
    """IEC 61966-2-1; beyond white it goes on."""
    v = np.maximum(linear, 0)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def read_photo(
    path: str | Path,
    grey: Spot | None = None,
    white: Spot | None = None,
    black: Spot | None = None,
    layouts: Mapping[int, Layout] | None = None,
) -> Photo:
    """Open a photograph and even it by what is known to be neutral in it.

    Parameters
    ----------
    grey, white, black : (x, y), optional
        Where a photographer's grey card, and a card's bare white and bare black, are seen.
    layouts : mapping of number to Layout, optional
        Printed cards that may stand in it; one that does evens it where no spot is given.

    Raises
    ------
    InputError
        For a file that is no picture, and a spot outside it or plainly coloured.
    """
    picture = read_picture(path)
    pixels = _to_srgb(picture, Path(path).read_bytes())
    return evened(picture, pixels, grey, white, black, layouts or {})


def _to_srgb(picture: Picture, raw: bytes) -> NDArray[np.uint8]:
    """Pixels as 8-bit sRGB: what the embedded profile says of them is applied."""
    pixels = picture.pixels
    if pixels.dtype != np.uint8:
        pixels = (pixels // 257).astype(np.uint8)
    with opened(raw) as header:
        icc = header.info.get("icc_profile")
    if not icc or "srgb" in (picture.facts.icc or "").casefold():
        return pixels
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        turned = ImageCms.profileToProfile(
            Image.fromarray(pixels), profile, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError):
        return pixels
    return np.asarray(turned)


def evened(
    picture: Picture,
    pixels: NDArray[np.uint8],
    grey: Spot | None,
    white: Spot | None,
    black: Spot | None,
    layouts: Mapping[int, Layout],
) -> Photo:
    """Make the neutrals of a photograph neutral, and as light as they are known to be."""
    file = picture.facts.file
    aside = np.zeros(pixels.shape[:2], dtype=bool)
    plain = Photo(pixels, np.ones(3), np.zeros(3), "nothing", file, aside)
    for name, at in (("grey", grey), ("white", white)):
        if at and _is_coloured(plain, at):
            raise InputError(
                file, Field(name, f"{at[0]:g},{at[1]:g}"),
                "that spot is plainly coloured beside the rest of the photograph, so it is no grey",
                "give the spot where the card is seen, or leave it out",
            )  # fmt: skip
    given = [(grey, GREY), (white, WHITE), (black, BLACK)]
    spots = [(at, known) for at, known in given if at is not None]
    seen = [(_light(plain, at), known) for at, known in spots]
    for at, _ in spots:
        aside |= _piece(pixels, at)
    by = "a white and a black" if white and black else "a white" if white else "a grey"
    if not seen and layouts and (card := _on_card(picture, layouts)):
        (seen, corners), by = card, "the card"
        aside |= cv2.fillPoly(np.zeros(aside.shape, np.uint8), [corners], 1).astype(bool)
    if not seen:
        return plain
    if black and not (grey or white):
        raise InputError(
            file, Field("black"), "a black alone doesn't tell the light", StudioDo.WHITE_OR_GREY()
        )
    levels, known = np.array([s for s, _ in seen]), np.array([k for _, k in seen])
    weight = np.append([1 / _SURE[k] for k in known], 1 / _LIFT_SD)
    aim = np.append(known, 0.0) * weight
    line = []
    for level in levels.T:
        # What is added everywhere is little: the last row says so.
        rows = np.stack([np.append(level, 0.0), np.ones(len(aim))], axis=1) * weight[:, None]
        line.append(np.linalg.lstsq(rows, aim, rcond=None)[0])
    gain, lift = np.array(line).T
    if (gain <= 0).any():
        raise InputError(
            file, None, "the white, grey and black given don't lie in that order of lightness",
            "check which spot is which",
        )  # fmt: skip
    return Photo(pixels, gain, lift, by, file, aside)


def _is_coloured(plain: Photo, at: Spot) -> bool:
    """Whether a spot is of a colour that no usual light makes of a grey, and the picture isn't."""

    def tint(light: Array) -> float:
        red, green, blue = np.log2(np.maximum(light, 1e-4))
        return float((red + blue) / 2 - green)

    spot_tint = tint(_light(plain, at))
    mean = tint(decoded("sRGB", plain.pixels[::4, ::4].reshape(-1, 3) / 255).mean(axis=0))
    usual = _TINTS[0] < spot_tint < _TINTS[1]
    return not usual and abs(spot_tint - mean) > _TINTED


def _piece(pixels: NDArray[np.uint8], at: Spot) -> NDArray[np.bool_]:
    """The piece of one colour (H, W) that a spot lies on; nothing where it has no end."""
    mask = np.zeros((pixels.shape[0] + 2, pixels.shape[1] + 2), np.uint8)
    flags = 4 | cv2.FLOODFILL_MASK_ONLY | cv2.FLOODFILL_FIXED_RANGE
    near = (_ALIKE,) * 3
    smooth = cv2.medianBlur(pixels, 5)
    cv2.floodFill(smooth, mask, (int(at[0]), int(at[1])), (0, 0, 0), near, near, flags)
    inside = mask[1:-1, 1:-1].astype(bool)
    return inside if inside.mean() < _A_PIECE else np.zeros_like(inside)


def _on_card(
    picture: Picture, layouts: Mapping[int, Layout]
) -> tuple[list[tuple[Array, float]], NDArray[np.int32]] | None:
    """Linear light of the bare white and black of a printed card, and its corners, if one shows."""
    if not markers_in(picture):
        return None
    try:
        found = find_card(picture, layouts)
        bare = tuple(s for s in sites(found.layout, {}) if s.kind == "bare")
        samples = sample_all(picture, found, bare)
    except InputError:
        # Cut off or half hidden, it evens nothing.
        return None
    levels = {s.site.over: decoded("sRGB", s.middle) for s in samples}
    known = {"white": WHITE, "black": BLACK}
    wide, high = found.layout.page_mm
    corners = found.px([(0, 0), (wide, 0), (wide, high), (0, high)])
    pairs = [(levels[over], known[over]) for over in known if over in levels]
    return pairs, np.round(corners).astype(np.int32)


def around(photo: Photo, at: Spot, asked: str = "at") -> NDArray[np.uint8]:
    """Pixels (N, 3) of a round spot.

    Raises
    ------
    InputError
        Where it lies outside.
    """
    width, height = photo.size
    x, y = at
    if not (0 <= x < width and 0 <= y < height):
        raise InputError(
            photo.file, Field(asked, f"{x:g},{y:g}"),
            f"that spot is outside the picture, which has {width} x {height} px",
            "count from its upper left corner: across, down",
        )  # fmt: skip
    radius = max(2.0, RADIUS * max(width, height))
    x0, x1 = int(max(x - radius, 0)), int(min(x + radius + 1, width))
    y0, y1 = int(max(y - radius, 0)), int(min(y + radius + 1, height))
    down, across = np.mgrid[y0:y1, x0:x1]
    inside = (across - x) ** 2 + (down - y) ** 2 <= radius**2
    return photo.pixels[y0:y1, x0:x1][inside]


def _light(photo: Photo, at: Spot) -> Array:
    """Decoded level of a spot's middle, (3,)."""
    return decoded("sRGB", np.median(around(photo, at), axis=0) / 255)


def spot(photo: Photo, at: Spot) -> Target:
    """Make a target of a spot of a photograph.

    Raises
    ------
    InputError
        Where it lies outside.
    """
    pixels = around(photo, at)
    colour = photo.lab(np.median(pixels, axis=0)[None])[0]
    notes = [trust(photo)]
    if np.quantile(ciede2000(photo.lab(pixels), colour), 0.75) > MOTTLED:
        notes.append("that spot isn't one colour: its middle was taken")
    cut = max((pixels == 0).mean(axis=0).max(), (pixels == 255).mean(axis=0).max())
    if cut > _CLIPPED:
        notes.append("a channel is cut off there, too light or too dark for the camera")
    said = f"spot {at[0]:g},{at[1]:g} of {Path(photo.file).name}"
    return Target(
        said, colour, estimate=True, band=BANDS[photo.by], notes=tuple(notes), viewing=AS_SEEN
    )


def trust(photo: Photo) -> str:
    """How far the colours of a photograph can be trusted, in words."""
    within = f"good to within some {BANDS[photo.by]:.0f} (95 of 100 times)"
    if photo.by == "nothing":
        return (
            f"nothing in the photograph tells its light: an estimate, {within}; photograph a grey "
            "card or a bare white beside it and say where"
        )
    return f"evened by {photo.by} in the photograph: still an estimate, {within}"


def shrunk(photo: Photo, side: int) -> NDArray[np.uint8]:
    """The pixels at no more than `side` px along the longer side."""
    scale = side / max(photo.size)
    if scale >= 1:
        return photo.pixels
    small = cv2.resize(photo.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8)


def parse_spot(text: str, asked: str) -> Spot:
    """Read a spot such as ``120,80``.

    Raises
    ------
    InputError
        For any other text.
    """
    parts: Sequence[str] = text.replace(" ", "").split(",")
    try:
        x, y = (float(p) for p in parts)
        if not np.isfinite([x, y]).all():
            raise ValueError
    except ValueError:
        raise InputError(
            None, Field(asked, text), "expected a spot in px, across and down", "write 120,80"
        ) from None
    return x, y
