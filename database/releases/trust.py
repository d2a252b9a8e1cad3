"""How far a release can be trusted: three verdicts, of three kinds, which are never merged.

Who signed it. Whether its numbers follow from its own readings, fitted anew. What can't be checked:
a fit whose readings aren't in it, and whether readings and labels are true, for which only its
maker can stand.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from .files import SUMS, sha256
from .load import LoadedRelease
from .refit import Outcome, Refit, refit_release
from .signing import Signature, checked_public, signature
from .verify import look_over

if TYPE_CHECKING:
    from ..store.keys import Keys


@dataclass(frozen=True)
class Trust:
    """What is to be said of a release before it is mixed by.

    Attributes
    ----------
    release : LoadedRelease or None
        None where it isn't as it was published.
    digest : str
        Of its SHA256SUMS.
    problems : tuple of str
        Why it isn't as it was published, or can't be right; empty where nothing is wrong.
    refits : tuple of Refit, or None
        Its fits, fitted anew; None where that was left out.
    """

    release: LoadedRelease | None
    digest: str
    problems: tuple[str, ...]
    signature: Signature
    refits: tuple[Refit, ...] | None

    def fits(self, outcome: Outcome, paints: Collection[str] | None = None) -> list[Refit]:
        """Return the fits that came out so, of some paints (default: of all)."""
        return [
            fit
            for fit in self.refits or ()
            if fit.outcome == outcome and (paints is None or set(fit.paints) & set(paints))
        ]

    @property
    def doubts(self) -> list[str]:
        """Return what speaks against it: damage, and numbers that its readings don't give."""
        return [*self.problems, *(f"coefficients.csv: {fit.line}" for fit in self.fits("differs"))]

    @cached_property
    def lines(self) -> list[str]:
        """Say the three verdicts, each in lines of its own; of a damaged one there are none."""
        if self.problems:
            return []
        said = [f"Signed: {self.signature.line}."]
        if self.refits is None:
            said.append("Its readings: not fitted anew.")
        said += [f"Follows from its readings: {fit.line}." for fit in self.fits("follows")]
        said += [f"Doesn't follow from its readings: {fit.line}." for fit in self.fits("differs")]
        said += [f"Can't be checked: {fit.line}." for fit in self.fits("unchecked")]
        what = "whether readings, labels, quality figures and checks of mixtures are true"
        said.append(
            f"Can't be checked: {what}; for that you trust who signed it."
            if self.signature.vouched
            else f"Can't be checked: {what}. They are unproven: nobody known here stands for them."
        )
        return said


def judge(
    path: str | Path,
    digest: str | None = None,
    keys: Keys | None = None,
    quick: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> Trust:
    """Look a release over, folder or zip; nothing is asked of any network.

    Parameters
    ----------
    digest : str, optional
        SHA-256 of its SHA256SUMS, as its maker gave it.
    keys : Keys, optional
        Those that this studio knows.
    quick : bool
        Don't fit it anew.
    progress : callable, optional
        Called with what goes on.

    Raises
    ------
    InputError
        Where it is no release at all, or a zip that must not be opened.
    """
    found = look_over(path, digest)
    sums = sha256(found.files.get(SUMS, b""))
    if (release := found.release) is None:
        return Trust(None, sums, tuple(found.problems), Signature("nobody"), None)
    said = str(release.descriptor.get("studio", ""))
    who = signature(checked_public(found.files), said, keys)
    refits = None if quick else tuple(refit_release(release, progress))
    return Trust(release, sums, (), who, refits)
