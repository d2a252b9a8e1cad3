"""Scanners and phones: shown a reference target once, so that their pictures can be trusted."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import quote, urlencode

from starlette.responses import FileResponse, Response

from ....calibrate.errors import InputError
from ...cards.characterising import characterise_device, device_words, parse_corners, use_words
from ...cards.scan_files import overlay_of_scanner
from ...cards.scanning import PICTURES
from ..asked import Asked, view
from ..jobs import Progress
from ..uploads import ACCEPTED, keep, kept


@view
def scanners(asked: Asked) -> Response:
    """The devices that were characterised, and how to add one."""
    with asked.store() as store:
        devices = [each.device for each in store.scanners.all()]
    return asked.show(
        "scanners.html", devices=devices, words=device_words, use=use_words, accepted=ACCEPTED,
        card=asked.text("card"), again=asked.texts("again"), name=asked.text("name"),
    )  # fmt: skip


@view
def characterise(asked: Asked) -> Response:
    """Characterise a device from its picture of a target and the target's values."""
    again = asked.texts("again")
    files = kept(asked.studio, again) if again else keep(asked.studio, asked.uploads("files"))
    pictures = [file for file in files if file.suffix.lower() in PICTURES]
    values = [file for file in files if file not in pictures]
    if (len(pictures), len(values)) != (1, 1):
        raise InputError(
            None, ", ".join(file.name for file in files),
            "expected the picture of the target and the file of its values", "choose both at once",
        )  # fmt: skip
    name, card = asked.text("name") or "scanner", asked.text("card")
    corners = parse_corners(asked.text("corners")) if asked.text("corners") else None

    def work(progress: Progress) -> str:
        with asked.store(create=True) as store:
            made = characterise_device(
                store, name, pictures[0], values[0], corners=corners, progress=progress
            )
        return f"/cards/{card}#read" if card else f"/scanners?fresh={quote(made.device.name)}"

    query = {"again": [file.name for file in files], "name": name} | (
        {"card": card} if card else {}
    )
    return asked.job("Getting to know the scanner", f"/scanners?{urlencode(query, True)}", work)


@view
def overlay(asked: Asked) -> Response:
    """The target's picture with what was read where."""
    with asked.store() as store:
        found = store.scanners.find(asked.path("name"))
    path = overlay_of_scanner(asked.studio, found.device.name) if found else Path()
    if not path.is_file():
        raise InputError(None, path.name, "isn't there any more", "show it the target again")
    return FileResponse(path, media_type="image/png")
