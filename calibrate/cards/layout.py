"""Layouts of drawdown cards: where each step is drawn down and read, true to size.

A layout is a TOML file. Everything on it is a box in millimetres from the upper left corner of the
page; a run of equal boxes is written once, with the pitch from one to the next.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Literal, cast

from ..errors import InputError
from .box import Box
from .card import SUBSTRATES
from .fiducials import MOST_LAYOUTS, OWN_FROM, Fiducial, fiducials_on
from .layout_check import Found, faults
from .layout_parts import GREY, REFERENCES, TEXTS, Band, PatchPlace, Reference, Text
from .strokes import DRAWN, PICTURES, Tools, tool_faults
from .toml_text import Table, closest, load

Method = Literal["brush", "drawdown"]
METHODS: tuple[Method, ...] = ("brush", "drawdown")
_BOX = ("x_mm", "y_mm", "width_mm", "height_mm")
_TOOLS = ("aperture_mm", "tape_mm", "applicator_mm")
_TOP = ("layout", "number", "title", "page_mm", "method", "tubes", "steps_each", *_TOOLS)


@dataclass(frozen=True)
class Layout:
    """A card's layout. All boxes are in mm from the upper left corner of the page.

    Attributes
    ----------
    number : int
        Told by the fiducials (see `tintladder.calibrate.cards.fiducials`).
    page_mm : (width, height)
    method : {"brush", "drawdown"}
        ``brush``: painted until the black no longer shows; ``drawdown``: a film of one thickness.
    tubes, steps_each : int
        Steps 1 to `steps_each` are the first tube's, from masstone to the whitest tint, and so on.
        A step after those of the last tube is for the white alone. No tubes: a card of mixtures.
    patches : tuple of PatchPlace
        In the file's order.
    references : tuple of Reference
        In the file's order; tones from black to white.
    tools : Tools
        What it leaves room for.
    """

    name: str
    title: str
    number: int
    page_mm: tuple[float, float]
    method: Method
    tubes: int
    steps_each: int
    bands: tuple[Band, ...]
    patches: tuple[PatchPlace, ...]
    references: tuple[Reference, ...]
    texts: tuple[Text, ...]
    tools: Tools = PICTURES

    @property
    def steps(self) -> int:
        """How many drawdowns it has room for."""
        return max(patch.step for patch in self.patches)

    @property
    def white_step(self) -> int | None:
        """The step that is the white alone, if there is room for it."""
        after = self.tubes * self.steps_each + 1
        return after if self.tubes and after <= self.steps else None

    @property
    def fiducials(self) -> tuple[Fiducial, ...]:
        """Its fiducials, in the order of their ids."""
        return fiducials_on(self.page_mm, self.number)

    def boxes(self, step: int, over: str) -> tuple[Box, ...]:
        """Where a step is read over a substrate: one place, but maybe more for the bare card.

        Parameters
        ----------
        step : int
            Place on the layout, from 1.
        over : str
            Substrate.

        Returns
        -------
        tuple of Box
        """
        return tuple(p.box for p in self.patches if (p.step, p.over) == (step, over))


def _box(table: Table) -> Box:
    sides = [table.number(key, zero=key in ("x_mm", "y_mm")) for key in _BOX]
    for key, side in zip(_BOX, sides, strict=True):
        if side is None:
            raise table.error(key, "it is missing", f"write {key} = ..., in mm")
    return Box(*(side or 0.0 for side in sides))


def _pair(table: Table, key: str, names: tuple[str, str], zero: bool = False) -> list[float]:
    pair = table.values.get(key)
    if not isinstance(pair, list) or len(pair) != 2:
        raise table.error(key, f"expected {' and '.join(names)}", f"write {key} = [210, 297]")
    place = f"{table.place}, {key}".lstrip(", ")
    sides = Table(dict(zip(names, pair, strict=True)), table.file, place)
    return [sides.number(name, zero=zero) or 0.0 for name in names]


def _run(table: Table, count: int) -> list[Box]:
    """Boxes of a run, the first as written."""
    first = _box(table)
    if "pitch_mm" not in table.values:
        if count > 1:
            raise table.error("pitch_mm", "it is missing", "write pitch_mm = [0, 20]")
        return [first]
    across, down = _pair(table, "pitch_mm", ("across", "down"), zero=True)
    return [
        replace(first, x_mm=first.x_mm + i * across, y_mm=first.y_mm + i * down)
        for i in range(count)
    ]


def _steps(table: Table) -> list[int]:
    """Steps of a run, or the one step."""
    if "steps" not in table.values:
        step = table.count("step", least=0)
        if step is None:
            raise table.error("step", "it is missing", "write step = 1, or 0 for the bare card")
        return [step]
    steps = table.values["steps"]
    whole = isinstance(steps, list) and steps and all(type(s) is int and s >= 0 for s in steps)
    if not whole:
        raise table.error("steps", "expected steps by number", "write steps = [1, 2, 3]")
    return list(steps)


def _needed(table: Table, key: str, among: tuple[str, ...]) -> str:
    value = table.choice(key, among)
    if value is None:
        raise table.error(key, "it is missing", f'write {key} = "{among[0]}"')
    return value


def _patches(table: Table) -> Iterator[PatchPlace]:
    table.check_keys(("step", "steps", "over", "pitch_mm", *_BOX), (), "")
    steps = _steps(table)
    over = _needed(table, "over", SUBSTRATES)
    yield from (
        PatchPlace(s, over, box) for s, box in zip(steps, _run(table, len(steps)), strict=True)
    )


def _references(table: Table) -> Iterator[Reference]:
    table.check_keys(("kind", "over", "tones", "pitch_mm", *_BOX), (), "")
    kind = _needed(table, "kind", REFERENCES)
    if kind == GREY:
        yield Reference(kind, _box(table), over=_needed(table, "over", SUBSTRATES))
        return
    tones = table.values.get("tones")
    listed = tones if isinstance(tones, list) else []
    numbers = [float(t) for t in listed if isinstance(t, int | float) and 0 <= t <= 1]
    if not numbers or len(numbers) < len(listed) or numbers != sorted(numbers):
        raise table.error(
            "tones", "expected tones from 0 (black) to 1 (paper)", "write tones = [0, 0.5, 1]"
        )
    boxes = _run(table, len(numbers))
    yield from (Reference(kind, box, tone=t) for t, box in zip(numbers, boxes, strict=True))


def _texts(table: Table) -> Iterator[Text]:
    table.check_keys(("holds", "step", "steps", "pitch_mm", *_BOX), (), "")
    holds = _needed(table, "holds", TEXTS)
    if holds != "step":
        yield Text(holds, _box(table))
        return
    steps = _steps(table)
    yield from (Text(holds, b, s) for s, b in zip(steps, _run(table, len(steps)), strict=True))


def _read(text: str, file: str) -> tuple[Layout, list[Found]]:
    """Read a layout, and everything on it with what a message calls it."""
    top = Table(load(text, file), file)
    top.check_keys((*_TOP, "band", "patch", "reference", "text"), (), "")
    name = top.text("layout")
    if name is None:
        raise top.error("layout", "the layout has no name", 'begin with layout = "NAME"')
    number = top.count("number", least=0)
    if number is None or number >= MOST_LAYOUTS:
        raise top.error(
            "number",
            f"expected a number under {MOST_LAYOUTS} that no other layout of yours has",
            f"write number = {OWN_FROM}; those under {OWN_FROM} are taken",
        )
    width, height = _pair(top, "page_mm", ("width", "height"))
    found: list[Found] = []
    for table in top.tables("band", "band"):
        table.check_keys(("substrate", *_BOX), (), "")
        found.append((table.place, Band(_needed(table, "substrate", SUBSTRATES), _box(table))))
    for key, read in (("patch", _patches), ("reference", _references), ("text", _texts)):
        for table in top.tables(key, key):
            found += [(table.place, item) for item in read(table)]
    items = [item for _, item in found]
    patches = tuple(item for item in items if isinstance(item, PatchPlace))
    steps = {patch.step for patch in patches}
    missing = [step for step in range(1, max(steps, default=0) + 1) if step not in steps]
    if missing or not steps - {0}:
        raise top.error("patch", f"step {(missing or [1])[0]} has no patch", "number steps from 1")
    tubes = top.count("tubes", least=0)
    tubes = 1 if tubes is None else tubes
    each = top.count("steps_each") or (max(steps) // tubes if tubes else 1)
    if tubes and not tubes * each <= max(steps) <= tubes * each + 1:
        raise top.error(
            "steps_each",
            f"expected {tubes * each} steps, or one more for the white, found {max(steps)}",
            "correct tubes, steps_each or the patches",
        )
    method = cast(Method, top.choice("method", METHODS) or "drawdown")
    usual = DRAWN if method == "drawdown" else PICTURES
    said = {key: top.number(key, zero=True) for key in _TOOLS}
    layout = Layout(
        name,
        top.text("title") or name,
        number,
        (width, height),
        method,
        tubes,
        each,
        tuple(item for item in items if isinstance(item, Band)),
        patches,
        tuple(item for item in items if isinstance(item, Reference)),
        tuple(item for item in items if isinstance(item, Text)),
        replace(usual, **{key: value for key, value in said.items() if value is not None}),
    )
    return layout, found


def layout_faults(text: str, file: str) -> list[InputError]:
    """Everything wrong with a layout; nothing is raised.

    A file that isn't a layout at all has one fault.

    Parameters
    ----------
    text : str
    file : str
        What an error names.

    Returns
    -------
    list of InputError
    """
    try:
        layout, found = _read(text, file)
    except InputError as error:
        return [error]
    each = list(faults(layout.page_mm, layout.fiducials, found, file))
    each = each or list(tool_faults(layout, file))
    return list({str(error): error for error in each}.values())


def parse_layout(text: str, file: str) -> Layout:
    """Read a layout.

    Parameters
    ----------
    text : str
    file : str
        What an error names.

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        For areas that overlap, leave the page or their band, a patch said twice, a step left out,
        patches of a step that one stroke can't reach. What only keeps a card from being painted
        anew (`tool_faults`) is no hindrance: one that was printed before is still read.
    """
    layout, found = _read(text, file)
    for error in faults(layout.page_mm, layout.fiducials, found, file):
        raise error
    return layout


def layout_names() -> tuple[str, ...]:
    """Names of the layouts that come with the program, earlier editions too."""
    folder = resources.files("tintladder.charts")
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def newest_layouts() -> dict[str, str]:
    """The newest edition of each layout that comes with the program: what cards are printed by.

    Returns
    -------
    dict of str to str
        Name of the edition by the name without it: ``quick-a5-2`` by ``quick-a5``. Cards of earlier
        editions are still read.
    """
    found: dict[str, str] = {}
    for name in layout_names():
        stem, _, edition = name.rpartition("-")
        lead = stem if edition.isdigit() else name
        found[lead] = max(name, found.get(lead, ""), key=lambda each: (len(each), each))
    return found


def layout_text(name_or_path: str | Path) -> tuple[str, str]:
    """Text of a layout that comes with the program or of a file of one's own, and its file's name.

    Raises
    ------
    InputError
        Where there is none of that name, or it can't be read.
    """
    file = str(name_or_path)
    if file in layout_names():
        shipped = resources.files("tintladder.charts") / f"{file}.toml"
        return shipped.read_text(encoding="utf-8"), f"{file}.toml"
    path = Path(name_or_path)
    if path.suffix != ".toml":
        raise InputError(
            file, None, "there is no layout of that name", closest(file, layout_names())
        )
    try:
        if path.is_file():  # to read a pipe waits until somebody writes into it
            return path.read_text(encoding="utf-8-sig"), file
    except (OSError, UnicodeDecodeError):
        pass
    raise InputError(file, None, "no layout can be read there", "check the name")


def read_layout(name_or_path: str | Path) -> Layout:
    """Read a layout by its name, or from a TOML file of one's own.

    Raises
    ------
    InputError
        As `parse_layout`, and where there is none of that name.
    """
    return parse_layout(*layout_text(name_or_path))
