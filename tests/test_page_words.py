"""Lines made for the command line read well on the page."""

from __future__ import annotations

import pytest
from tintladder.database.page.words import for_the_page

LINES = [
    ("no paint has a fit yet; run: tintladder fit", "no paint has a fit yet; see Fits"),
    ("add it: tintladder tubes add", "add it (see Tubes)"),
    (
        "say what is on hand (tintladder tubes on NAME), or fit: tintladder fit",
        "say what is on hand (see Tubes), or fit (see Fits)",
    ),
    ("weigh it: tintladder tubes weigh ANCHOR", "weigh it (see Tubes)"),
    ("characterise it: tintladder device scanner", "characterise it (see Scanners)"),
    ("add it with 'tintladder tubes add', or mend it", "add it (see Tubes), or mend it"),
    ("say which card was read, with --card", "say which card was read"),
    ("leave one out: --without NAME", "leave one out"),
    ("--make, much: expected an amount", "make, much: expected an amount"),
    (
        'leave the paint out with --exclude, or publish all the same with --force "the reason"',
        "leave the paint out, or publish all the same",
    ),
    ("go on: tintladder measure --resume", "go on (see the card's page)"),
    ("type tintladder verify in a terminal", "type tintladder verify in a terminal"),
    ("/home/a b/my studio/dropped/own.csv, swatch: no", "own.csv, swatch: no"),
    ("C:\\studio\\dropped\\own.csv: no", "own.csv: no"),
    ("the colour dropped/own", "the colour dropped/own"),
    (
        "no tube; run tintladder tubes for what there is, or add it with 'tintladder tubes add'",
        "no tube; see Tubes for what there is, or add it (see Tubes)",
    ),
    ("plan one: tintladder plan ANCHOR", "plan one (see Cards)"),
    ("from a scan (--measured-only leaves such paints out)", "from a scan"),
    ("nothing of it is a command", "nothing of it is a command"),
]


@pytest.mark.parametrize(("said", "shown"), LINES)
def test_commands_become_places_and_options_fields(said, shown):
    assert for_the_page(said) == shown
