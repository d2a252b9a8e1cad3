"""Opens pictures of cards: the header first, then the pixels at the depth that they were saved in.

Pillow opens 16-bit colour as 8-bit without a word, so it reads headers only; OpenCV decodes.
"""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from ..errors import InputError

MOST_PIXELS = 140_000_000
"""An A4 page at 1200 dpi has 139 million."""
_ROWS = 256
LARGEST = 2_000_000_000
"""Bytes."""
FORMATS = {"TIFF": "TIFF", "PNG": "PNG", "JPEG": "JPEG", "MPO": "JPEG", "HEIF": "HEIC"}
_ORIENTATION, _MAKE, _MODEL, _SOFTWARE = 0x0112, 0x010F, 0x0110, 0x0131
_WRITTEN, _MORE, _TAKEN = 0x0132, 0x8769, 0x9003
"""When the file was written; where the tags of the exposure are, and when it was."""
_DO = "scan again as TIFF or PNG, or open it in any picture program and save it as TIFF"
_HEIC = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
_TURNS = {
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.swapaxes(0, 1),
    6: lambda p: p.swapaxes(0, 1)[:, ::-1],
    7: lambda p: p[::-1, ::-1].swapaxes(0, 1),
    8: lambda p: p.swapaxes(0, 1)[::-1],
}
"""How pixels are turned upright, by EXIF orientation (CIPA DC-008); 1 stands upright."""


@dataclass(frozen=True)
class Facts:
    """What a picture's file says of it.

    Attributes
    ----------
    format : {"TIFF", "PNG", "JPEG", "HEIC"}
    size : (width, height), px
        As saved, before it is turned.
    bits : {8, 16}
        Of a channel.
    dpi : float or None
        As the file states it; phones state none that means anything.
    icc : str or None
        Description of the embedded profile; noted, not applied.
    device : str or None
        Maker and model, as the file states them.
    orientation : int
        EXIF; 1 is upright.
    taken : str or None
        Day that it was taken, ISO 8601, as the file states it.
    """

    file: str
    sha256: str
    format: str
    size: tuple[int, int]
    bits: int
    dpi: float | None
    icc: str | None
    device: str | None
    software: str | None
    orientation: int = 1
    taken: str | None = None


@dataclass(frozen=True)
class Picture:
    """A picture, upright.

    Attributes
    ----------
    pixels : (H, W, 3) array of uint8 or uint16
        Red, green, blue, encoded as saved.
    """

    pixels: NDArray[Any] = field(repr=False)
    facts: Facts

    @property
    def top(self) -> int:
        """The largest value that a pixel can have."""
        return int(np.iinfo(self.pixels.dtype).max)


def _error(file: str, expected: str, do: str = _DO) -> InputError:
    return InputError(file, None, expected, do)


def _profile(icc: bytes | None) -> str | None:
    if not icc:
        return None
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        return " ".join(ImageCms.getProfileDescription(profile).split()) or "unnamed"
    except (ImageCms.PyCMSError, OSError):
        return "damaged"


def _text(value: Any) -> str:
    return " ".join(str(value or "").replace("\0", " ").split())


def _day(stated: Any) -> str | None:
    """The day of a time as EXIF writes it, 2026:05:09 10:00:00."""
    found = re.match(r"(\d{4})[:-](\d\d)[:-](\d\d)\b", _text(stated))
    return "-".join(found.groups()) if found and found[1] > "1970" else None


def _bits(picture: Image.Image) -> int:
    """Bits of a channel. Pillow shows 16-bit TIFF in a tag, and PNG in its header's ninth byte."""
    if picture.format == "TIFF":
        stated = picture.tag_v2.get(258, (1,))  # type: ignore[attr-defined]
        return int(max(stated))
    if picture.mode.startswith("I"):
        return 16
    if picture.format == "PNG":
        return int(picture.info["_bits"])
    return 8


def read_facts(path: str | Path) -> tuple[Facts, bytes]:
    """Read a picture's header, and its bytes undecoded.

    Raises
    ------
    InputError
        For a file that is no TIFF, PNG, JPEG or HEIC, is damaged, holds no colour, or is larger
        than `MOST_PIXELS`.
    """
    file, path = str(path), Path(path)
    if path.is_dir():
        raise _error(file, "it is a folder", "give one picture")
    if not path.exists():
        raise _error(file, "no such file", "check the name and the folder")
    if not path.is_file():
        raise _error(file, "it is a pipe or a device, not a file", "give one picture")
    if path.stat().st_size > LARGEST:
        raise _error(file, "it is far larger than a scan of a card", "scan the card alone, 300 dpi")
    try:
        raw = path.read_bytes()
    except OSError as problem:
        raise _error(
            file, f"it can't be opened ({problem.strerror})", "check who may read it"
        ) from None
    if not raw:
        raise _error(file, "it is empty")
    if raw[4:8] == b"ftyp" and raw[8:12] in _HEIC:
        _open_heic(file)
    try:
        with opened(raw) as picture:
            if picture.format == "PNG":
                picture.info["_bits"] = raw[24]
            return _facts(picture, file, raw), raw
    except (OSError, SyntaxError, ValueError, KeyError, TypeError):
        raise _error(
            file, "expected a TIFF, PNG, JPEG or HEIC picture, this is none or is damaged"
        ) from None


@contextmanager
def opened(raw: bytes) -> Iterator[Image.Image]:
    """Open a picture of any size by Pillow: our own limit has its own words."""
    limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(raw)) as picture:
                yield picture
    finally:
        Image.MAX_IMAGE_PIXELS = limit


def _open_heic(file: str) -> None:
    """Let Pillow read HEIC, where the library for it is installed."""
    try:
        from pillow_heif import register_heif_opener
    except ModuleNotFoundError:
        raise _error(
            file,
            "it is HEIC, which needs a library that isn't installed",
            "pip install 'tintladder[heic]'; or on the phone choose JPEG as the camera's format "
            "(most compatible), or export the picture as JPEG at full size",
        ) from None
    register_heif_opener()


def _facts(picture: Image.Image, file: str, raw: bytes) -> Facts:
    if picture.format not in FORMATS:
        raise _error(file, f"expected TIFF, PNG, JPEG or HEIC, this is {picture.format}")
    width, height = picture.size
    if width * height > MOST_PIXELS:
        raise _error(
            file,
            f"it has {width * height / 1e6:.0f} megapixels, more than {MOST_PIXELS / 1e6:.0f}",
            "scan the card alone, at 300 dpi",
        )
    bits = _bits(picture)
    if bits not in (8, 16):
        raise _error(file, f"it has {bits} bits a channel, expected 8 or 16")
    if not set(picture.mode) & {"R", "Y", "P"}:
        raise _error(file, "it holds no colour (one channel)", "scan the card in colour")
    exif = picture.getexif()
    dpi = picture.info.get("dpi")
    across = float(min(dpi)) if dpi and min(dpi) > 1 else None
    facts = Facts(
        file,
        hashlib.sha256(raw).hexdigest(),
        FORMATS[picture.format],
        (width, height),
        bits,
        None if across is None else round(across, 1),
        _profile(picture.info.get("icc_profile")),
        f"{_text(exif.get(_MAKE))} {_text(exif.get(_MODEL))}".strip() or None,
        _text(exif.get(_SOFTWARE)) or None,
        int(exif.get(_ORIENTATION, 1) or 1),
        _day(exif.get_ifd(_MORE).get(_TAKEN) or exif.get(_WRITTEN)),
    )
    return facts


def read_picture(path: str | Path) -> Picture:
    """Open a picture of a card.

    Returns
    -------
    Picture
        Upright, at the depth it was saved in. A transparent layer is dropped.

    Raises
    ------
    InputError
        As `read_facts`, and where the pixels are truncated or damaged.
    """
    facts, raw = read_facts(path)
    _check_whole(facts, raw)
    try:
        decoded = _decoded(facts, raw)
    except (cv2.error, OSError, ValueError, RuntimeError):
        decoded = None
    if decoded is None or decoded.shape[1::-1] != facts.size:
        raise _error(facts.file, "its pixels can't be read: it is truncated or damaged")
    if decoded.ndim != 3 or decoded.shape[2] < 3:
        raise _error(facts.file, "it holds no colour (one channel)", "scan the card in colour")
    if decoded.dtype not in (np.uint8, np.uint16):
        raise _error(facts.file, "its pixels are no whole numbers of 8 or 16 bit")
    turned = _TURNS.get(facts.orientation, lambda p: p)(_rgb(decoded))
    return Picture(np.ascontiguousarray(turned), facts)


def _rgb(decoded: NDArray[Any]) -> NDArray[Any]:
    """Turn blue, green, red round in place, some rows at a time: it needs no second picture."""
    if decoded.shape[2] == 4:
        return cv2.cvtColor(decoded, cv2.COLOR_BGRA2RGB)
    for first in range(0, len(decoded), _ROWS):
        rows = decoded[first : first + _ROWS]
        rows[:] = cv2.cvtColor(rows, cv2.COLOR_BGR2RGB)
    return decoded


def _decoded(facts: Facts, raw: bytes) -> NDArray[Any] | None:
    """Pixels as OpenCV has them: blue, green, red."""
    if facts.format == "HEIC":
        with opened(raw) as picture:
            return np.asarray(picture.convert("RGB"))[:, :, ::-1].copy()
    return cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_UNCHANGED)


def _check_whole(facts: Facts, raw: bytes) -> None:
    """Refuse a picture that breaks off: OpenCV fills what is missing with grey, without a word."""
    end = {"PNG": b"IEND", "JPEG": b"\xff\xd9"}.get(facts.format)
    if end is not None and end not in raw[-(1 << 16) :]:
        raise _error(facts.file, "it breaks off before its end")
    if facts.format == "TIFF":
        with opened(raw) as picture:
            tags = picture.tag_v2  # type: ignore[attr-defined]
            starts = tags.get(273) or tags.get(324) or ()
            counts = tags.get(279) or tags.get(325) or ()
        pairs = zip(np.atleast_1d(starts), np.atleast_1d(counts), strict=False)
        if not len(np.atleast_1d(starts)) or max(a + b for a, b in pairs) > len(raw):
            raise _error(facts.file, "it breaks off before its end")
