"""Says on the page what the command line says, without its commands and options."""

from __future__ import annotations

import re

_PLACES = {
    "tubes": "Tubes", "card": "Cards", "cards": "Cards", "plan": "Cards", "read": "Cards",
    "scan": "Cards",
    "fit": "Fits", "publish": "Releases", "releases": "Releases", "device": "Scanners",
    "recipe": "Mix", "next": "Mix", "predict": "Mix", "sheet": "Paper", "setout": "Paper",
    "lesson": "Paper", "measure": "the card's page",
}  # fmt: skip
"""Where on the page a command's work is done."""
_COMMAND = re.compile(
    rf"(?::? (?:run:? |with:? |see )?|^)[('’]*tintladder ({'|'.join(_PLACES)})"
    r"(?: (?:add|on|out|fill|load|weigh|scanner|[A-Z][A-Z-]*\b|--[a-z-]+))*[)'’]*"
)
_ARGUMENT = r"(?: (?:[A-Z]{2,}\b|\"[^\"]*\"))?"
_ALONE = re.compile(r"(;) \((see [^()]*)\)")
"""A place that is all there is to do."""
_ASIDE = re.compile(r" ?\(--[^()]*\)")
"""What only an option of a command can do."""
_WITH_OPTION = re.compile(rf",?(?: with|:) --[a-z-]+{_ARGUMENT}")
_OPTION = re.compile(rf"--([a-z-]+){_ARGUMENT}")
_DROPPED = re.compile(r"(?:[A-Za-z]:)?[/\\][^:,'\"\n]*[/\\]dropped[/\\]")
"""Where files that were dropped on the page lie: they are known by their names."""


def for_the_page(line: str) -> str:
    """Return a line with its commands and options as the page calls them.

    A dropped file is said by its name, a command becomes the place where its work is done, an
    option that is told how to do something is left out, and one that is at fault becomes the name
    of its field.
    """
    line = _DROPPED.sub("", line)
    line = _COMMAND.sub(lambda found: f" (see {_PLACES[found[1]]})", line)
    line = _ALONE.sub(r"\1 \2", line)
    line = _WITH_OPTION.sub("", _ASIDE.sub("", line))
    return _OPTION.sub(lambda found: found[1].replace("-", " "), line).strip()
