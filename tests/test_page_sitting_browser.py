"""A sitting at the instrument in a real browser: by keyboard, on a tablet, and cut short."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from .page_server import LET_IN, serving
from .page_sitter import AT, PLACES, Sitter, instrument, kept, unread_studio


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    return unread_studio(tmp_path)


def test_a_sitting_in_the_browser(browser: Any, studio: Path, tmp_path: Path) -> None:
    """By clicks and keys, at a tablet's width, followed in a second window; axe-core looks on."""
    from axe_playwright_python.sync_playwright import Axe

    def look(window: Any) -> None:
        found = Axe().run(window).response
        assert len(found["passes"]) > 10
        assert not [f["id"] for f in found["violations"] if f["impact"] in ("serious", "critical")]
        assert window.evaluate("document.documentElement.scrollWidth") <= 768

    context = browser.new_context(viewport={"width": 768, "height": 1024})
    context.add_cookies([LET_IN])
    with serving(studio) as page, instrument(studio) as (emulator, port):
        window, other = context.new_page(), context.new_page()
        faults: list[str] = []
        window.on("pageerror", lambda error: faults.append(str(error)))
        window.goto(f"{page.origin}/cards/1")
        window.get_by_role("link", name="Sit down at the instrument").click()
        window.get_by_text("If yours is none of these").click()
        window.get_by_label("A file of your own").set_input_files(tmp_path / "mine.toml")
        window.get_by_label("Or where else it is").fill("/dev/nope")
        window.get_by_role("button", name="Sit down").click()
        window.get_by_role("alert").filter(has_text="there is no such port").wait_for()
        window.get_by_label("Or where else it is").fill(port)
        window.get_by_label("How often").select_option("1")
        window.get_by_role("button", name="Sit down").click()
        window.get_by_role("heading", name="Before the first reading").wait_for()
        look(window)
        other.goto(f"{page.origin}{AT}")
        # From here on by keyboard alone: the usual answer has the focus.
        window.keyboard.press("Enter")
        for words in ("the black trap", "the white tile"):
            window.get_by_role("heading", name=words).wait_for()
            emulator.under = PLACES[words]
            window.keyboard.press("Enter")
        heading = window.locator("#asked h2")
        for done in range(2):
            window.get_by_text(f"{done} of 6 patches read").wait_for()
            heading.filter(has_text="Set it on bare card").wait_for()
            emulator.under = next(p for w, p in PLACES.items() if w in heading.inner_text())
            window.keyboard.press("Enter")
        heading.filter(has_text="Set it on").filter(has_not_text="bare card").wait_for()
        look(window)
        # Laid on the bare card: a second Enter must not let it pass.
        emulator.under = "bare/white"
        window.keyboard.press("Enter")
        heading.filter(has_text="▲").wait_for()
        window.keyboard.press("Enter")
        look(window)
        other.locator("#asked h2").filter(has_text="▲").wait_for()
        words = heading.inner_text()
        emulator.under = next(p for w, p in PLACES.items() if w.lower() in words.lower())
        window.get_by_role("button", name="Read again").click()
        for done in range(3, 6):
            window.get_by_text(f"{done} of 6 patches read").wait_for()
            heading.filter(has_text="Set it on").wait_for()
            emulator.under = next(p for w, p in PLACES.items() if w in heading.inner_text())
            window.keyboard.press("Enter")
            if done == 4:
                window.wait_for_timeout(50)
                window.reload()
        # The tile once more, to see that nothing moved.
        heading.filter(has_text="the white tile").wait_for()
        emulator.under = PLACES["the white tile"]
        window.keyboard.press("Enter")
        window.get_by_role("heading", name="Card 1 is read").wait_for()
        other.get_by_role("heading", name="Card 1 is read").wait_for()
        look(window)
        window.get_by_role("link", name="See what was read").click()
        window.get_by_text("6 readings").wait_for()
    context.close()
    assert not faults and len(kept(studio)[1][0]) == 6


def test_the_browser_says_that_the_server_stopped_and_goes_on(
    browser: Any, studio: Path, tmp_path: Path
) -> None:
    context = browser.new_context()
    context.add_cookies([LET_IN])
    window = context.new_page()
    with instrument(studio) as (emulator, port):
        with serving(studio) as page:
            sitter = Sitter(page, emulator)
            sitter.begin(port, tmp_path)
            for _ in range(6):
                sitter.answer("read")
            window.goto(f"{page.origin}{AT}")
        stopped = window.get_by_role("alert").filter(has_text="server has stopped")
        stopped.wait_for()
        window.get_by_role("button", name="Read", exact=True).click()
        with serving(studio, page.port):
            window.get_by_text("1 of 6 patches are read, and kept").wait_for()
            stopped.wait_for(state="hidden")
            window.get_by_role("button", name="Go on where it stopped").click()
            window.get_by_role("heading", name="Before the first reading").wait_for()
            assert "1 of 6 patches read" in sitter.text
    context.close()


def test_it_goes_on_without_the_script(browser: Any, studio: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies([LET_IN])
    with serving(studio) as page:
        window = context.new_page()
        window.goto(f"{page.origin}{AT}")
        window.get_by_role("button", name="Rehearse without an instrument").click()
        window.get_by_role("button", name="All so, begin").click()
        window.get_by_role("button", name="Read", exact=True).click()
        window.get_by_role("heading", name="the white tile").wait_for()
        window.get_by_role("link", name="See what it says now").click()
        window.get_by_role("button", name="Stop the rehearsal").click()
        window.get_by_role("heading", name="The rehearsal was stopped").wait_for()
    context.close()
