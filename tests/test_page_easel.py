"""At the easel in a real browser: a phone from photograph to plate; a network that fails."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from tintladder.database.page.pairing import Pairing

from .page_access import serious_faults
from .page_server import NETWORK, serving

PHOTO = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos" / "slipway.jpg"
SPOT = (304, 239)
"""px of the slipway's own 640 by 440: the hull, as its README says."""
MOST_TOUCHES = 6
TABLE = "/mix?target=62,-18,-9&lay=HULL&lay=ANCHOR"


@pytest.fixture
def studio(demo: Any, tmp_path: Path) -> Path:
    folder = tmp_path / "demo"
    shutil.copytree(demo.folder, folder)
    return folder


@pytest.fixture
def easel(studio: Path, browser: Any) -> Iterator[tuple[Any, str]]:
    """A phone that was let in by the square, and the page's address on the network."""
    pairing = Pairing(NETWORK, 0)
    with serving(studio, pairing=pairing):
        context = browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
        )
        phone = context.new_page()
        phone.goto(f"{pairing.address}/pair?code={pairing.begin()}")
        phone.get_by_role("button", name="Let this phone in").tap()
        phone.wait_for_url(f"{pairing.address}/mix")
        yield phone, pairing.address
        context.close()


def additions(studio: Path) -> list[Any]:
    with closing(sqlite3.connect(studio / "studio.db")) as opened:
        found = opened.execute("SELECT additions FROM plates ORDER BY id DESC LIMIT 1").fetchone()
    return [] if found is None else json.loads(found[0])


def put_on(page: Any, times: int = 1) -> None:
    for _ in range(times):
        page.get_by_role("button", name="More Hull White").click()
    page.get_by_role("button", name="This went on the plate").click()


def kept_here(page: Any) -> Any:
    return page.locator("#unsent")


def test_from_a_photograph_to_the_plate_in_six_touches(easel: Any) -> None:
    phone, _ = easel
    touches, faults = 0, serious_faults(phone, "empty")

    def touch(what: Any) -> None:
        nonlocal touches
        touches += 1
        what.tap()

    touch(phone.get_by_text("A photograph, and what else can be typed"))
    touches += 1
    phone.locator("#aim .drop input[type=file]").set_input_files(PHOTO)
    photo = phone.locator("input[type=image]")
    photo.wait_for()
    photo.scroll_into_view_if_needed()
    scale = photo.bounding_box()["width"] / 640
    touches += 1
    photo.tap(position={"x": SPOT[0] * scale, "y": SPOT[1] * scale})
    phone.get_by_role("button", name="Look for ways").wait_for()
    faults += serious_faults(phone, "aimed")
    touch(phone.get_by_role("button", name="Look for ways"))
    touch(phone.get_by_role("link", name="Take this way").first)
    phone.locator("#amounts").wait_for()
    touch(phone.get_by_role("button", name="This went on the plate"))
    phone.locator("#plate").wait_for()
    faults += serious_faults(phone, "plate")
    assert touches <= MOST_TOUCHES and not faults
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_phone_is_told_how_to_keep_its_screen_on(easel: Any) -> None:
    """Browsers do it for this machine alone, or over an encrypted line (W3C Screen Wake Lock)."""
    phone, _ = easel
    assert phone.evaluate("'wakeLock' in navigator") == phone.evaluate("isSecureContext")
    line = phone.locator("#awake")
    assert line.is_visible()
    if not phone.evaluate("isSecureContext"):
        assert "the screen stays on for longer" in line.inner_text()


def test_what_went_on_the_plate_without_a_network_is_sent_once_it_is_back(
    easel: Any, studio: Path
) -> None:
    phone, home = easel
    phone.goto(home + TABLE)
    phone.wait_for_function("document.querySelector('#tubes input[name=seen]')")
    phone.context.set_offline(True)
    for times in (3, 5):
        put_on(phone, times)
        phone.wait_for_function("asAmounts().every((each) => each === 0)")
    assert "Kept in this browser until the studio answers" in kept_here(phone).inner_text()
    assert not serious_faults(phone, "kept")
    # The mix goes on on top of what was put on.
    assert phone.evaluate("N.plate.reduce((sum, each) => sum + each)") > 0
    put_on(phone, 2)
    kept_here(phone).get_by_role("button", name="Take the last back").click()
    assert additions(studio) == []
    phone.context.set_offline(False)
    phone.locator("#plate").wait_for()
    assert kept_here(phone).is_hidden()
    found = additions(studio)
    assert len(found) == 2 and found[1].keys() == {"HULL"}


def test_an_addition_whose_answer_was_lost_is_not_made_twice(easel: Any, studio: Path) -> None:
    phone, home = easel
    phone.goto(home + TABLE)
    tries = []

    def lose(route: Any) -> None:
        tries.append(route.fetch().status)
        if len(tries) < 3:
            route.abort()
        else:
            route.continue_()

    phone.route("**/mix/plate", lose)
    put_on(phone, 4)
    phone.locator("#plate").wait_for(timeout=60_000)
    assert set(tries) == {200} and len(tries) >= 3
    assert len(additions(studio)) == 1


def test_where_the_plate_was_changed_meanwhile_the_painter_is_asked(
    easel: Any, studio: Path
) -> None:
    phone, home = easel
    phone.goto(home + TABLE)
    other = phone.context.new_page()
    other.goto(home + TABLE)
    phone.evaluate("() => { window.fetch = () => Promise.reject(new TypeError('away')); }")
    put_on(phone, 3)
    kept_here(phone).get_by_text("Kept in this browser").wait_for()
    phone.evaluate("localStorage.setItem('held', localStorage.getItem(UNSENT))")
    phone.evaluate("localStorage.removeItem(UNSENT)")
    put_on(other, 2)
    other.locator("#plate").wait_for()
    other.evaluate("localStorage.setItem(UNSENT, localStorage.getItem('held'))")
    other.evaluate("sendUnsent()")
    kept_here(other).get_by_text("not sent").wait_for()
    assert len(additions(studio)) == 1
    kept_here(other).get_by_role("button", name="It holds all the same").click()
    other.locator("#unsent").wait_for(state="hidden")
    assert len(additions(studio)) == 2
