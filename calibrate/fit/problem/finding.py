"""What a fit found that doesn't belong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Finding:
    """A patch or a step that doesn't belong, and is set aside.

    Attributes
    ----------
    kind : {"swapped steps", "swapped substrates", "wrong step", "wrong patch"}
    card : str
    steps : tuple of str
        The step, or the two that look swapped, or the first and those taken from it.
    rows : tuple of int
        Patches of the problem.
    words : str
        A clause that names card and step.
    flag : str
        The same in a few words, to stand beside the patch.
    gain : float
        Log likelihood gained by setting it aside.
    """

    kind: Literal["swapped steps", "swapped substrates", "wrong step", "wrong patch"]
    card: str
    steps: tuple[str, ...]
    rows: tuple[int, ...]
    words: str
    flag: str
    gain: float
