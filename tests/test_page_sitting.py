"""A sitting at the instrument on the page: asked over HTTP, with an instrument on a real line."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.instrument import attended
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.profile_file import template
from tintladder.calibrate.instrument.progress import Progress, RawReading
from tintladder.calibrate.instrument.questions import Shown
from tintladder.database.page import sitting_room
from tintladder.database.page.sitting_room import Standing
from tintladder.database.page.views.sitting import _reading

from .page_server import Visitor, serving
from .page_sitter import AT, PROFILE, Sitter, instrument, kept, unread_studio


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    return unread_studio(tmp_path)


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
        home = page.get("/").text
        assert "is half read at the instrument" in home and f'href="{AT}"' in home
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
        assert "1 of 6 patches read" in other.text and len(emulator.sent) == sent + 1


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
        sitter.answer("read")  # the tile, for the last time
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
        foreign = {"Origin": "http://studio.example"}
        assert page.ask("GET", path, None, {"Host": "studio.example"}).status == 421
        assert page.ask("GET", path, None, foreign).status == 403
        form = b"how=rehearse&profile=bare"
        assert page.ask("POST", path, form, foreign).status == 403
        assert page.ask("POST", path, form).status == 403
        stranger = Visitor(page.port, cookie="")
        assert stranger.ask("POST", path, form, {"Origin": page.origin}).status == 403
        assert stranger.get(path).status == 403
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
