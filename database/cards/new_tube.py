"""A tube added by what is typed from its label."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Any

from ...calibrate.errors import InputError, Sentence
from ..common.remedies import StudioDo
from ..common.words import UNKNOWN
from ..store.paint_names import check_nickname, suggest_nickname
from ..store.paints_file import NewLot, NewPaint
from ..store.schema import Paint
from ..store.store import Store


def known_paint(store: Store, name: str, maker: str) -> Paint | None:
    """Return that maker's paint, where it is in the studio already."""
    wanted = name.casefold(), maker.casefold()
    known = (p for p in store.paints.all() if (p.name.casefold(), p.maker.casefold()) == wanted)
    return next(known, None)


def suggested_nickname(store: Store, name: str, maker: str) -> str:
    """Suggest a free nickname for a tube that isn't in the studio yet.

    Raises
    ------
    InputError
        Where that maker's paint is in the studio already.
    """
    known = known_paint(store, name, maker)
    if known is not None:
        raise InputError(
            None,
            name,
            f"that paint is in the studio already, as {known.nickname}",
            StudioDo.HAVE_AGAIN(paint=known.nickname),
        )
    return suggest_nickname(name, maker, [paint.nickname for paint in store.paints.all()])


def check_tellable(store: Store, name: str, suggested: str) -> None:
    """Refuse a tube that would get a nickname unasked beside another of the same name.

    Raises
    ------
    InputError
        Naming the other.
    """
    for paint in store.paints.all():
        if paint.name.casefold() == name.casefold():
            raise InputError(
                None,
                name,
                f"there is one already, by {paint.maker or 'an unnamed maker'} ({paint.nickname})",
                StudioDo.NICKNAME(nickname=suggested),
            )


def add_tube(
    store: Store,
    name: str,
    maker: str,
    pigments: str,
    nickname: str,
    size: str = "",
    **more: Any,
) -> Paint:
    """Add a tube as its label is typed.

    Parameters
    ----------
    pigments : str
        Colour Index names with spaces or commas between.
    size : str
        Millilitres; empty where unknown.
    **more
        range, binder and finish of the paint; lot, price, density (g/ml) and volume_solids of the
        tube.

    Raises
    ------
    InputError
        For what can't be a tube.
    """
    paint = {key: more.pop(key) for key in ("range", "binder", "finish") if key in more}
    return store.paints.add(
        NewPaint(
            nickname=check_nickname(nickname),
            name=name,
            maker=maker,
            pigments=pigments_of(pigments),
            lots=(NewLot(size_ml=_millilitres(size), **more),),
            **paint,
        )
    )


def add_lot(store: Store, paint: Paint, lot: str, size: str = "", **more: Any) -> Paint:
    """Add a new tube of a paint that is here already; it is the one in use from today.

    Parameters
    ----------
    size : str
        Millilitres; empty where unknown.
    **more
        price, density (g/ml) and volume_solids.

    Raises
    ------
    InputError
        For what can't be a tube, or a lot that is here already.
    """
    new = NewLot(lot=lot, size_ml=_millilitres(size), opened=date.today(), **more)
    store.paints.add_lot(paint.nickname, new)
    return store.paints.find(paint.nickname)


def label_as_typed(text: str) -> tuple[str, str]:
    """Split a label such as ``Anchor Blue PB29`` or ``Rope Earth, PY42 PBr7``.

    Returns
    -------
    name, pigments : str
        The pigments are the Colour Index names at its end; empty where there are none.
    """
    words = text.replace(",", " ").split()
    first = len(words)
    while first and _is_pigment(words[first - 1]):
        first -= 1
    return " ".join(words[:first]), " ".join(words[first:])


def add_labels(
    store: Store, labels: Sequence[tuple[str, str]], maker: str, binder: str = ""
) -> list[Paint]:
    """Add a tube for each label, all or none, under nicknames of our own.

    Parameters
    ----------
    labels : sequence of (name, pigments)
        As `label_as_typed` returns them.
    maker, binder : str
        Of all of them; empty where it wasn't said.

    Raises
    ------
    InputError
        For the first that can't be a tube, or is in the studio already.
    """
    added = []
    with store.transaction():
        for name, pigments in labels:
            if not name:
                raise InputError(
                    None, pigments or "label", "expected a name before the pigments",
                    'write it as on the label: "Anchor Blue PB29"',
                )  # fmt: skip
            nickname = suggested_nickname(store, name, maker)
            check_tellable(store, name, nickname)
            added.append(add_tube(store, name, maker, pigments, nickname, binder=binder).nickname)
    return [store.paints.find(nickname) for nickname in added]


def pigments_of(text: str) -> tuple[str, ...]:
    """Colour Index names with spaces or commas between."""
    return tuple(re.findall(r"[^\s,;/]+", text))


def pigment_hint(pigments: Sequence[str]) -> Sentence | None:
    """Say which pigments are no Colour Index generic names; None where all are.

    Parameters
    ----------
    pigments : sequence of str
        Such as PB29, PR101, PY42:1 or, of natural dyes, NR9; or `cautions.UNKNOWN`.
    """
    strange = [name for name in pigments if not _is_pigment(name)]
    if not strange:
        return None
    return Sentence(
        f"No Colour Index name{'s' if len(strange) > 1 else ''}: {', '.join(strange)}. Most labels "
        "have it in small print, such as PB29; cautions and the ladder suggested rest on "
        "it; ",
        StudioDo.MEND_LABEL(),
        ".",
    )


def _is_pigment(name: str) -> bool:
    """Whether a name is a Colour Index generic name, or says that the pigment is unknown."""
    index_name = r"(P(W|Y|O|R|V|B|G|BR|BK|M)|N(Y|O|R|V|B|G|BR|BK))\d+(:\d+)?"
    return bool(re.fullmatch(index_name, name.upper())) or name.casefold() == UNKNOWN


def lot_as_typed(
    lot: str = "", size: str = "", price: str = "", density: str = "", solids: str = "", **more: Any
) -> NewLot:
    """Return a tube by what is typed of it: ml, money, g/ml, and dry over wet volume.

    Raises
    ------
    InputError
        For a figure that is none.
    """
    return NewLot(
        lot,
        _millilitres(size),
        figure("price", price, "14.50"),
        figure("density", density, "1.36"),
        figure("volume solids", solids, "0.42"),
        **more,
    )


def figure(name: str, text: str, such: str, unit: str = "") -> float | None:
    """Return the figure typed into a field; None where it was left empty.

    Raises
    ------
    InputError
        For anything else than a figure.
    """
    if not text.strip():
        return None
    number = rf"(\d{{1,9}}(?:[.,]\d+)?)\s*(?:{unit})?"
    match = re.fullmatch(number, text.strip(), re.IGNORECASE)
    if not match:
        of = {"ml": "millilitres", "µm": "micrometres"}.get(unit, "a figure")
        raise InputError(
            None, name, f"expected {of} such as {such}, got {text!r}", "leave it out if unknown"
        )
    return float(match[1].replace(",", "."))


def _millilitres(text: str) -> float | None:
    return figure("size", text, "60", "ml")
