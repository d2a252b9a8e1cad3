"""A sitting at the instrument on the page: asked over HTTP, with an instrument on a real line."""

from __future__ import annotations

import html
import re
import shutil
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.instrument import attended
from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.profile_file import template
from tintladder.calibrate.instrument.progress import Progress, RawReading
from tintladder.calibrate.instrument.questions import Shown
from tintladder.database.integrity import check_studio
from tintladder.database.measure_store import open_sittings
from tintladder.database.page import sitting_room
from tintladder.database.page.sitting_room import Standing
from tintladder.database.page.views_sitting import _reading
from tintladder.database.reading_in import take_in
from tintladder.database.rehearsing import emulated
from tintladder.database.sitting_words import place_words
from tintladder.database.store import Store

from .instruments import certificate, quick
from .page_server import Answer, Visitor, serving
from .studio_cards import CARD_TOML, PATCHES, write_all

PROFILE = quick()
AT = "/cards/1/sitting"
PLACES = {place_words(place): place for place in (*PATCHES, "tile/white", "tile/trap")}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A studio with two cards that were never read, and beside it what the user brings."""
    folder = tmp_path_factory.mktemp("sitting")
    paints, card, _ = write_all(folder)
    (folder / "keel-2.toml").write_text(CARD_TOML.replace("keel-1", "keel-2"))
    with Store.open(folder / "studio") as store:
        take_in(store, [paints, card, folder / "keel-2.toml"])
    (folder / "mine.toml").write_text(PROFILE.text)
    (folder / "tiles.txt").write_text(certificate())
    return folder


@pytest.fixture
def studio(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return tmp_path / "studio"


@contextmanager
def instrument(studio: Path) -> Iterator[tuple[Emulator, str]]:
    with Store.open(studio) as store:
        emulator = emulated(PROFILE, store.card("keel-1"))
    with plugged_in(emulator) as port:
        yield emulator, port


@dataclass
class Sitter:
    """Someone at the page who lays the instrument where it says."""

    page: Visitor
    emulator: Emulator | None
    at: str = AT

    def begin(self, port: str, folder: Path, **fields: str) -> Answer:
        files = [("profile_file", "mine.toml", folder / "mine.toml")]
        if fields.pop("certified", ""):
            files.append(("certificate_file", "tiles.txt", folder / "tiles.txt"))
        return self.page.bring(self.at, {"how": "begin", "address": port, **fields}, files)

    def go_on(self, port: str) -> Answer:
        (number,) = re.findall(r'name="left" value="(\d+)"', self.text)[:1]
        return self.page.send(self.at, {"how": "on", "address": port, "left": number})

    @property
    def text(self) -> str:
        """What the page says, once the instrument has done its work."""
        for _ in range(200):
            answer = self.page.get(self.at)
            assert answer.status == 200, answer.text
            if "data-works" not in answer.text:
                return html.unescape(answer.text)
            time.sleep(0.02)
        raise AssertionError("it is at work for ever")

    @property
    def seen(self) -> str:
        return re.findall(r'name="seen" value="([^"]+)"', self.text)[0]

    def answer(self, answer: str, seen: str | None = None) -> Answer:
        text = self.text
        if self.emulator is not None:
            asked = text[text.index('id="asked"') : text.index('action="')]
            for words, place in PLACES.items():
                if words in asked:
                    self.emulator.under = place
        seen = re.findall(r'name="seen" value="([^"]+)"', text)[0] if seen is None else seen
        return self.page.send(f"{self.at}/answer", {"seen": seen, "answer": answer})

    def all_read(self, most: int = 60) -> str:
        for _ in range(most):
            if 'id="ended"' in (text := self.text):
                return text
            assert self.answer("read").status == 200
        raise AssertionError("it doesn't end")


def kept(studio: Path) -> tuple[int, list[tuple[str, ...]]]:
    """How many sittings are open, and what was read in each session."""
    with Store.open(studio) as store:
        assert not [found for found in check_studio(store) if found.broken]
        return len(open_sittings(store)), [r.spectra.labels for r in store.card_readings()]


def test_a_whole_card_is_read_to_a_session(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page, instrument(studio) as (emulator, port):
        assert AT in page.get("/cards/1").text
        sitter = Sitter(page, emulator)
        assert "Never lay it on wet paint" in sitter.text
        begun = sitter.begin(port, tmp_path, certified="yes")
        assert begun.json == {"path": AT}
        assert "Before the first reading" in sitter.text and "neither drag" in sitter.text
        sitter.answer("read")
        assert "Stand-in 0001 answers." in sitter.text and "the black trap" in sitter.text
        for _ in range(3):
            sitter.answer("read")
        text = sitter.text
        assert "Read last: bare card, over" in text and "0 of 6 patches read, and kept" in text
        assert "Set it on bare card, over white" in text or "reading 2 of 2" in text
        assert text.count('class="ring"') == 1 and "<polyline" in text
        text = sitter.all_read()
        assert "Card 1 is read" in text and "6 of 6 patches, 12 readings." in text
        assert "Scale:" in text or "scale" in text.lower()
        # The certificate and the profile are known from now on.
        assert "tiles.txt, as before" in text and "as on 20" in text
        assert "keel-1, measured" in page.get("/cards/1").text
    still_open, (labels,) = kept(studio)
    sent = [s.under for s in emulator.sent if not s.under.startswith("tile/")]
    assert still_open == 0 and sent == list(labels) and len(sent) == 12


def test_stopped_here_then_gone_on_with(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page, instrument(studio) as (emulator, port):
        sitter = Sitter(page, emulator)
        sitter.begin(port, tmp_path)
        for _ in range(6):
            sitter.answer("read")
        assert sitter.answer("stop").json == {"path": AT}
        text = sitter.text
        assert "The sitting was stopped" in text and "Everything that was read is kept" in text
        assert "1 of 6 patches are read, and kept" in text
        assert "Go on at the instrument" in page.get("/cards/1").text
        # To begin anew it must be given up knowingly.
        stale = sitter.begin(port, tmp_path)
        assert stale.status == 409 and "changed elsewhere" in stale.json["line"]
        sitter.go_on(port)
        assert "1 of 6 patches are read" in sitter.text
        assert "6 of 6 patches, 12 readings." in sitter.all_read()
    assert kept(studio)[0] == 0 and len(kept(studio)[1][0]) == 12


def test_a_server_that_stops_lets_go_of_the_line_and_loses_nothing(
    studio: Path, tmp_path: Path
) -> None:
    with instrument(studio) as (emulator, port):
        with serving(studio) as page:
            sitter = Sitter(page, emulator)
            sitter.begin(port, tmp_path)
            for _ in range(6):
                sitter.answer("read")
            seen = sitter.seen
        Line(port, PROFILE.line).close()
        assert kept(studio) == (1, [])
        with serving(studio, page.port):
            late = sitter.page.send(f"{AT}/answer", {"seen": seen, "answer": "read"})
            assert late.status == 409 and late.json["line"].count("\n") == 0
            assert page.get(AT, Accept="application/json").json == {"stamp": ""}
            assert "1 of 6 patches are read, and kept" in sitter.text
            sitter.go_on(port)
            sitter.all_read()
    assert kept(studio)[0] == 0 and len(kept(studio)[1][0]) == 12


def test_an_answer_given_in_another_window_counts_once(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page, instrument(studio) as (emulator, port):
        sitter, other = Sitter(page, emulator), Sitter(Visitor(page.port), emulator)
        sitter.begin(port, tmp_path)
        for _ in range(3):
            sitter.answer("read")
        seen, sent = other.seen, len(emulator.sent)
        sitter.answer("read")
        late = other.answer("read", seen)
        assert late.status == 409 and "in another window" in late.json["line"]
        assert len(emulator.sent) == sent + 1
        for nonsense in ("finish", "", "<script>"):
            assert other.answer(nonsense).status == 409
        # And of many at the same moment one counts.
        seen, sent = other.seen, len(emulator.sent)
        with ThreadPoolExecutor(8) as crowd:
            given = [crowd.submit(other.answer, "read", seen) for _ in range(8)]
            assert sorted(each.result().status for each in given) == [200] + [409] * 7
        assert "is read" not in other.text and len(emulator.sent) == sent + 1


def test_one_sitting_at_a_time(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page, instrument(studio) as (emulator, port):
        sitter = Sitter(page, emulator)
        sitter.begin(port, tmp_path)
        other = Sitter(Visitor(page.port), None, "/cards/2/sitting")
        assert "goes on here already, with card 1" in other.text
        for answer in (other.begin(port, tmp_path), sitter.begin(port, tmp_path)):
            assert answer.status == 409 and "one instrument at a time" in answer.json["line"]
            assert "\n" not in answer.json["line"]
        sitter.answer("stop")
        assert "Sit down with card 2" in other.text or "Card 2, keel-2" in other.text


def test_unplugged_in_the_middle(
    studio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attended, "REPLUG_S", 0.2)
    with serving(studio) as page:
        with instrument(studio) as (emulator, port):
            sitter = Sitter(page, emulator)
            sitter.begin(port, tmp_path)
            for _ in range(6):
                sitter.answer("read")
        sitter.answer("read")
        text = sitter.text
        assert f"{port} is gone: unplugged, or switched off." in text and "Try again" in text
        assert sitter.answer("again").status == 200
        assert "is gone" in sitter.text
        sitter.answer("stop")
        assert "1 of 6 patches are read, and kept" in sitter.text
        with instrument(studio) as (sitter.emulator, port):
            sitter.go_on(port)
            sitter.all_read()
    assert kept(studio)[0] == 0 and len(kept(studio)[1][0]) == 12


def test_what_looks_wrong_is_asked_about(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page, instrument(studio) as (emulator, port):
        sitter = Sitter(page, emulator)
        sitter.begin(port, tmp_path, repeats="1")
        for _ in range(5):
            sitter.answer("read")
        seen = sitter.seen
        emulator.under = "bare/white"
        page.send(f"{AT}/answer", {"seen": seen, "answer": "read"})
        text = sitter.text
        assert "data-care" in text and "▲" in text and "Keep it as it is" in text
        sitter.answer("keep")
        sitter.answer("skip")
        text = sitter.text
        assert "▲</text>" in text and "–</text>" in text
        for _ in range(2):
            sitter.answer("read")
        assert "Skipped: " in sitter.text
        sitter.answer("finish")
        text = sitter.text
        assert "Looked wrong, and kept:" in text and "Skipped: " in text


def test_paint_that_is_wet_stops_it(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page, instrument(studio) as (emulator, port):
        sitter = Sitter(page, emulator)
        sitter.begin(port, tmp_path)
        sitter.answer("wet")
        assert "never goes on wet paint" in sitter.text
    assert not emulator.sent


def test_one_left_alone_lets_go_of_the_line(
    studio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sitting_room, "LEFT_ALONE_S", 0.1)
    with serving(studio) as page, instrument(studio) as (_, port):
        sitter = Sitter(page, None)
        sitter.begin(port, tmp_path)
        while "ended" not in page.get(AT, Accept="application/json").json["stamp"]:
            time.sleep(0.02)
        assert "Nobody answered for" in sitter.text
        Line(port, PROFILE.line).close()
        assert "0 of 6 patches are read" in sitter.text


def test_a_rehearsal_keeps_nothing_and_says_so(studio: Path) -> None:
    with serving(studio) as page:
        sitter = Sitter(page, None)
        page.send(AT, {"how": "rehearse", "profile": "bare", "repeats": "1"})
        assert "Rehearsal with card 1" in sitter.text
        sitter.answer("read")
        assert "readings are invented, and nothing of it is kept" in sitter.text
        for _ in range(3):
            sitter.answer("read")
        # The card before the invented instrument is another than the hand's: that may look wrong.
        for _ in range(30):
            if 'id="ended"' in (text := sitter.text):
                break
            sitter.answer("keep" if 'value="keep"' in text else "read")
        assert "The rehearsal is over" in text and "nothing of it was kept" in text
        assert "See what was read" not in text
    assert kept(studio) == (0, [])


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"address": "/dev/nope"}, "there is no such port"),
        ({"address": ""}, "say where the instrument is"),
        ({"address": "spy:///dev/null?file=x"}, "isn't one of an instrument"),
        ({"address": "socket://127.0.0.1:1"}, "nothing can be opened there"),
        ({"profile": "bear"}, "say how to talk to it"),
        ({"repeats": "99"}, "expected 1 to 20"),
    ],
)
def test_slips_are_one_line(studio: Path, fields: dict[str, str], words: str) -> None:
    with serving(studio) as page:
        usual = {"how": "begin", "profile": "bare", "address": "/dev/nope"}
        answer = page.send(AT, usual | fields)
        assert answer.status == 400 and words in answer.json["line"], answer.text
        assert "\n" not in answer.json["line"] and "--" not in answer.json["line"]
        assert 'id="ended"' not in page.get(AT).text
        assert not (studio / "x").exists()
    assert kept(studio) == (0, [])


def test_files_that_are_no_profile_or_certificate_are_refused(studio: Path, tmp_path: Path) -> None:
    with serving(studio) as page:
        sitter = Sitter(page, None)
        (tmp_path / "mine.toml").write_text("profile = 3")
        answer = sitter.begin("/dev/nope", tmp_path)
        assert answer.status == 400 and "mine.toml" in answer.json["line"]
        (tmp_path / "mine.toml").write_text(PROFILE.text)
        (tmp_path / "tiles.txt").write_text("white 93")
        answer = sitter.begin("/dev/nope", tmp_path, certified="yes")
        assert answer.status == 400 and "tiles.txt" in answer.json["line"]
        assert page.get("/instrument.toml").text == template()
        assert page.get("/cards/9/sitting").status == 400


@pytest.mark.parametrize("path", [AT, f"{AT}/answer", "/instrument.toml"])
def test_nobody_else_may_ask(studio: Path, path: str) -> None:
    with serving(studio) as page:
        page.get("/alive")
        foreign = {"Origin": "http://studio.example"}
        assert page.ask("GET", path, None, {"Host": "studio.example"}).status == 421
        assert page.ask("GET", path, None, foreign).status == 403
        form = b"how=rehearse&profile=bare"
        assert page.ask("POST", path, form, foreign).status == 403
        assert page.ask("POST", path, form).status == 403
        stranger = Visitor(page.port)
        assert stranger.ask("POST", path, form, {"Origin": page.origin}).status == 403
        assert page.get(AT, Accept="application/json").json == {"stamp": ""}


def test_a_reading_without_any_value_is_shown() -> None:
    nothing = np.full(PROFILE.wavelengths.size, np.nan)
    shown = Shown(
        RawReading("half/black", 1, 1, "", nothing, {"void": "x"}), np.full(3, np.nan), None
    )
    found = _reading(
        Standing("", wavelengths=PROFILE.wavelengths, progress=Progress(1), last=shown)
    )
    assert found is not None and found.wrong and found.chart is None


def test_a_sitting_in_the_browser(browser, studio: Path, tmp_path: Path) -> None:
    """By clicks and keys, at a tablet's width, followed in a second window; axe-core looks on."""
    from axe_playwright_python.sync_playwright import Axe

    def look(window) -> None:
        found = Axe().run(window).response
        assert len(found["passes"]) > 10
        assert not [f["id"] for f in found["violations"] if f["impact"] in ("serious", "critical")]
        assert window.evaluate("document.documentElement.scrollWidth") <= 768

    context = browser.new_context(viewport={"width": 768, "height": 1024})
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
        window.get_by_role("heading", name="Card 1 is read").wait_for()
        other.get_by_role("heading", name="Card 1 is read").wait_for()
        look(window)
        window.get_by_role("link", name="See what was read").click()
        window.get_by_text("6 readings").wait_for()
    context.close()
    assert not faults and len(kept(studio)[1][0]) == 6


def test_the_browser_says_that_the_server_stopped_and_goes_on(
    browser, studio: Path, tmp_path: Path
) -> None:
    context = browser.new_context()
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


def test_it_goes_on_without_the_script(browser, studio: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
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
