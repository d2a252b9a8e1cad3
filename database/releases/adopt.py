"""Takes another studio's release into this one: its paints with their numbers and provenance."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ...calibrate.errors import InputError, Sentence
from ...calibrate.fit.judging.quality import LOOK_AT_STEP, LOOK_AT_STEP_BEFORE
from ...calibrate.fit.judging.quality_figures import STRENGTH, strength_of
from ...calibrate.optics.coefficients import ABSOLUTE, TWO_FLUX, Coefficients, check_alike
from ..common.remedies import StudioDo
from ..store import schema
from ..store.in_use import lot_in_use, retire
from ..store.packing import pack_coefficients, pack_table
from ..store.paint_names import check_nickname, nickname_key
from ..store.store import Store
from ..store.transactions import OrmSession, now
from .files import SUMS, read_files, sha256
from .load import LoadedRelease, load_release
from .model_choice import steps_left_out
from .verify import verify_release


@dataclass(frozen=True)
class Conflict:
    """A nickname of the release that is this studio's already.

    Attributes
    ----------
    paint : str
        As the release has it.
    theirs, ours : str
        Name, maker and lot.
    same : bool
        Whether both are one paint by name and maker.
    words : Sentence
        What it is, and what can be done.
    """

    paint: str
    theirs: str
    ours: str
    same: bool
    words: Sentence


@dataclass(frozen=True)
class Adoption:
    """What adopting did, or would do.

    Attributes
    ----------
    release, version, digest : str
    paints : mapping of nickname in the release to nickname here
        What is adopted.
    taken : tuple of str
        Nicknames here whose fit in use is theirs from now on.
    skipped : tuple of str
        As the release has them.
    conflicts : tuple of Conflict
        What stands against it.
    fit : int or None
        Number under which it is kept here; None where nothing was done. What the release has by
        transport is kept as the next.
    """

    release: str
    version: str
    digest: str
    paints: Mapping[str, str]
    taken: tuple[str, ...]
    skipped: tuple[str, ...]
    conflicts: tuple[Conflict, ...]
    fit: int | None = None


def adopt(
    store: Store,
    path: Path,
    rename: Mapping[str, str] | None = None,
    take: Sequence[str] = (),
    skip: Sequence[str] = (),
    digest: str | None = None,
    preview: bool = False,
) -> Adoption:
    """Adopt the paints of a release, all or none.

    Parameters
    ----------
    store : Store
    path : Path
        Folder or zip.
    rename : mapping of nickname in the release to a nickname here, optional
    take : sequence of str
        Paints of both by name and maker whose numbers are theirs from now on.
    skip : sequence of str
        Paints of the release to leave.
    digest : str, optional
        Of its SHA256SUMS, as its maker gave it.
    preview : bool
        Say what would be done, and do nothing.

    Raises
    ------
    InputError
        Where the release isn't sound, its scale or surface isn't this studio's, a nickname isn't
        in it, or a conflict is left (unless it is a preview).
    """
    problems = verify_release(path, digest)
    if problems:
        raise InputError(path, None, problems[0], "don't mix by it; fetch the release again")
    release, sums = load_release(path), sha256(read_files(path)[SUMS])
    rename = dict(rename or {})
    theirs = release.tables["paints"].set_index("paint", drop=False)
    for named in (*rename, *take, *skip):
        if named not in theirs.index:
            raise InputError(path, named, "isn't in the release", "give a nickname of it")
    with store.transaction() as session:
        spelled = {paint.nickname_key: paint.nickname for paint in store.paints.all()}
        wanted = {
            paint: spelled.get(nickname_key(here), here)
            for paint in theirs.index
            if paint not in skip
            for here in [rename.get(paint, paint)]
        }
        conflicts = _conflicts(store, theirs, wanted, take)
        made = Adoption(
            release.name,
            release.version,
            sums,
            wanted,
            tuple(wanted[paint] for paint in take),
            tuple(skip),
            tuple(conflicts),
        )
        if not wanted:
            raise InputError(path, None, "nothing is left to adopt", "skip less")
        coefficients = _named_here(release.select(list(wanted)), release.name, wanted)
        _check_fits_in(store, session, release, coefficients, set(made.taken))
        if preview:
            return made
        if conflicts:
            more = f" (and {len(conflicts) - 1} more)" if len(conflicts) > 1 else ""
            raise InputError(
                path, conflicts[0].paint, Sentence(conflicts[0].words, more), StudioDo.SEE_PREVIEW()
            )
        fit = _record(store, session, release, sums, coefficients, wanted)
        beside = release.by_transport
        also = (
            {}
            if beside is None
            else {
                paint: wanted[paint]
                for paint in beside.tables["paints"]["paint"]
                if paint in wanted
            }
        )
        if beside is not None and also:
            of_theirs = _named_here(beside.select(list(also)), release.name, wanted)
            _record(store, session, beside, sums, of_theirs, also)
    return replace(made, fit=fit)


def _conflicts(
    store: Store, theirs: pd.DataFrame, wanted: Mapping[str, str], take: Sequence[str]
) -> list[Conflict]:
    ours = {paint.nickname_key: paint for paint in store.paints.all()}
    fitted = store.fits.current()
    found, seen = [], dict[str, str]()
    for paint, here in wanted.items():
        check_nickname(here)
        row, key = theirs.loc[paint], nickname_key(here)
        if key in seen:
            words = Sentence(f"would have the nickname of {seen[key]}; ", StudioDo.RENAME())
            found.append(Conflict(paint, _said(row), "", False, words))
            continue
        seen[key] = paint
        mine = ours.get(key)
        if mine is None:
            continue
        same = (mine.name, mine.maker) == (row["name"], row["maker"])
        if same and (paint in take or mine.nickname not in fitted):
            continue
        if same:
            words = Sentence(
                f"{_said(row)} has a fit here too; ", StudioDo.TAKE_OR_RENAME(paint=paint)
            )
        else:
            words = Sentence(
                f"{_said(row)} has the nickname of your {_ours(mine)}; ",
                StudioDo.RENAME_OR_SKIP(paint=paint),
            )
        found.append(Conflict(paint, _said(row), _ours(mine), same, words))
    return found


def _said(row: Any) -> str:
    lot = f", lot {row['lot']}" if row["lot"] else ""
    return f"{row['name']} ({row['maker'] or 'no maker stated'}{lot})"


def _ours(paint: schema.Paint) -> str:
    return f"{paint.name} ({paint.maker or 'no maker stated'})"


def _named_here(
    coefficients: Coefficients, release: str, wanted: Mapping[str, str]
) -> Coefficients:
    """Rename paints as here, and factors so that none passes for one of this studio's fits."""
    scale = coefficients.scale
    white = scale.removeprefix("relative to ")
    return replace(
        coefficients,
        paints=tuple(wanted[paint] for paint in coefficients.paints),
        factor_names=tuple(f"{release}, {name}" for name in coefficients.factor_names),
        scale=scale if scale == ABSOLUTE else f"relative to {wanted.get(white, white)}",
    )


def _check_fits_in(
    store: Store,
    session: OrmSession,
    release: LoadedRelease,
    theirs: Coefficients,
    taken: set[str],
) -> None:
    """Refuse numbers that can't be used beside this studio's.

    K and S in 1/mm and relative ones never mix; relative ones mix only where they are relative to
    one lot of one white.
    """
    current = [paint for paint in store.fits.current() if paint not in taken]
    if not current:
        return
    parts = store.fits.parts(current, TWO_FLUX)
    try:
        check_alike([*parts, theirs])
    except InputError as error:
        # Theirs can't be fitted anew here, as that line would advise.
        raise InputError(
            release.name, error.where, error.expected, "adopt it into an empty studio of its own"
        ) from None
    if theirs.scale == ABSOLUTE:
        return
    white = theirs.scale.removeprefix("relative to ")
    ours, named = lot_in_use(session, white), _lot_of_white(release)
    if not named or ours != named:
        raise InputError(
            release.name,
            f"scale {theirs.scale}",
            f"is relative to lot {named or '(not stated)'} of that white, yours to lot "
            f"{ours or '(not stated)'}",
            "only K and S relative to one lot of a white, or in 1/mm, can be used together",
        )


def _lot_of_white(release: LoadedRelease) -> str:
    """Lot of the white that a release is relative to."""
    paints = release.tables["paints"]
    white = str(paints["scale"].iloc[0]).removeprefix("relative to ")
    return next((str(lot) for lot in paints.loc[paints["paint"] == white, "lot"]), "")


def _record(
    store: Store,
    session: OrmSession,
    release: LoadedRelease,
    digest: str,
    coefficients: Coefficients,
    wanted: Mapping[str, str],
) -> int:
    """Keep the numbers as one fit, so that what its paints share stays shared."""
    tables, packed = release.tables, pack_coefficients(coefficients)
    theirs = tables["paints"].set_index("paint", drop=False)
    fits = tables["fits"][tables["fits"]["fit"].isin(theirs.loc[list(wanted), "fit"])]
    adopted = {
        "release": release.name,
        "version": release.version,
        "digest": digest,
        "paints": dict(wanted),
        "fits": [
            {**row, "settings": json.loads(row["settings"]), "inputs": json.loads(row["inputs"])}
            for row in fits[
                ["fit", "created", "code_version", "settings", "inputs", "coefficients_sha256"]
            ].to_dict("records")
        ],
    }
    row = schema.Fit(
        created=now(),
        code_version=str(fits["code_version"].iloc[0]),
        settings={},
        inputs={"sessions": [], "tubes": [], "known": None, "adopted": adopted},
        coefficients=packed,
        coefficients_sha256=hashlib.sha256(packed).hexdigest(),
        nuisances=pack_table(tables["nuisances"].iloc[:0].drop(columns="fit")),
    )
    session.add(row)
    known = {paint.nickname_key: paint for paint in store.paints.all()}
    patches = tables["patches"].iloc[:0].drop(columns=["fit", "paint"])
    left_out = steps_left_out(release)
    for paint, here in wanted.items():
        said: Any = theirs.loc[paint]
        mine = known.get(nickname_key(here)) or _new_paint(session, said, here)
        lot = next((lot for lot in mine.lots if lot.lot == said["lot"]), None)
        if lot is None:
            lot = schema.Lot(lot=said["lot"], on_hand=False, note=f"of {release.name}")
            mine.lots.append(lot)
        session.flush()
        retire(session, mine, None if coefficients.model == TWO_FLUX else coefficients.model)
        white = wanted.get(said["white"])
        row.paint_fits.append(
            schema.PaintFit(
                paint=mine,
                lot=lot,
                model=coefficients.model,
                current=True,
                beside=[mine.nickname, *([white] if white and white != here else [])],
                verdict=said["verdict"].replace(LOOK_AT_STEP_BEFORE, LOOK_AT_STEP),
                reasons=[reason for reason in str(said["reasons"]).split("; ") if reason],
                de00_mean=_number(said["de00_mean"]),
                de00_max=_number(said["de00_max"]),
                # Its patches are of cards that aren't here.
                patches=pack_table(patches),
                residuals=pack_table(pd.DataFrame(columns=_RESIDUALS)),
                quality=_quality_here(tables["quality"], paint, wanted),
                left_out=_number(left_out.get(paint, np.nan)),
            )
        )
    session.flush()
    return int(row.id)


_RESIDUALS = ["card", "patch", "wavelength", "measured", "fitted", "sigma"]


def _quality_here(quality: pd.DataFrame, paint: str, wanted: Mapping[str, str]) -> bytes | None:
    """Return what the release says of a paint's quality, paints named as here."""
    mine = quality[quality["paint"] == paint].drop(columns="model")
    if mine.empty:
        return None
    named = mine.assign(
        **{key: mine[key].map(lambda text: wanted.get(text, text)) for key in _NICKNAMES}
    )
    rows = [{str(key): x for key, x in row.items()} for row in named.to_dict("records")]
    said = [
        str(strength_of(row, {})) if row["quantity"] == STRENGTH else row["words"] for row in rows
    ]
    return pack_table(named.assign(words=said))


_NICKNAMES = ("paint", "against", "white")


def _new_paint(session: OrmSession, said: Any, here: str) -> schema.Paint:
    row = schema.Paint(
        nickname=here,
        nickname_key=nickname_key(here),
        name=said["name"],
        maker=said["maker"],
        range=said["range"],
        pigments=str(said["pigments"]).split(),
        binder=said["binder"],
        finish=said["finish"],
    )
    session.add(row)
    return row


def _number(value: float) -> float | None:
    return None if pd.isna(value) else float(value)
