"""What was read of cards: files taken in, pictures looked at, an import taken back."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from starlette.responses import FileResponse, Response

from ....calibrate.errors import InputError
from ...cards.characterising import read_by_known_device
from ...cards.history import read_of
from ...cards.intake import take_in
from ...cards.progress import card_number, named_card
from ...cards.scan_files import overlay_of_scan
from ...cards.scanning import PICTURES, take_picture
from ..asked import Asked, Changed, go, view
from ..jobs import Progress
from ..uploads import keep, kept
from .adopt import ARCHIVES, show_release


@dataclass(frozen=True)
class Said:
    """What was said of files that don't say it themselves; see `take_in`."""

    unit: str | None
    geometry: str | None
    specular: str | None
    only: str | None


@view
def read_card(asked: Asked) -> Response:
    """Take in files dropped on a card."""
    with asked.store() as store:
        number, known, _ = named_card(store, asked.path("card"))
    grey, typed = None, asked.text("grey").replace(",", ".")
    if typed:
        grey = _share(typed)
    device, without = asked.text("device") or None, asked.texts("without")

    def work(files: Sequence[Path], said: Said, progress: Progress) -> str:
        pictures = [path for path in files if path.suffix.lower() in PICTURES]
        with asked.store() as store:
            scans = [
                read_by_known_device(
                    store, path, known.name, device, grey, without, progress=progress
                )[0]
                for path in pictures
            ]
            with store.transaction():
                if rest := [path for path in files if path not in pictures]:
                    take_in(store, rest, known.name, **vars(said))
                for scan in scans:
                    take_picture(store, scan)
        return f"/cards/{number}"

    return _read(asked, f"/cards/{number}", work)


def _share(typed: str) -> float:
    """Read the reflectance of a grey card, a fraction or with % behind it."""
    found = re.fullmatch(r"(\d*\.?\d+)\s*(%?)", typed)
    share = float(found[1]) / (100 if found[2] else 1) if found else 0.0
    if not 0.02 <= share <= 0.95:
        raise InputError(
            "grey", typed, "expected a reflectance from 0.02 to 0.95", "write 0.18 or 18 %"
        )
    return share


@view
def read_any(asked: Asked) -> Response:
    """Take in files dropped anywhere: each says what it is, and which card it is of by its name."""
    uploads = asked.uploads("files")
    if uploads and all(Path(each.filename or "").suffix.lower() in ARCHIVES for each in uploads):
        return show_release(asked)

    def work(files: Sequence[Path], said: Said, progress: Progress) -> str:
        progress("reading")
        with asked.store(create=True) as store:
            taken = take_in(store, files, **vars(said))
            cards = {item.card for item in taken if item.card}
            if len(cards) == 1:
                return f"/cards/{card_number(store, cards.pop())}"
            return "/cards" if cards else "/tubes"

    return _read(asked, "/cards", work)


def _read(
    asked: Asked,
    back: str,
    work: Callable[[Sequence[Path], Said, Progress], str],
) -> Response:
    again = asked.texts("again")
    files = kept(asked.studio, again) if again else keep(asked.studio, asked.uploads("files"))
    said = Said(*(asked.text(key) or None for key in ("unit", "geometry", "specular", "only")))
    names = [path.name for path in files]
    title = f"Reading {names[0]}" if len(names) == 1 else f"Reading {len(names)} files"
    # Where it can't be read the files are there still: only what was missing is asked for.
    retry = f"{back}?{urlencode({'again': names}, doseq=True)}#read"
    return asked.job(title, retry, lambda progress: work(files, said, progress))


@view
def overlay(asked: Asked) -> Response:
    """A scan with what was read where."""
    with asked.store() as store:
        number, known, _ = named_card(store, asked.path("card"))
        scans = [read.scan for read in read_of(store, number) if read.scan is not None]
    found = next((scan for scan in scans if str(scan.id) == asked.path("scan")), None)
    path = overlay_of_scan(asked.studio, known.name, found.sha256) if found else Path()
    if not path.is_file():
        raise InputError(None, "overlay", "isn't there any more", "read the picture again")
    return FileResponse(path, media_type="image/png")


@view
def take_back(asked: Asked) -> Response:
    """Undo the last import, if it is the one that was shown."""
    with asked.store() as store, store.transaction():
        last = store.imports.last()
        if last is None or str(last.id) != asked.text("seen"):
            raise Changed("what was read last")
        store.imports.undo()
    return go(asked.text("back") if asked.text("back").startswith("/cards/") else "/cards")
