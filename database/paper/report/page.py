"""A release as one page that opens anywhere: every paint as it looks, and how far to trust it."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from jinja2 import Environment
from markupsafe import Markup

from ....calibrate.fit.judging.hiding import COAT_UM
from ....calibrate.fit.judging.quality_report import IN_THE_MANNER
from ....calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from ....calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ....calibrate.optics.colour import in_words
from ....calibrate.optics.transport import TRANSPORT
from ...common.one_page import hash_of, page_environment, page_text
from ...fits.check_mixtures import rms
from ...mixing.ladder import ratio_label
from ...mixing.model_choice import LETTERS, WORDS
from ...mixing.prediction import mix_words
from ...mixing.viewing import AS_SEEN, of_reading
from ...pictures.swatch import FILM_UM, Swatch, swatches
from ...releases.load import LoadedRelease
from ...releases.model_choice import tried
from ...releases.words import caution_lines, citation
from .fits import Packed, held_out, learnt_from, unpack
from .models import fared, shown_by
from .paint import PaintPage, paint_page, unbroken
from .pictures import (
    COMPASS,
    SIDE,
    Scale,
    hue_picture,
    ks_picture,
    lightness_picture,
    reflectance_picture,
)
from .wall import record_of_release, wall_plates

ORDERS = (
    ("name", "name"),
    ("light", "masstone, dark to light"),
    ("hue", "hue, round the circle"),
    ("strength", "tinting strength, strongest first"),
    ("hiding", "hiding, best first"),
    ("miss", "fit, nearest first"),
)
"""What paints can be ordered by: key, and how it is said."""


@dataclass(frozen=True)
class HeldOutMixture:
    """A mixture that no fit saw.

    Attributes
    ----------
    words : str
        What it is made of.
    off : mapping of ground to float
        CIEDE2000 between predicted and read.
    predicted, read : Swatch or None
        Over the first of the grounds.
    unsure : mapping of ground to float
        CIEDE2000 that the scan would show were all well, where it was scanned.
    """

    words: str
    step: str
    off: Mapping[str, float]
    predicted: Swatch | None
    read: Swatch | None
    unsure: Mapping[str, float]

    @property
    def tells(self) -> list[float]:
        """The differences over grounds that were read surely enough to tell of mixes."""
        return [off for over, off in self.off.items() if self.sure_to(over) <= MOST_SCAN_ERROR]

    def sure_to(self, over: str) -> float:
        """The scan's own error over a ground; 0 where it was measured."""
        return self.unsure.get(over, 0.0)

    @property
    def worst(self) -> float:
        """The larger difference."""
        return max(self.off.values())


@dataclass(frozen=True)
class Verdict:
    """How good a database is, by mixtures that it never saw.

    Attributes
    ----------
    mixtures : tuple of HeldOutMixture
        The worst first.
    mean, p95, worst : float
        CIEDE2000 of those that tell; NaN without any.
    by : str
        The model that predicted them, in words.
    taught : tuple of str
        Cards whose mixtures the fits learnt from: each mixture of theirs was predicted by a fit
        that left it out, whose colours the release doesn't hold.
    """

    mixtures: tuple[HeldOutMixture, ...]
    mean: float
    p95: float
    worst: float
    by: str = ""
    taught: tuple[str, ...] = ()

    @property
    def counts(self) -> list[tuple[str, int]]:
        """How many patches are off by how much, in words, nearest first."""
        said = [in_words(off) for m in self.mixtures for off in m.tells]
        words = [in_words(limit) for limit in (0.5, 1.5, 3.0, 9.0)]
        return [(word, said.count(word)) for word in words if word in said]

    @property
    def patches(self) -> int:
        """How many patches tell."""
        return sum(len(m.tells) for m in self.mixtures)

    @property
    def blind(self) -> int:
        """How many patches were scanned too unsurely to tell."""
        return sum(len(m.off) for m in self.mixtures) - self.patches

    @property
    def scanned(self) -> int:
        """How many of the patches that tell were scanned."""
        return len(self._errors)

    @property
    def scan_error(self) -> float:
        """The scans' own error in these, root mean square."""
        return rms(self._errors)

    @property
    def _errors(self) -> list[float]:
        each = (error for m in self.mixtures for error in m.unsure.values())
        return [error for error in each if error <= MOST_SCAN_ERROR]


def report(
    release: LoadedRelease,
    digest: str = "",
    progress: Callable[[str], None] = lambda _: None,
) -> str:
    """Make the page of a release: HTML that needs nothing else, neither net nor server.

    The same release gives the same bytes.

    Parameters
    ----------
    digest : str, optional
        Of its ``SHA256SUMS``, to be told it by.
    progress : callable, optional
        Called with what goes on.

    Raises
    ------
    InputError
        Where its tables don't hang together.
    """
    packed, table = unpack(release), release.tables["paints"]
    names, by = _names(table), shown_by(release)
    beside = next((each for each in by.values() if each is not release), None)
    whole = {id(release): packed}
    if beside is not None:
        whole[id(beside)] = unpack(beside, packed)
    pages = []
    for n, paint in enumerate(table["paint"], 1):
        progress(f"paint {n} of {len(table)}")
        mine = by[paint].tables
        row = mine["paints"][mine["paints"]["paint"] == paint].to_dict("records")[0]
        pages.append(
            paint_page(
                {str(key): value for key, value in row.items()},
                by[paint].coefficients,
                whole[id(by[paint])],
                mine,
                names,
            )
        )
    pages.sort(key=lambda page: (page.name.casefold(), page.nickname))
    return _render(release, packed, pages, names, digest, by)


def _render(
    release: LoadedRelease,
    packed: Packed,
    pages: Sequence[PaintPage],
    names: Mapping[str, str],
    digest: str,
    by: Mapping[str, LoadedRelease],
) -> str:
    seen = [page.line for page in pages] + [[s.lab for _, s in page.read] for page in pages]
    colours = np.concatenate([np.reshape(c, (-1, 3)) for c in seen])
    numbers = list({id(each): each.coefficients for each in by.values()}.values())
    scale = Scale.of(colours, numbers)
    letters = [LETTERS[c.model] for c in numbers]
    # As the model has it that most paints are shown by.
    most = Counter(id(each) for each in by.values()).most_common(1)[0][0]
    used = next(each for each in by.values() if id(each) == most)
    style, script = page_text(__package__, "report.css"), page_text(__package__, "report.js")
    template = _environment().get_template("report.html")
    descriptor = release.descriptor
    code = str(descriptor.get("made_with", "")).rpartition(" ")[2]
    created = str(descriptor.get("created", ""))
    return template.render(
        name=release.name,
        version=release.version,
        created=created[:10],
        gates=descriptor.get("gates", {}),
        digest=digest,
        cite=citation("Paints", release.version, created, len(pages), code).strip(),
        cautions=caution_lines(),
        pages=pages,
        anchors=_anchors([page.nickname for page in pages]),
        pictures={
            page.nickname: _pictures(page, by[page.nickname].coefficients, scale, names)
            for page in pages
        },
        spectrum=" and ".join(letters[0]) + ", " if len(letters) == 1 else "",
        absorbs=" or ".join(each[0] for each in letters),
        scatters=" or ".join(each[1] for each in letters),
        fared=fared(release),
        models=WORDS,
        scale=scale,
        side=SIDE,
        compass=COMPASS,
        verdict=_verdict(release, packed, names),
        plates=[replace(each, svg=Markup(each.svg)) for each in wall_plates(used, names)],
        record=record_of_release(used, names),
        orders=ORDERS,
        reference=next((p.strength.reference for p in pages if p.strength), ""),
        names=names,
        unit="1/mm" if release.coefficients.scale == ABSOLUTE else release.coefficients.scale,
        absolute=release.coefficients.scale == ABSOLUTE,
        seen=AS_SEEN.words,
        read=of_reading(release.coefficients.surface).words,
        film_um=FILM_UM,
        coat_um=COAT_UM,
        manner=IN_THE_MANNER,
        style=Markup(style),
        script=Markup(script),
        style_hash=hash_of(style),
        script_hash=hash_of(script),
    )


def _names(paints: pd.DataFrame) -> dict[str, str]:
    """Names by nickname; where two makers call a paint the same, its nickname goes with it."""
    twice = paints["name"].duplicated(keep=False)
    rows = zip(paints["paint"], paints["name"], twice, strict=True)
    return {paint: f"{name} ({paint})" if double else name for paint, name, double in rows}


def _pictures(
    page: PaintPage, coefficients: Coefficients, scale: Scale, names: Mapping[str, str]
) -> dict[str, Any]:
    ends = ("masstone", names.get(page.steps.white or "", ""))
    return {
        "hue": hue_picture(page.line, page.read, ends[:1], scale),
        "lightness": lightness_picture(page.line, page.read, ends, scale),
        "reflectance": reflectance_picture(page.steps, scale),
        "ks": ks_picture(coefficients, page.nickname, scale),
        "letters": LETTERS[coefficients.model],
    }


def _verdict(release: LoadedRelease, packed: Packed, names: Mapping[str, str]) -> Verdict:
    beside = release.by_transport
    if beside is not None and len(beside.tables["checks"]):
        release = beside if tried(release).nearer == TRANSPORT else release
    table, check = held_out(release, packed)
    if table.empty:
        return Verdict((), np.nan, np.nan, np.nan)
    taught = learnt_from(release.tables)
    looks: dict[tuple[str, str, str], tuple[Swatch | None, Swatch | None]] = {}
    if check is not None and len(check.patches):
        grid = release.coefficients.wavelengths
        guesses = swatches(check.prediction.reflectance, grid)
        seen = swatches(check.measured, grid)
        where = check.patches[["card", "step", "over"]].itertuples(index=False, name=None)
        looks = dict(zip(where, zip(guesses, seen, strict=True), strict=True))
    made = _masses(release.tables["drawdowns"], names)
    found = []
    steps = dict.fromkeys(table[["card", "step"]].itertuples(index=False, name=None))
    for card, step in steps:
        rows = table[(table["card"] == card) & (table["step"] == step)]
        offs = dict(zip(rows["over"], rows["de00"].tolist(), strict=True))
        over = "white" if "white" in offs else next(iter(offs))
        predicted, read = looks.get((card, step, over), (None, None))
        predicted = None if card in taught else predicted
        scanned = rows[rows["scan_error"].notna()]
        unsure = dict(zip(scanned["over"], scanned["scan_error"].tolist(), strict=True))
        words = made.get((card, step), step)
        found.append(HeldOutMixture(words, step, offs, predicted, read, unsure))
    found.sort(key=lambda m: (not m.tells, -m.worst, m.step))
    off = np.array([off for m in found for off in m.tells])
    figures = np.nan, np.nan, np.nan
    if off.size:
        figures = float(off.mean()), float(np.percentile(off, 95)), float(off.max())
    return Verdict(tuple(found), *figures, by=WORDS[release.coefficients.model], taught=taught)


def _masses(drawdowns: pd.DataFrame, names: Mapping[str, str]) -> dict[tuple[str, str], str]:
    """What each step was weighed of, in words; a step taken from another by its name alone."""
    fresh = drawdowns[drawdowns["taken_from"] == ""]
    rows = fresh[["card", "step", "masses"]].itertuples(index=False)
    return {(card, step): mix_words(json.loads(masses), names) for card, step, masses in rows}


def _anchors(nicknames: Sequence[str]) -> dict[str, str]:
    """Names for links, each once; plain letters, so that a link can be typed."""
    found: dict[str, str] = {}
    for nickname in nicknames:
        plain = "paint-" + (re.sub(r"[^A-Za-z0-9]+", "-", nickname).strip("-") or "x")
        taken = set(found.values())
        number = 2
        anchor = plain
        while anchor in taken:
            anchor, number = f"{plain}-{number}", number + 1
        found[nickname] = anchor
    return found


def _environment() -> Environment:
    made = page_environment(__package__)
    made.filters["ratio"] = lambda parts: unbroken(ratio_label(parts))
    made.filters["in_words"] = in_words
    return made
