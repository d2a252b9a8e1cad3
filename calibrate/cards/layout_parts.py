"""What lies on a card: bands, patches, references and words, each in its box."""

from __future__ import annotations

from dataclasses import dataclass

from .box import Box

GREY, TONE = "grey", "tone"
REFERENCES = (GREY, TONE)
TEXTS = (
    "heading",
    "step",
    "bare",
    "grey",
    "black",
    "white",
    "write",
    "bands",
    "cautions",
    "ruler",
)
"""What a text box may hold: ``black`` and ``white`` are captions of bands, ``bare`` and ``grey``
name those patches, ``step`` those of a step; ``ruler`` runs along the longer side of its box."""
BRACKET_MM = 0.85
"""Depth of the brackets printed left and right of bands."""


@dataclass(frozen=True)
class Band:
    """A coated area that is drawn down over."""

    substrate: str
    box: Box


@dataclass(frozen=True)
class PatchPlace:
    """Where a step is read over a substrate; step 0 is the bare substrate, maybe in many places."""

    step: int
    over: str
    box: Box


@dataclass(frozen=True)
class Reference:
    """A patch of known or of equal colour.

    Attributes
    ----------
    kind : {"grey", "tone"}
        ``grey``: a piece of a bought grey card, or one grey that the painter mixed; the same grey
        lies on black and on white, so that stray light shows as the difference. ``tone``: printed,
        of no known value: it shows clipping, tone curves and uneven light.
    over : str or None
        The substrate around a ``grey``.
    tone : float or None
        Paper left white of a ``tone``: 0 is full ink, 1 is bare paper.
    """

    kind: str
    box: Box
    over: str | None = None
    tone: float | None = None


@dataclass(frozen=True)
class Text:
    """A box that holds words or a ruler, off every band; `step` is that of a ``step`` text."""

    holds: str
    box: Box
    step: int | None = None


Part = Band | PatchPlace | Reference | Text
