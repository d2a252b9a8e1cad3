"""Pictures of what was read where, beside the studio's database."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ..common.files import write_whole
from ..store.studio import Studio


def overlay_of_scan(studio: Studio, card: str, sha256: str) -> Path:
    """Where the overlay of a scanned card lies."""
    return studio.folder / "scans" / f"{_plain(card)}-{sha256[:8]}.png"


def overlay_of_scanner(studio: Studio, name: str) -> Path:
    """Where the overlay of a device's target lies."""
    return studio.folder / "devices" / f"{_plain(name)}.png"


def save_overlay(path: Path, drawn: NDArray[np.uint8]) -> Path:
    """Write a picture as PNG, whole or not at all."""
    done, content = cv2.imencode(".png", drawn[:, :, ::-1])
    assert done
    write_whole({path: content.tobytes()})
    return path


def _plain(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "unnamed"
