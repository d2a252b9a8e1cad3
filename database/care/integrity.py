"""Looks a studio over: is it whole, does anything hang loose, is anything out of date."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from ...calibrate.errors import InputError, Remedy
from ..common.files import is_leftover, leftovers
from ..common.remedies import StudioDo
from ..fits.out_of_date import outdated_in_use
from ..releases.publish import releases
from ..releases.verify import verify_release
from ..store import soundness
from ..store.packing import unpack_coefficients
from ..store.store import Store
from ..store.transactions import OrmSession

CALIBRATION_HOLDS = timedelta(days=1)
"""How long a calibration on the tile holds (common practice, no source)."""


@dataclass(frozen=True)
class Damage:
    """Something found.

    Attributes
    ----------
    kind : {"integrity", "orphan", "stale"}
    broken : bool
        Whether the studio can't be relied on as it is.
    do : str or Remedy
        What to do about it.
    """

    kind: str
    broken: bool
    words: str
    do: str | Remedy

    def as_dict(self) -> dict[str, Any]:
        """Return it for machines."""
        return vars(self)


def check_studio(store: Store, progress: Callable[[str], None] = lambda _: None) -> list[Damage]:
    """Look a studio over.

    Parameters
    ----------
    progress : callable, optional
        Called with what goes on.

    Returns
    -------
    list of Damage
        What is broken first; empty where all is well.
    """
    found: list[Damage] = []
    with store.snapshot() as session:
        for what, look in (
            ("the database", _database),
            ("cards", _cards),
            ("readings", _readings),
            ("fits", _fits),
            ("calibrations", _calibrations),
        ):
            progress(what)
            found += look(session)
        progress("sittings")
        found += _sittings(store)
        for each in outdated_in_use(session):
            words = f"fit {each.fit} of {each.some} {each.why}"
            found.append(Damage("stale", False, words, StudioDo.FIT_AGAIN()))
    progress("releases")
    found += _releases(store)
    found += _leftovers(store)
    return sorted(found, key=lambda finding: not finding.broken)


def _damaged(kind: str, words: str) -> Damage:
    """Something that only a backup mends."""
    return Damage(kind, True, words, StudioDo.RESTORE())


def _database(session: OrmSession) -> Iterable[Damage]:
    for said in soundness.file_damage(session):
        yield _damaged("integrity", f"the database file is damaged: {said}")
    for row, table, other in soundness.lost_parents(session):
        yield _damaged("orphan", f"row {row} of {table} belongs to a row of {other} that is gone")


def _cards(session: OrmSession) -> Iterable[Damage]:
    for card in soundness.changed_cards(session):
        yield _damaged("integrity", f"card {card} isn't as its file was")


def _readings(session: OrmSession) -> Iterable[Damage]:
    for kind, number, file, held in soundness.emptied(session):
        yield _damaged("orphan", f"{kind} {number} ({file}) has no {held}")
    for card in soundness.never_read(session):
        yield Damage("orphan", False, f"card {card} was never read", StudioDo.READ())


def _fits(session: OrmSession) -> Iterable[Damage]:
    for fit, packed, gone in soundness.kept_fits(session):
        if packed is None:
            yield _damaged("integrity", f"the numbers of fit {fit} were changed")
            continue
        coefficients = unpack_coefficients(packed)
        bad = (coefficients.k < 0) | (coefficients.s < 0)
        if bad.any() or np.isinf([coefficients.k, coefficients.s]).any():
            words = f"fit {fit} has a K or S that can't be"
            yield Damage("integrity", True, words, StudioDo.FIT_AGAIN())
        for kind, number in gone:
            yield _damaged("orphan", f"fit {fit} rests on {kind} {number}, which is gone")


def _calibrations(session: OrmSession) -> Iterable[Damage]:
    for number, read_on, device, done in soundness.calibrated_sessions(session):
        late = date.fromisoformat(read_on[:10]) - date.fromisoformat(done[:10])
        if late > CALIBRATION_HOLDS:
            when = f"{late.days} days after its calibration"
        elif late < timedelta(0):
            when = f"on {read_on[:10]}, but the calibration that it names is of {done[:10]}"
        else:
            continue
        yield Damage(
            "stale",
            False,
            f"session {number} was read with {device} {when}",
            "calibrate on the day, and read its card again",
        )


def _sittings(store: Store) -> Iterable[Damage]:
    for sitting in store.sittings.open():
        yield Damage(
            "stale", False, f"card {sitting.card} is being measured since {sitting.started}",
            StudioDo.GO_ON(card=sitting.card),
        )  # fmt: skip


def _releases(store: Store) -> Iterable[Damage]:
    folder = store.studio.releases
    rows = releases(store)
    for row in rows:
        places = [folder / row.name, folder / f"{row.name}.zip"]
        there = [place for place in places if place.exists()]
        if not there:
            yield Damage(
                "orphan", False, f"release {row.version} was published, but isn't in {folder}",
                "bring its zip back there",
            )  # fmt: skip
        for place in there:
            try:
                problems = verify_release(place, row.digest)
            except InputError as error:
                problems = [str(error)]
            if problems:
                yield Damage(
                    "integrity", True, f"release {place.name}: {problems[0]}",
                    "don't mix by it; bring it back from where you shared it",
                )  # fmt: skip
    names = {f"{row.name}{end}" for row in rows for end in ("", ".zip", ".zip.sha256")}
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        if path.name not in names and not is_leftover(path.name):
            yield Damage(
                "orphan", False, f"{path.name} in {folder.name} is of no release published here",
                "delete it, or adopt it if it is another studio's",
            )  # fmt: skip


def _leftovers(store: Store) -> Iterable[Damage]:
    """Name what killed runs left, and the databases that were kept before a large change."""
    for path in leftovers(store.studio.folders):
        yield Damage(
            "orphan", False,
            f"{path.name} in {path.parent.name} is of a run that still goes on, or was cut short",
            "nothing: an hour after its last change it is cleared away",
        )  # fmt: skip
    for path in sorted(store.studio.folder.glob("studio-before-*.db")):
        yield Damage(
            "orphan", False, f"{path.name} is the database as it was before a migration or a "
            "restore", "delete it once you are content with the studio as it is",
        )  # fmt: skip
