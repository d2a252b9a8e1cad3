"""What is on the plate: a list of additions, kept beside the studio as one goes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from ..common.whole_files import write_whole
from ..mixing.target import Target
from ..mixing.viewing import Viewing

NAME, DAB = "plate.json", "plate-dab.json"
Additions = list[dict[str, float]]


@dataclass(frozen=True)
class KeptDab:
    """A dab of a heap whose parts weren't known: the first addition is what it is likely made of.

    Attributes
    ----------
    said : str
        Where its colour is from.
    lab : tuple of three float
        CIELAB, D50/2°.
    band : float
        CIEDE2000 that its colour is within, 95 of 100 times.
    viewing : Viewing
        Whether it was seen, or read.
    grams : float
        Of the heap then.
    of : tuple of str
        Paints that are known to be all that is in it; empty where they aren't.
    """

    said: str
    lab: tuple[float, float, float]
    band: float
    viewing: Viewing
    grams: float
    of: tuple[str, ...]

    @property
    def target(self) -> Target:
        """Its colour."""
        return Target(
            self.said, np.array(self.lab), estimate=True, band=self.band, viewing=self.viewing
        )


def read_plate(folder: Path) -> Additions:
    """Return every addition so far, in grams by nickname, in order.

    Raises
    ------
    InputError
        Where the file isn't one of ours.
    """
    path = folder / NAME
    if not path.exists():
        return []
    try:
        found = [
            {str(name): float(grams) for name, grams in each.items()}
            for each in json.loads(path.read_text(encoding="utf-8"))
        ]
    except (ValueError, AttributeError, TypeError):
        raise InputError(
            path, None, "expected a list of additions in grams", StudioDo.START_ANEW()
        ) from None
    return found


def write_plate(folder: Path, additions: Sequence[Mapping[str, float]]) -> None:
    """Keep the additions, all or none."""
    _write(folder / NAME, [dict(a) for a in additions])


def read_dab(folder: Path) -> KeptDab | None:
    """Return the dab that the plate began with, if it did.

    Raises
    ------
    InputError
        Where the file isn't one of ours.
    """
    path = folder / DAB
    if not path.exists():
        return None
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        lightness, a, b = (float(x) for x in said["lab"])
        return KeptDab(
            str(said["said"]),
            (lightness, a, b),
            float(said["band"]),
            Viewing.of_kept(said.get("viewing", {"finish": said.get("seen")})),
            float(said["grams"]),
            tuple(said["of"]),
        )
    except (ValueError, KeyError, TypeError):
        raise InputError(path, None, "expected a dab's colour", StudioDo.START_ANEW()) from None


def write_dab(folder: Path, dab: KeptDab | None) -> None:
    """Keep a dab, or forget the one that was kept."""
    if dab is None:
        (folder / DAB).unlink(missing_ok=True)
    else:
        _write(folder / DAB, asdict(dab) | {"viewing": dab.viewing.said})


def _write(path: Path, said: object) -> None:
    write_whole({path: f"{json.dumps(said, indent=1)}\n".encode()})


def on_plate(additions: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Sum the additions, grams by nickname."""
    total: dict[str, float] = {}
    for each in additions:
        for name, grams in each.items():
            total[name] = total.get(name, 0.0) + grams
    return total
