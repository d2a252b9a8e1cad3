"""Takes another studio's release into this one: its paints with their numbers and provenance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from ...calibrate.errors import InputError, Sentence
from ...calibrate.optics.coefficients import ABSOLUTE, TWO_FLUX, Coefficients, check_alike
from ..common.remedies import StudioDo
from ..store import schema
from ..store.in_use import lot_in_use
from ..store.paint_names import check_nickname, nickname_key
from ..store.store import Store
from ..store.transactions import OrmSession
from .adopted_rows import record
from .load import LoadedRelease
from .signing import Signature
from .trust import Trust, judge


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
    paints : mapping of nickname in the release to nickname here
        What is adopted.
    taken : tuple of str
        Nicknames here whose fit in use is theirs from now on.
    skipped : tuple of str
        As the release has them.
    conflicts : tuple of Conflict
        What stands against it.
    signature : Signature
        Who signed it.
    verdicts : tuple of str
        What is to be said of it (see `tintladder.database.releases.trust.Trust.lines`).
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
    signature: Signature
    verdicts: tuple[str, ...]
    fit: int | None = None


def adopt(
    store: Store,
    path: Path,
    rename: Mapping[str, str] | None = None,
    take: Sequence[str] = (),
    skip: Sequence[str] = (),
    digest: str | None = None,
    preview: bool = False,
    unproven: bool = False,
    trust: Trust | None = None,
) -> Adoption:
    """Adopt the paints of a release, all or none, and remember who signed it.

    Its fits are fitted anew from the readings in it first, unless it is a preview.

    Parameters
    ----------
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
    unproven : bool
        Also where a fit can't be checked, or another key signs than its studio had before.
    trust : Trust, optional
        What `judge` found of it; default: it is asked.

    Raises
    ------
    InputError
        Where the release isn't as it was published, its numbers don't follow from its readings or
        can't be checked, its scale or surface isn't this studio's, a nickname isn't in it, or a
        conflict is left (unless it is a preview).
    """
    trust = trust or judge(path, digest, store.keys, quick=preview)
    if trust.doubts or trust.release is None:
        raise InputError(path, None, trust.doubts[0], "don't mix by it; fetch the release again")
    release, sums = trust.release, trust.digest
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
            trust.signature,
            tuple(trust.lines),
        )
        if not wanted:
            raise InputError(path, None, "nothing is left to adopt", "skip less")
        coefficients = _named_here(release.select(list(wanted)), release.name, wanted)
        _check_fits_in(store, session, release, coefficients, set(made.taken))
        if preview:
            return made
        if not unproven:
            _check_proven(path, trust, wanted)
        if conflicts:
            more = f" (and {len(conflicts) - 1} more)" if len(conflicts) > 1 else ""
            raise InputError(
                path, conflicts[0].paint, Sentence(conflicts[0].words, more), StudioDo.SEE_PREVIEW()
            )
        if trust.signature.public and trust.signature.studio:
            store.keys.remember(trust.signature.studio, trust.signature.public, release.name)
        fit = record(store, session, release, sums, coefficients, wanted)
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
            record(store, session, beside, sums, of_theirs, also)
    return replace(made, fit=fit)


def _check_proven(path: Path, trust: Trust, wanted: Mapping[str, str]) -> None:
    """Refuse what only someone's word stands for, unless that is said to be enough."""
    unchecked = trust.fits("unchecked", wanted)
    if trust.signature.suspect:
        wrong = trust.signature.line
    elif unchecked:
        wrong = f"is unproven: {unchecked[0].line}"
    else:
        return
    raise InputError(path, None, wrong, StudioDo.ADOPT_UNPROVEN())


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
