"""What a fit found that doesn't belong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Finding:
    """A patch or a step that doesn't belong, or a film thinner than it was taken for.

    Attributes
    ----------
    kind : {"swapped steps", "swapped substrates", "wrong step", "wrong patch", "film"}
    steps : tuple of str
        The step, or the two that look swapped, or the first and those taken from it.
    rows : tuple of int
        Patches of the problem.
    words : str
        A clause that names card and step.
    flag : str
        The same in a few words, to stand beside the patch.
    gain : float
        Log likelihood gained by this explanation, beyond what a sound one would gain.
    say : float
        Factor on the weight of those of its patches that are of a paint alone; other patches of it
        have no say at all.
    """

    kind: Literal["swapped steps", "swapped substrates", "wrong step", "wrong patch", "film"]
    card: str
    steps: tuple[str, ...]
    rows: tuple[int, ...]
    words: str
    flag: str
    gain: float
    say: float = 0.0
