"""The card file: TOML that says what was weighed, mixed and drawn down.

What is set at the top holds for the card; each drawdown may set it anew.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date, datetime
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Any

from ..errors import InputError
from ..optics.surface import GLOSSES
from .card import BARE, SUBSTRATES, Card, Drawdown
from .chain import contents, ladder
from .layout import layout_names, read_layout
from .toml_text import Table, closest, load

_CARD = ("card", "purpose", "layout", "date", "balance_g", "sealed", "note", "drawdown")
_EITHER = (
    "paint",
    "lot",
    "lots",
    "white",
    "gap_um",
    "thickness_um",
    "surface",
    "coats",
    "hours_dried",
    "over",
    "opaque",
)
_DRAWDOWN = ("step", "masses", "from", "grams", "additions")
_LARGEST = 1_000_000
"""Bytes; a card file is a page of text."""
_THINNEST_UM = 2.0
"""Thinner than any film that is drawn down or brushed: such a figure is of millimetres."""


def _masses(table: Table, key: str, known: Collection[str] | None) -> dict[str, float]:
    """Grams by paint."""
    if key not in table.values:
        return {}
    value = table.values[key]
    if not isinstance(value, dict):
        raise table.error(key, "expected grams by paint", f"write {key} = {{PAINT = 10.0}}")
    masses = Table(value, table.file, f"{table.place}, {key}")
    found = {}
    for paint in value:
        place = f"{key}.{paint}"
        _known(table, place, paint, known)
        if isinstance(value[paint], dict):
            raise table.error(place, "expected grams", "put a name that holds a point in quotes")
        try:
            grams = masses.number(paint)
        except InputError as problem:
            raise table.error(
                place,
                str(problem.expected).replace("a number", "grams"),
                "write what the balance read",
            ) from None
        assert grams is not None
        found[paint] = grams
    return found


def _known(table: Table, key: str, paint: str, known: Collection[str] | None) -> None:
    if not paint.strip():
        raise table.error(key, "expected the name of a paint", "write its nickname")
    if known is not None and paint not in known:
        do = closest(paint, known) if known else "add it first"
        raise table.error(key, f"there is no paint {paint}", do)


def _over(table: Table) -> tuple[str, ...] | None:
    value = table.values.get("over")
    if value is None:
        return None
    over = [value] if isinstance(value, str) else value
    if (
        not isinstance(over, list)
        or any(item not in SUBSTRATES for item in over)
        or len(set(over)) < len(over)
    ):
        raise table.error(
            "over", f"expected {' and '.join(SUBSTRATES)}", 'write over = ["black", "white"]'
        )
    return tuple(name for name in SUBSTRATES if name in over)


def _date(table: Table) -> str | None:
    value = table.values.get("date")
    if value is None:
        return None
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    if isinstance(value, str):
        try:
            return datetime.fromisoformat(value.strip()).isoformat().removesuffix("T00:00:00")
        except ValueError:
            pass
    raise table.error("date", "expected a date, year first", "write it as in date = 2026-05-04")


def _micrometres(table: Table, key: str) -> float | None:
    value = table.number(key)
    if value is not None and value < _THINNEST_UM:
        raise table.error(
            key, f"expected µm, found {value:g}", f"write {value:g} mm as {1000 * value:g}"
        )
    return value


def _settings(table: Table, known: Collection[str] | None) -> dict[str, Any]:
    """Return what may be set for the card or for a drawdown, and is set in this table."""
    lots: dict[str, str] = {}
    if "lots" in table.values:
        inner = Table(table.values["lots"], table.file, f"{table.place}, lots".lstrip(", "))
        for paint in inner.values:
            _known(table, f"lots.{paint}", paint, known)
            lots[paint] = inner.text(paint) or ""
    said = {
        "paint": table.text("paint"),
        "white": table.text("white"),
        "lot": table.text("lot"),
        "lots": lots or None,
        "gap_um": _micrometres(table, "gap_um"),
        "thickness_um": _micrometres(table, "thickness_um"),
        "surface": table.choice("surface", GLOSSES),
        "coats": table.count("coats"),
        "hours_dried": table.number("hours_dried", zero=True),
        "over": _over(table),
        "opaque": table.flag("opaque"),
    }
    for key in ("paint", "white"):
        if said[key] is not None:
            _known(table, key, str(said[key]), known)
    return {key: value for key, value in said.items() if value is not None}


def _lots(card: Mapping[str, Any], own: Mapping[str, Any], table: Table) -> dict[str, str]:
    """Lot of each paint; a `lot` is that of the `paint` said with or above it."""
    lots = dict(card.get("lots", {}))
    if "lot" in card and "paint" in card:
        lots[card["paint"]] = card["lot"]
    lots |= own.get("lots", {})
    if "lot" in own:
        paint = own.get("paint", card.get("paint"))
        if paint is None:
            raise table.error("lot", "it doesn't say of which paint", "write lots = {PAINT = ...}")
        lots[paint] = own["lot"]
    return lots


def _drawdown(table: Table, card: Mapping[str, Any], known: Collection[str] | None) -> Drawdown:
    """Read one drawdown."""
    above = "at the top of the file, above the first [[drawdown]]"
    table.check_keys((*_DRAWDOWN, *_EITHER), _CARD, above)
    step = table.text("step")
    if step is None:
        raise table.error("step", "this drawdown has no name", 'write step = "masstone" or "1:1"')
    if step.lower() == BARE:
        raise table.error("step", f"{BARE} is the card without paint", "name the step otherwise")
    own = _settings(table, known)
    settings = {key: value for key, value in {**card, **own}.items() if key != "lot"}
    settings["lots"] = _lots(card, own, table)
    fresh, added = _masses(table, "masses", known), _masses(table, "additions", known)
    taken = table.text("from")
    grams = table.number("grams")
    if taken is None:
        for key in ("grams", "additions"):
            if key in table.values:
                raise table.error(key, 'a step with it also needs from = "STEP"', "say from which")
        if not fresh:
            raise table.error(
                None,
                "expected what was weighed",
                "write masses = {PAINT = 10.0}",
            )
        return Drawdown(step=step, masses=fresh, **{"paint": None, **settings})
    if "masses" in table.values:
        raise table.error(
            "masses", f"this step is taken from {taken}", "write additions for what was added to it"
        )
    if grams is None:
        raise table.error("grams", f"it doesn't say how much of {taken} was taken", "add grams")
    return Drawdown(
        step=step, masses=added, taken_from=taken, taken_g=grams, **{"paint": None, **settings}
    )


def parse_card(text: str, file: str, known_paints: Collection[str] | None = None) -> Card:
    """Read a card file.

    Parameters
    ----------
    text : str
        TOML.
    file : str
        For messages.
    known_paints : collection of str, optional
        Nicknames that may be used; any if None.

    Returns
    -------
    Card

    Raises
    ------
    InputError
        Naming the line (syntax) or the place, such as ``drawdown 3, masses.OCHRE``.
    """
    top = Table(load(text, file), file)
    top.check_keys((*_CARD, *_EITHER), _DRAWDOWN, "below a [[drawdown]] line")
    name = top.text("card")
    if name is None:
        raise top.error("card", "the card has no name", 'begin with card = "NAME"')
    purpose = top.choice("purpose", ("fit", "check")) or "fit"
    card = _settings(top, known_paints)
    if "lot" in card and "paint" not in card:
        raise top.error("lot", "it doesn't say of which paint", "write lots = {PAINT = ...}")
    balance_g = top.number("balance_g") or Card.balance_g
    tables = top.tables("drawdown", "drawdown")
    if not tables:
        raise top.error(None, "the card has no drawdown", "begin each with [[drawdown]] on a line")
    drawdowns = [_drawdown(table, card, known_paints) for table in tables]
    held = contents(drawdowns, tables, balance_g)
    if purpose == "fit":
        drawdowns = [ladder(*each) for each in zip(drawdowns, held, tables, strict=True)]
    sealed = top.flag("sealed")
    note = top.values.get("note", "")
    if not isinstance(note, str):
        raise top.error("note", "expected a text", 'write it in quotes "..."')
    return Card(
        name=name,
        file=file,
        drawdowns=tuple(drawdowns),
        purpose="check" if purpose == "check" else "fit",
        layout=top.text("layout"),
        date=_date(top),
        balance_g=balance_g,
        sealed=Card.sealed if sealed is None else sealed,
        note=note,
    )


def read_card(path: str | Path, known_paints: Collection[str] | None = None) -> Card:
    """Read a card file from disk, and check that its layout exists.

    Parameters
    ----------
    path : str or Path
    known_paints : collection of str, optional
        As for `parse_card`.

    Returns
    -------
    Card

    Raises
    ------
    InputError
        As `parse_card`, and for a file that can't be read as text.

    Examples
    --------
    Of the demonstration's invented cards:

    >>> from importlib.resources import files
    >>> card = read_card(files("tintladder.measurements") / "boatyard/cards/anchor-blue.toml")
    >>> card.drawdowns[3].masses["HULL"], card.drawdowns[3].gap_um
    (8.0, 300.0)
    """
    path, file = Path(path), str(path)
    try:
        kind = path.stat()
        if not (S_ISREG(kind.st_mode) or S_ISDIR(kind.st_mode)):
            raise InputError(file, None, "it is a pipe or a device", "give one card file")
        if kind.st_size > _LARGEST:
            raise InputError(file, None, "it is too large for a card file", "give the card file")
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(file, None, "no such file", "check the name and the folder") from None
    except IsADirectoryError:
        raise InputError(file, None, "it is a folder", "give one card file") from None
    except UnicodeDecodeError:
        raise InputError(file, None, "it is not UTF-8 text", "save the card as UTF-8") from None
    except OSError as problem:
        raise InputError(
            file, None, f"it can't be opened ({problem.strerror})", "check who may read it"
        ) from None
    card = parse_card(text, file, known_paints)
    if card.layout is not None and card.layout.endswith(".toml"):
        read_layout(path.parent / card.layout)
    elif card.layout is not None and card.layout not in layout_names():
        do = closest(card.layout, layout_names())
        raise InputError(file, "layout", f"there is no layout {card.layout}", do)
    return card
