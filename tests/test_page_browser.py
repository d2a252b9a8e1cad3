"""The page in a real browser: the whole job by a scripted person, reach, and what goes wrong."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from tintladder.database.store.store import Store

from .lab.render import save
from .lab.scans import DEMO, DPI, demo_scan
from .page_access import serious_faults
from .page_server import LET_IN, serving

SCANS = Path(__file__).parents[1] / "measurements" / "boatyard" / "scans"
MOST_CLICKS = 12
WEIGHED = {"3:1/HULL": "2.1", "10:1/HULL": "1.597", "32:1/HULL": "2.65"}
"""Grams that differ from the printed ones: with them the card is the demo's, of 4:1, 12:1, 40:1."""
FINGER = 44
"""px; WCAG 2.2, 2.5.5 Target Size (Enhanced)."""


@dataclass
class Person:
    """Someone at a browser, whose clicks are counted."""

    page: Any
    home: str
    clicks: int = 0

    def click(self, role: str, name: str) -> None:
        self.clicks += 1
        self.page.get_by_role(role, name=name, exact=True).first.click()

    def choose(self, label: str, *files: Path) -> None:
        self.clicks += 1
        self.page.get_by_label(label).set_input_files(list(files))

    def at(self, path: str) -> None:
        self.page.wait_for_url(re.compile(re.escape(self.home + path)), timeout=60_000)


@pytest.fixture(scope="module")
def demo_home(demo: Any, tmp_path_factory: Any) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("browser") / "demo"
    shutil.copytree(demo.folder, folder)
    with serving(folder) as visitor:
        yield visitor.origin


def test_from_an_empty_studio_to_a_published_paint(window: Any, tmp_path: Path) -> None:
    """Nothing is typed but names, and grams that differ from the printed ones."""
    with serving(tmp_path / "studio") as visitor:
        person = Person(window, visitor.origin)
        window.goto(visitor.origin)
        window.get_by_label("The white", exact=False).first.fill("Hull White")
        window.get_by_label("The first colour", exact=False).fill("Anchor Blue")
        person.click("button", "Go on to its card")
        person.at("/cards/new")
        person.click("button", "Plan and print it")
        person.at("/cards/1")
        for label, grams in WEIGHED.items():
            window.locator(f'[name="g:{label}"]').fill(grams)
        person.click("button", "Keep what was weighed")
        window.get_by_text("As kept last").wait_for(state="attached")
        person.click("link", "Show it a target first")
        person.at("/scanners")
        person.choose("The target's picture", SCANS / "target.png", SCANS / "target.txt")
        person.at("/cards/1#read")
        picture = tmp_path / "card.png"
        save(demo_scan(DEMO[0], "quick-a5-2")[1], str(picture), DPI)
        person.choose("A scan or photograph of the card", picture)
        window.get_by_alt_text("The card as scanned").wait_for(timeout=60_000)
        assert window.get_by_alt_text("The card as scanned").evaluate("i => i.naturalWidth") > 100
        person.click("button", "Fit")
        person.at("/fits?fresh=")
        assert "Good to mix by" in window.locator("#fit-ANCHOR").inner_text()
        person.click("link", "Publish")
        person.at("/publish")
        # Paints that only a scan tells of may be left out.
        assert window.get_by_role("checkbox", name="Anchor Blue").is_visible()
        assert "measured only" not in window.locator("main").inner_text()
        person.click("button", "Publish 1.0.0")
        person.at("/releases?fresh=1.0.0")
        assert person.clicks <= MOST_CLICKS
        with Store.open(tmp_path / "studio") as store:
            assert set(store.fits.current()) == {"ANCHOR", "HULL"}
    assert (tmp_path / "studio" / "releases" / "paints-1.0.0.zip").is_file()


def test_the_table_is_laid_step_by_step_and_survives_a_reload(window: Any, demo_home: str) -> None:
    person = Person(window, demo_home)
    window.goto(f"{demo_home}/mix")
    window.get_by_label("The colour you want").fill("BUOY 3:1")
    person.click("button", "Aim at it")
    window.get_by_role("heading", name="Middling, clean red").wait_for()
    person.click("button", "Look for ways")
    window.get_by_role("link", name="Take this way").first.click()
    person.click("button", "Say how much")
    person.click("button", "This went on the plate")
    window.get_by_text("Add nothing.").wait_for()
    before = window.locator("#plate").inner_text()
    window.reload()
    assert window.locator("#plate").inner_text() == before
    other = window.context.new_page()
    other.goto(f"{demo_home}/mix?target=62,-18,-9")
    assert window.locator("#target").input_value() == "BUOY 3:1"
    other.close()
    window.locator("summary", has_text="Keep this batch").click()
    window.locator("#batch-name").fill("transom")
    person.click("button", "Keep the batch")
    window.get_by_text("Kept as transom, 1 batch").wait_for()
    person.click("link", "Print a label for its pot")
    person.click("button", "Print the pot labels")
    window.get_by_text("pot-labels.pdf is ready").wait_for()
    with window.expect_download() as taken:
        person.click("link", "Download")
    assert taken.value.suggested_filename == "pot-labels.pdf"
    window.goto(f"{demo_home}{MIXING}")
    person.click("button", "Clear the plate")
    window.get_by_text("The plate is empty").wait_for()


MIXING = "/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=20g&mixing=yes"
GLAZE = "/mix?target=80,-10,-20&lay=HULL&lay=ANCHOR&film=20&medium=must&must=ANCHOR"
PREDICTED = "/predict?p:ANCHOR=2&p:ROPE=1&p:HULL=7&film=40&by=volume"
PAGES = (
    "/tubes/ANCHOR", "/paints/ANCHOR/next", "/adopt", "/kept", "/heap", GLAZE, PREDICTED,
    "/", "/tubes", "/cards", "/cards/new", "/cards/1", "/cards/1/sitting", "/scanners", "/fits",
    "/paints/ANCHOR", "/publish", "/releases", "/compare", "/paper", "/manual",
    "/manual/accuracy", "/manual/cards", "/jobs/nosuch", "/nowhere",
    MIXING,
)  # fmt: skip


ON_WHITE = ("white:/cards/1", f"white:{MIXING}", f"white:{GLAZE}")


def test_no_serious_fault_of_access(window: Any, demo_home: str) -> None:
    """By axe-core's rules, which follow WCAG 2; with swatches on grey, and on white."""
    found = []
    for path in (*PAGES, *ON_WHITE):
        window.goto(f"{demo_home}{path.removeprefix('white:')}")
        if path in ON_WHITE:
            window.get_by_label("on white").check()
        found += serious_faults(window, path)
    assert not found


def test_everything_is_reached_by_keyboard(window: Any, demo_home: str) -> None:
    """By tabulator alone: first the way past the links, then each field and button in order."""
    window.goto(f"{demo_home}/mix")
    window.keyboard.press("Tab")
    assert window.evaluate("document.activeElement.textContent") == "Go to the page itself"
    window.keyboard.press("Enter")
    window.keyboard.press("Tab")
    # The colours stand above all else, and can be touched.
    assert window.evaluate("document.activeElement.id") == "patches"
    window.keyboard.press("Tab")
    assert window.evaluate("document.activeElement.id") == "target"
    window.keyboard.type("BUOY 3:1")
    window.keyboard.press("Enter")
    window.locator("#tubes [name=lay]").first.wait_for()


@pytest.mark.parametrize("width", [768, 1280])
def test_targets_are_large_and_nothing_runs_off_the_side(
    window: Any, demo_home: str, width: int
) -> None:
    window.set_viewport_size({"width": width, "height": 900})
    small = """() => [...document.querySelectorAll(
        'button, summary, .button, nav a, select, input:not([type=hidden])')]
      .filter((e) => e.checkVisibility())
      .map((e) => (e.closest('label') || e).getBoundingClientRect())
      .filter((b) => b.width && b.height < %d).length"""
    for path in PAGES:
        window.goto(f"{demo_home}{path}")
        assert window.evaluate("document.documentElement.scrollWidth") <= width, path
        assert window.evaluate(small % FINGER) == 0, path


@pytest.mark.parametrize("path", ["/paints/ANCHOR", "/fits"])
def test_pictures_keep_their_shape_and_their_words_can_be_read(
    phone: Any, demo_home: str, path: str
) -> None:
    phone.goto(f"{demo_home}{path}")
    phone.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
    for drawn in phone.locator("main img").all():
        drawn.scroll_into_view_if_needed()
        drawn.evaluate("i => i.complete || new Promise((done) => { i.onload = done; })")
        wide, tall, natural_wide, natural_tall = drawn.evaluate(
            "i => [i.width, i.height, i.naturalWidth, i.naturalHeight]"
        )
        assert wide >= 0.75 * natural_wide or wide >= 960, drawn.get_attribute("alt")
        assert tall >= wide * natural_tall / natural_wide - 1
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_form_that_is_refused_keeps_what_was_typed(window: Any, demo_home: str) -> None:
    window.goto(f"{demo_home}/tubes")
    window.get_by_label("Name", exact=False).first.fill("Anchor Blue")
    window.get_by_text("More from the label").click()
    window.get_by_label("Maker").fill("Slipway Colours (invented)")
    window.get_by_role("button", name="Add it").click()
    alert = window.get_by_role("alert").filter(has_text="in the studio already")
    alert.wait_for()
    assert window.get_by_label("Maker").input_value() == "Slipway Colours (invented)"


def test_what_was_typed_is_there_after_a_reload_and_the_way_back(
    window: Any, own_page: Any
) -> None:
    home = own_page[0].origin
    window.goto(f"{home}/tubes/ANCHOR")
    window.get_by_text("A further tube of it").click()
    window.locator("#new-lot").fill("A2")
    window.locator("#finish").select_option("metallic")
    window.locator("[name=on_hand]").first.uncheck()
    window.reload()
    assert window.locator("#new-lot").input_value() == "A2"
    assert window.locator("#new-lot").is_visible()
    window.get_by_role("link", name="Mix", exact=True).click()
    window.wait_for_url("**/mix")
    window.go_back()
    assert window.locator("#finish").input_value() == "metallic"
    assert not window.locator("[name=on_hand]").first.is_checked()
    window.locator("#finish").select_option("ordinary")
    window.get_by_label("Binder").fill("acrylic")
    window.get_by_role("button", name="Keep the label so").click()
    window.get_by_text("The label is kept so").wait_for()
    window.wait_for_load_state()
    assert window.locator("#binder").input_value() == "acrylic"
    # What another form of the page held is there yet; what was kept isn't typed any more.
    assert window.locator("#new-lot").input_value() == "A2"
    window.get_by_role("button", name="Add it").click()
    window.get_by_role("heading", name="Lot A2").wait_for()
    window.reload()
    assert window.locator("#new-lot").input_value() == ""


def test_a_server_that_stops_is_noticed_and_what_was_typed_stays(
    window: Any, tmp_path: Path
) -> None:
    studio = tmp_path / "studio"
    with serving(studio) as visitor:
        window.goto(visitor.origin)
        window.get_by_label("The white", exact=False).first.fill("Hull White")
        window.get_by_label("The first colour", exact=False).fill("Anchor Blue")
    window.get_by_role("button", name="Go on to its card").click()
    window.get_by_role("alert").filter(has_text="server has stopped").wait_for()
    assert window.get_by_label("The first colour", exact=False).input_value() == "Anchor Blue"
    assert not studio.exists()
    with serving(studio, visitor.port):
        window.get_by_role("button", name="Go on to its card").click()
        window.wait_for_url("**/cards/new*")


def test_a_script_in_a_name_does_not_run(window: Any, tmp_path: Path) -> None:
    with serving(tmp_path / "studio") as visitor:
        name = "<img src=x onerror=\"document.title='ran'\">"
        visitor.send("/begin", {"white_name": "Hull White", "colour_name": name})
        for path in ("/", "/tubes", "/cards/new"):
            window.goto(f"{visitor.origin}{path}")
            assert window.title() != "ran"
            assert window.locator("main img").count() == 0


def test_it_works_without_its_script(browser: Any, tmp_path: Path) -> None:
    with serving(tmp_path / "studio") as visitor:
        context = browser.new_context(java_script_enabled=False)
        context.add_cookies([LET_IN])
        window = context.new_page()
        window.goto(visitor.origin)
        window.get_by_label("The white", exact=False).first.fill("Hull White")
        window.get_by_label("The first colour", exact=False).fill("Anchor Blue")
        window.get_by_role("button", name="Go on to its card").click()
        window.get_by_role("button", name="Plan and print it").click()
        window.locator('[name="g:3:1/HULL"]').fill("much")
        window.get_by_role("button", name="Keep what was weighed").click()
        assert "expected grams above 0" in window.get_by_role("alert").first.inner_text()
        window.go_back()
        window.get_by_role("button", name="Keep what was weighed").click()
        window.get_by_label("A scan or photograph").set_input_files(SCANS / "README.txt")
        window.get_by_role("button", name="Read it").click()
        # The page asks after the job by itself, once a second.
        window.get_by_role("link", name="Go back and mend it").wait_for()
        context.close()
