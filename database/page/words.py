"""Says on the page what the command line says, without its commands and options."""

from __future__ import annotations

import re

_SAID = {
    "start one with: tintladder tubes add (or name its folder with --studio)": "add your tubes",
    "run: tintladder fit": "fit it: see Fits",
    "fit all paints together: tintladder fit": "fit all paints together",
    "see tintladder tubes for what there is, or add it with tintladder tubes add": (
        "see Tubes for what there is"
    ),
    "say which with --white": "say which",
    "say what is on hand (tintladder tubes on NAME), or fit: tintladder fit": (
        "say under Tubes what is on hand, or fit"
    ),
}
_OPTION = re.compile(r"--([a-z-]+)(?: [A-Z]{3,}\b| FILE)?")
_COMMAND = re.compile(r"(?:run|see|with)?:? ?tintladder ([a-z]+)(?: [a-z]+| [A-Z]{3,}\b| --\w+)*")
_PLACES = {
    "tubes": "Tubes", "card": "Cards", "cards": "Cards", "read": "Cards", "scan": "Cards",
    "fit": "Fits", "publish": "Releases", "releases": "Releases", "device": "Devices",
    "recipe": "Mix", "next": "Mix",
}  # fmt: skip


def for_the_page(line: str) -> str:
    """Return a line with its commands and options as the page calls them."""
    for said, instead in _SAID.items():
        line = line.replace(said, instead)
    line = _COMMAND.sub(lambda m: f" see {_PLACES.get(m[1], m[1])}", line)
    line = _OPTION.sub(lambda m: m[1].replace("-", " "), line)
    return re.sub(r" {2,}", " ", line)
