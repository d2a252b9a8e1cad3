"""Keeps characterised devices and what was scanned, as files in the studio's folder.

``devices/NAME.json`` holds a device; ``scans/CARD-SHA.json`` what was read of a picture, and the
picture of what was read where beside it. A scan is never overwritten: the same picture read again
says the same.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..calibrate.cards.card import Card
from ..calibrate.cards.channels import CardChannels
from ..calibrate.errors import InputError
from ..calibrate.optics.surface import Surface
from ..calibrate.scan.characterise import Characterised
from ..calibrate.scan.reading import ScannedCard
from .studio import Studio


def _plain(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "unnamed"


def _write(path: Path, content: bytes) -> Path:
    """Write a file whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.part")
    part.write_bytes(content)
    part.replace(path)
    return path


def _json(path: Path, said: dict[str, Any]) -> Path:
    return _write(path, (json.dumps(said, indent=1, ensure_ascii=False) + "\n").encode())


def save_device(studio: Studio, device: Characterised) -> Path:
    """Keep a device; one of the same name is replaced."""
    return _json(studio.folder / "devices" / f"{_plain(device.name)}.json", device.as_dict())


def device_names(studio: Studio) -> list[str]:
    """Names of the devices kept, by file."""
    return sorted(path.stem for path in (studio.folder / "devices").glob("*.json"))


def load_device(studio: Studio, name: str | None) -> Characterised | None:
    """A device by name; without a name the only one, or None where there is none.

    Raises
    ------
    InputError
        Where there is none of that name, several to choose from, or its file is damaged.
    """
    names = device_names(studio)
    if name is None and len(names) < 2:
        if not names:
            return None
        name = names[0]
    if name is None or _plain(name) not in names:
        there = ", ".join(names) or "none yet"
        raise InputError(
            None,
            "--device",
            f"expected one of the devices here ({there})",
            "name it, or characterise it: tintladder device scanner",
        )
    path = studio.folder / "devices" / f"{_plain(name)}.json"
    try:
        return Characterised.from_dict(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError):
        raise InputError(
            path, None, "this device's file is damaged", "characterise the device again"
        ) from None


def save_overlay(path: Path, drawn: NDArray[np.uint8]) -> Path:
    """Write a picture as PNG."""
    done, content = cv2.imencode(".png", drawn[:, :, ::-1])
    assert done
    return _write(path, content.tobytes())


def save_scan(
    studio: Studio,
    scan: ScannedCard,
    sha256: str,
    device: str | None,
    remarks: Sequence[str],
    drawn: NDArray[np.uint8],
) -> tuple[Path, Path]:
    """Keep what was read of a picture; the paths of the reading and of the overlay."""
    stem = f"{_plain(scan.channels.card.name)}-{sha256[:8]}"
    said = scan_as_dict(scan, device, remarks) | {"sha256": sha256}
    picture = save_overlay(studio.folder / "scans" / f"{stem}.png", drawn)
    return _json(studio.folder / "scans" / f"{stem}.json", said), picture


def scan_as_dict(scan: ScannedCard, device: str | None, remarks: Sequence[str]) -> dict[str, Any]:
    """What was read, for machines."""
    flags = dict(scan.flags)
    sd = np.sqrt(scan.channels.variance)
    return {
        "card": scan.channels.card.name,
        "source": scan.channels.source,
        "device": device,
        "geometry": "45:0",
        "level_from": scan.scale,
        "dpi": round(scan.found.dpi, 1),
        "stray_light": round(scan.evened.stray.share, 4),
        "stray_light_uncertainty": round(scan.evened.stray.uncertainty, 4),
        "stray_light_typical": scan.evened.stray.typical,
        "uneven_light": round(scan.evened.uneven, 4),
        "remarks": list(remarks),
        "patches": [
            {
                "patch": label,
                "channels": np.round(scan.channels.channels[i], 6).tolist(),
                "uncertainty": np.round(sd[i], 6).tolist(),
                "lab": np.round(scan.lab[i], 3).tolist(),
                "spread": round(float(scan.spread[i]), 4),
                "left_out": round(float(scan.left_out[i]), 4),
                "flag": flags.get(label),
            }
            for i, label in enumerate(scan.channels.labels)
        ],
    }


def load_scans(studio: Studio, cards: Sequence[Card]) -> list[CardChannels]:
    """Every scan kept of these cards, oldest first."""
    by_name = {card.name: card for card in cards}
    found = []
    paths = (studio.folder / "scans").glob("*.json")
    for path in sorted(paths, key=lambda p: (p.stat().st_mtime_ns, p.name)):
        said = json.loads(path.read_text(encoding="utf-8"))
        if (card := by_name.get(said["card"])) is None:
            continue
        patches = said["patches"]
        found.append(
            CardChannels(
                card,
                np.array([p["channels"] for p in patches]),
                np.array([p["uncertainty"] for p in patches]) ** 2,
                tuple(p["patch"] for p in patches),
                Surface.of("45:0", "excluded"),
                said["source"],
            )
        )
    return found
