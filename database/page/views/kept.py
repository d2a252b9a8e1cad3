"""Kept recipes and their batches, and what each batch dried to."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from ....calibrate.errors import InputError
from ....calibrate.formats.read import read_session
from ...cards.scanning import PICTURES
from ...easel.asked_colour import in_session
from ...easel.basis import Manner, names_of
from ...easel.batches import batch_words
from ...easel.habits import weighing
from ...easel.swatches import dried, keep_swatch
from ...mixing.target import Target
from ...pictures.swatch import swatch
from ...store import schema
from ...store.recipes import Kept
from ...store.store import Store
from ..asked import Asked, go, shown, view
from ..remedies import on_page
from ..touching import SPOTS, touched
from ..uploads import ACCEPTED, keep, kept
from ..worksheet import aim, photo_of, shown_size, shown_spot


@view
def all_kept(asked: Asked) -> Response:
    """Every kept recipe with its batches; of one the photograph of its swatch."""
    chosen = {key: asked.text(key) for key in ("batch", "photo", *SPOTS) if asked.text(key)}
    at = f"batch-{chosen.get('batch', '')}"
    if asked.text("spot.x"):
        photo = photo_of(kept(asked.studio, [asked.text("photo")])[0])
        return go("/kept", chosen | touched(asked, photo), at=at)
    said: dict[str, Any] = {"fault": None, "target": None, "size": None}
    with asked.store() as store:
        found, names = store.recipes.all(), names_of(store)
        said["scale"] = weighing(store).measuring.scale
        if "photo" in chosen:
            try:
                said["size"] = shown_size(photo_of(kept(asked.studio, [chosen["photo"]])[0]))
                said["target"] = shown_spot(asked, store) if "at" in chosen else None
            except InputError as error:
                said["fault"] = on_page(error)
    return asked.show(
        "kept.html", kept=found, names=names, dried=_dried, seen=_seen, swatch=swatch,
        manner=Manner.of_kept, chosen=chosen, touched=SPOTS | {"at": "the dried swatch"},
        accepted=ACCEPTED, measured_out=batch_words,
        spots=urlencode({key: chosen[key] for key in SPOTS if key in chosen}), **said,
    )  # fmt: skip


def _dried(each: Kept, batch: schema.Batch) -> Any:
    return dried(each.of[batch.recipe_id], batch)


def _seen(batch: schema.Batch) -> str:
    return shown(batch.swatch)


@view
def take_swatch(asked: Asked) -> Response:
    """Keep what a batch dried to; a photograph is first shown, to touch its spot."""
    number, uploads = asked.path("batch"), asked.uploads("files")
    files = keep(asked.studio, uploads) if uploads else []
    if len(files) > 1 or (files and asked.text("colour")):
        raise InputError(None, None, "expected one file or one colour", "give one of them")
    if files and files[0].suffix.lower() in PICTURES:
        return go("/kept", {"batch": number, "photo": files[0].name}, at=f"batch-{number}")
    with asked.store() as store, store.transaction():
        name, batch = _batch(store, number)
        asked.still(batch.swatch, "what that batch dried to")
        if asked.text("photo"):
            keep_swatch(store, name, shown_spot(asked, store), batch.id)
        elif files:
            keep_swatch(store, name, _in_file(asked, files[0]), batch.id)
        elif asked.text("colour"):
            keep_swatch(store, name, aim(store, asked.text("colour")), batch.id)
        else:
            raise InputError(None, None, "nothing was said", "say its colour, or drop a file")
    return go("/kept", at=f"batch-{number}")


def _in_file(asked: Asked, path: Path) -> Target:
    stated = {key: asked.text(key) or None for key in ("unit", "geometry", "specular")}
    return in_session(read_session(path, **stated), path.name, asked.text("patch"))


def _batch(store: Store, number: str) -> tuple[str, schema.Batch]:
    for each in store.recipes.all():
        for batch in each.batches:
            if str(batch.id) == number:
                return each.recipe.name, batch
    raise InputError(None, number, "there is no such batch", "see Kept")
