"""Layouts of drawdown cards: where each step is drawn down and read, true to size."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from itertools import combinations
from pathlib import Path

from ..errors import InputError
from .card import SUBSTRATES
from .toml_text import Table, closest, load

_BOX = ("x_mm", "y_mm", "width_mm", "height_mm")
_CLOSE = 1e-6  # mm


@dataclass(frozen=True)
class Box:
    """A rectangle on the page, from its upper left corner, mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    def overlaps(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.x_mm + self.width_mm > other.x_mm + _CLOSE
            and other.x_mm + other.width_mm > self.x_mm + _CLOSE
            and self.y_mm + self.height_mm > other.y_mm + _CLOSE
            and other.y_mm + other.height_mm > self.y_mm + _CLOSE
        )

    def within(self, other: Box) -> bool:
        """Whether it lies inside the other."""
        return (
            self.x_mm >= other.x_mm - _CLOSE
            and self.y_mm >= other.y_mm - _CLOSE
            and self.x_mm + self.width_mm <= other.x_mm + other.width_mm + _CLOSE
            and self.y_mm + self.height_mm <= other.y_mm + other.height_mm + _CLOSE
        )


@dataclass(frozen=True)
class Band:
    """A printed or coated area that is drawn down over."""

    substrate: str
    box: Box


@dataclass(frozen=True)
class Patch:
    """Where a step is read over a substrate; step 0 is the bare substrate."""

    step: int
    over: str
    box: Box


@dataclass(frozen=True)
class Layout:
    """A card's layout.

    Attributes
    ----------
    name, title : str
    page_mm : (width, height)
    bands : tuple of Band
    patches : tuple of Patch
    """

    name: str
    title: str
    page_mm: tuple[float, float]
    bands: tuple[Band, ...]
    patches: tuple[Patch, ...]

    @property
    def steps(self) -> int:
        """How many drawdowns it has room for."""
        return max(patch.step for patch in self.patches)


def _box(table: Table) -> Box:
    sides = [table.number(key, zero=key in ("x_mm", "y_mm")) for key in _BOX]
    for key, side in zip(_BOX, sides, strict=True):
        if side is None:
            raise table.error(key, "it is missing", f"write {key} = ..., in mm")
    return Box(*(side or 0.0 for side in sides))


def _substrate(table: Table, key: str) -> str:
    value = table.choice(key, SUBSTRATES)
    if value is None:
        raise table.error(key, "it is missing", f'write {key} = "{SUBSTRATES[0]}"')
    return value


def parse_layout(text: str, file: str) -> Layout:
    """Read a layout.

    Raises
    ------
    InputError
        For one that couldn't be painted: areas that overlap, leave the page or their band, a patch
        said twice, a step left out.
    """
    top = Table(load(text, file), file)
    top.check_keys(("layout", "title", "page_mm", "band", "patch"), (), "")
    name = top.text("layout")
    if name is None:
        raise top.error("layout", "the layout has no name", 'begin with layout = "NAME"')
    size = top.values.get("page_mm")
    if not isinstance(size, list) or len(size) != 2:
        raise top.error("page_mm", "expected width and height", "write page_mm = [210, 297]")
    sides = Table(dict(zip(("width", "height"), size, strict=True)), file, "page_mm")
    width, height = (sides.number(side) or 0.0 for side in ("width", "height"))
    page = Box(0.0, 0.0, width, height)

    band_tables = top.tables("band", "band")
    patch_tables = top.tables("patch", "patch")
    bands, patches = [], []
    for table in band_tables:
        table.check_keys(("substrate", *_BOX), (), "")
        bands.append(Band(_substrate(table, "substrate"), _box(table)))
    for table in patch_tables:
        table.check_keys(("step", "over", *_BOX), (), "")
        step = table.count("step", least=0)
        if step is None:
            raise table.error("step", "it is missing", "write step = 1, or 0 for the bare card")
        patches.append(Patch(step, _substrate(table, "over"), _box(table)))

    _check_apart(band_tables, [band.box for band in bands], page)
    _check_apart(patch_tables, [patch.box for patch in patches], page)
    seen = set()
    for table, patch in zip(patch_tables, patches, strict=True):
        if (patch.step, patch.over) in seen:
            raise table.error(
                "step", f"{patch.step} over {patch.over} is there twice", "renumber it"
            )
        seen.add((patch.step, patch.over))
        if not any(b.substrate == patch.over and patch.box.within(b.box) for b in bands):
            raise table.error(None, f"it doesn't lie on a {patch.over} band", "move it there")
    steps = {patch.step for patch in patches}
    missing = [step for step in range(1, max(steps, default=0) + 1) if step not in steps]
    if missing or not steps - {0}:
        raise top.error("patch", f"step {(missing or [1])[0]} has no patch", "number steps from 1")
    return Layout(name, top.text("title") or name, (width, height), tuple(bands), tuple(patches))


def _check_apart(tables: list[Table], boxes: list[Box], page: Box) -> None:
    for table, box in zip(tables, boxes, strict=True):
        if not box.within(page):
            raise table.error(None, "it leaves the page", "move it, or make it smaller")
    for (a, first), (b, second) in combinations(zip(tables, boxes, strict=True), 2):
        if first.overlaps(second):
            raise b.error(None, f"it overlaps {a.place}", "move one of them")


def layout_names() -> tuple[str, ...]:
    """Names of the layouts that come with the program."""
    folder = resources.files("tintladder.charts")
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def read_layout(name_or_path: str | Path) -> Layout:
    """Read a layout by its name, or from a TOML file of one's own.

    Raises
    ------
    InputError
        As `parse_layout`, and where there is none of that name.
    """
    file = str(name_or_path)
    if file in layout_names():
        shipped = resources.files("tintladder.charts") / f"{file}.toml"
        return parse_layout(shipped.read_text(encoding="utf-8"), f"{file}.toml")
    path = Path(name_or_path)
    if path.suffix != ".toml":
        raise InputError(
            file, None, "there is no layout of that name", closest(file, layout_names())
        )
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise InputError(file, None, "no layout can be read there", "check the name") from None
    return parse_layout(text, file)
