"""Chapters of the manual as Markdown, which the command line and the page show; no other text."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files

from ...calibrate.errors import InputError

TOPICS = (
    "first-recipe",
    "tubes",
    "cards",
    "scanning",
    "measuring",
    "fitting",
    "pictures",
    "mixing",
    "questions",
    "paper",
    "releases",
    "python",
    "page",
    "accuracy",
    "words",
    "care",
)
"""Chapters in the order in which a studio comes to need them."""


@dataclass(frozen=True)
class Chapter:
    """A chapter of the manual.

    Attributes
    ----------
    topic : str
        One of `TOPICS`.
    text : str
        Markdown, its first line the title.
    """

    topic: str
    title: str
    text: str


def chapter(topic: str) -> Chapter:
    """Return a chapter of the manual.

    Parameters
    ----------
    topic : str
        One of `TOPICS`, or what only one of them begins with.

    Raises
    ------
    InputError
        Where there is none, naming those there are.
    """
    wanted = topic.strip().casefold()
    found = [name for name in TOPICS if name == wanted]
    found = found or [name for name in TOPICS if wanted and name.startswith(wanted)]
    if len(found) != 1:
        near = get_close_matches(wanted, TOPICS, n=1)
        do = f"did you mean {near[0]}?" if near else f"the chapters are {', '.join(TOPICS)}"
        raise InputError(None, topic, "the manual has no such chapter", do)
    text = (files(__package__) / f"{found[0]}.md").read_text(encoding="utf-8")
    return Chapter(found[0], text.partition("\n")[0].removeprefix("# "), text)
