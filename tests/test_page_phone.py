"""Phones of the network: let in by a code alone, few and slow wrong ones, and ended again."""

from __future__ import annotations

import asyncio
import json
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from starlette.responses import PlainTextResponse
from tintladder.database.page import guard, phone_door, server
from tintladder.database.page.app import EASEL, ROUTES
from tintladder.database.page.pairing import FIRST_WAIT, LASTS, MOST_PHONES, MOST_WRONG, Pairing
from tintladder.database.page.square import in_terminal, square

from .page_server import COOKIE, KEYS, NETWORK, Visitor, serving


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def pairing(clock):
    return Pairing(NETWORK, 1, clock)


@pytest.fixture(scope="module")
def at_home(tmp_path_factory):
    pairing = Pairing(NETWORK, 0)
    with serving(tmp_path_factory.mktemp("phones") / "studio", pairing=pairing) as visitor:
        visitor.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
        yield visitor, pairing


def stranger(pairing, cookie=""):
    return Visitor(pairing.port, cookie, host=pairing.host)


def let_in(pairing):
    """A phone that the code was typed on."""
    phone = stranger(pairing)
    answer = phone.send("/pair", {"code": pairing.begin()})
    assert (answer.status, answer.headers["location"]) == (303, "/mix")
    said = answer.headers["set-cookie"].casefold()
    assert "httponly" in said and "samesite=strict" in said
    return replace(phone, cookie=answer.headers["set-cookie"].partition(";")[0])


def other_code(pairing):
    return f"{(int(pairing.code) + 1) % 10**6:06}"


def test_a_code_works_once_and_for_ten_minutes(pairing, clock):
    assert pairing.enter("000000", "a")[0] is None
    code = pairing.begin()
    assert re.fullmatch(r"[0-9]{6}", code)
    cookie, _ = pairing.enter(f" {code[:3]} {code[3:]} ", "192.0.2.7")
    assert pairing.known(cookie).address == "192.0.2.7"
    assert pairing.enter(code, "b")[0] is None
    code = pairing.begin()
    clock.now += LASTS
    assert pairing.code is None and pairing.enter(code, "b")[0] is None
    code = pairing.begin()
    pairing.stop()
    assert pairing.enter(code, "b")[0] is None


def test_wrong_codes_are_slow_and_few(pairing, clock):
    """Each waits twice as long as the one before, and after the fifth even the right one is out."""
    code, wrong, wait = pairing.begin(), other_code(pairing), FIRST_WAIT
    for _ in range(MOST_WRONG - 1):
        assert "isn't the code" in pairing.enter(wrong, "a")[1]
        clock.now += wait - 0.5
        cookie, words = pairing.enter(code, "b")
        assert cookie is None and "wait" in words
        clock.now += 0.5
        wait *= 2
    assert not pairing.guessed
    pairing.enter(wrong, "a")
    clock.now += 100
    assert pairing.guessed and pairing.code is None and pairing.enter(code, "b")[0] is None
    assert pairing.enter(pairing.begin(), "b")[0] is not None


def test_so_many_phones_and_no_more(pairing):
    for _ in range(MOST_PHONES):
        assert pairing.enter(pairing.begin(), "a")[0]
    cookie, words = pairing.enter(pairing.begin(), "a")
    assert cookie is None and "end one" in words


@pytest.mark.parametrize("patient", [False, True])
def test_a_stranger_gets_nothing_in_ten_thousand_tries(pairing, clock, patient):
    """Through the guard, at once or with all the time there is; the right code is among them."""
    reached = []

    async def inside(scope, receive, send):
        reached.append(scope["path"])
        await PlainTextResponse("Hull White")(scope, receive, send)

    door = guard.Guard(inside, KEYS, pairing)
    pairing.begin()
    codes = [f"{(int(pairing.code) - 5000 + n) % 10**6:06}" for n in range(10_000)]

    async def every() -> set[int]:
        found = set()
        for n, code in enumerate(codes):
            clock.now += 60 * patient
            form = f"code={code}".encode()
            cookie = f"{guard.COOKIE}={code}"
            ways = (("POST", "/pair", b""), ("GET", "/mix", code.encode()), ("POST", "/mix", b""))
            method, path, query = ways[0 if n % 10 else n // 10 % 3]
            found.add(await _status(door, pairing, method, path, query, form, cookie))
        return found

    # In a thread of its own: where a browser was driven before, this one has a loop already.
    with ThreadPoolExecutor(1) as own:
        assert own.submit(asyncio.run, every()).result() == {403}
    assert reached == [] and pairing.phones == []


async def _status(door, pairing, method, path, query, form, cookie):
    host = f"{pairing.host}:{pairing.port}"
    headers = {"host": host, "origin": f"http://{host}", "cookie": cookie}
    scope = {
        "type": "http", "method": method, "path": path, "query_string": query,
        "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        "server": (pairing.host, pairing.port), "client": ("192.0.2.9", 5),
    }  # fmt: skip
    sent = []

    async def receive():
        return {"type": "http.request", "body": form}

    async def send(message):
        sent.append(message)

    await door(scope, receive, send)
    assert not any(name == b"set-cookie" for name, _ in sent[0]["headers"])
    assert b"Hull White" not in sent[1]["body"]
    return sent[0]["status"]


def test_before_the_code_the_network_sees_one_page_and_nothing_of_the_studio(at_home):
    page, pairing = at_home
    before = page.get("/tubes").text
    for cookie in ("", COOKIE, f"{guard.COOKIE}=guessed"):
        outside = stranger(pairing, cookie)
        for path, _, methods in ROUTES:
            if "GET" in methods:
                answer = outside.get(path)
                assert answer.status == 403 and "set-cookie" not in answer.headers, path
                assert "Let this phone in" in answer.text and "Hull" not in answer.text
                assert "default-src 'none'" in answer.headers["content-security-policy"]
                assert answer.headers["cache-control"] == "no-store"
            else:
                answer = outside.ask("POST", path, b"name=Intruder", {"Origin": outside.origin})
                assert answer.status == 403, path
        for path in ("/page.js", "/page.css", "/enter", f"/enter?key={KEYS.ticket()}"):
            assert outside.get(path).status == 403
    assert page.get("/tubes").text == before


def test_names_and_origins_hold_on_the_network_too(at_home):
    page, pairing = at_home
    phone = let_in(pairing)
    for host in ("127.0.0.1", "localhost", "studio.example", f"{NETWORK}.studio.example"):
        assert phone.get("/alive", Host=host).status == 421
    for origin in ("http://studio.example", page.origin, "null"):
        assert phone.get("/mix", Origin=origin).status == 403
        assert phone.ask("POST", "/mix/plate", b"", {"Origin": origin}).status == 403
        assert stranger(pairing).ask("POST", "/pair", b"code=1", {"Origin": origin}).status == 403
    assert phone.ask("POST", "/mix/plate", b"do=add").status == 403
    # What lets in here lets in nowhere else: the account's own page knows no phone, and back.
    assert Visitor(page.port, phone.cookie).get("/alive").status == 403
    assert page.get("/alive", Host=f"{NETWORK}:{page.port}").status == 421


def test_a_phone_mixes_and_changes_nothing_else(at_home):
    page, pairing = at_home
    phone = let_in(pairing)
    assert phone.get("/alive").json["phones"] >= 1
    for path in ("/tubes", "/kept", "/manual", "/drying", "/predict"):
        text = phone.get(path).text
        assert "<nav" in text and 'action="/remove"' not in text and 'href="/fits"' not in text
    for path, _, methods in ROUTES[len(EASEL) :]:
        asked = phone.get(path) if "GET" in methods else phone.send(path, {"name": "Intruder"})
        assert asked.status == 403 and "from a phone" in asked.text, path
    assert "Intruder" not in page.get("/tubes").text


def test_a_phone_is_ended_from_the_page(at_home):
    page, pairing = at_home
    phone = let_in(pairing)
    text = page.get("/phones").text
    assert phone_door.MAY in text and "isn't encrypted" in text
    number = pairing.phones[-1].number
    page.send("/phones", {"do": "end", "phone": str(number)})
    assert phone.get("/alive").status == 403
    assert all(each.number != number for each in pairing.phones)


def test_the_page_shows_the_code_and_a_square(at_home):
    page, pairing = at_home
    page.send("/phones", {"do": "begin"})
    text = page.get("/phones").text
    assert f"{pairing.code[:3]} {pairing.code[3:]}" in text and pairing.address in text
    assert "<svg" in text and 'style="' not in text
    page.send("/phones", {"do": "stop"})
    assert pairing.code is None
    asked = stranger(pairing).get("/pair?code=123456")
    assert asked.status == 200 and 'value="123456"' in asked.text and not pairing.guessed


def test_the_square_leads_to_the_address_with_the_code(pairing):
    """Read back by OpenCV's own reader of such squares."""
    import cv2
    import numpy as np

    pairing.begin()
    cells = np.array([list(row) for row in square(pairing).matrix_iter(border=4)])
    picture = np.where(np.kron(cells, np.ones((8, 8))) > 0, 0, 255).astype(np.uint8)
    said, *_ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert said == f"http://{NETWORK}:1/pair?code={pairing.code}"
    assert len(in_terminal(pairing).splitlines()) > 10


def test_by_default_no_phone_is_let_in(tmp_path):
    with serving(tmp_path / "studio") as page:
        assert "open it again for phones" in page.get("/phones").text
        refused = page.send("/phones", {"do": "begin"})
        assert refused.status == 400 and "for phones" in json.loads(refused.text)["line"]


def test_serving_to_a_network_says_where_and_by_which_code(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    ran: list[Any] = []

    def run(sockets: Any) -> None:
        ran.extend(each.getsockname() for each in sockets)

    monkeypatch.setattr(server, "server_of", lambda *_: SimpleNamespace(run=run))
    told: list[Any] = []
    server.serve(None, 0, lambda *said: told.extend(said), NETWORK)
    assert [host for host, _ in ran] == ["127.0.0.1", NETWORK]
    assert told[2].address == f"http://{NETWORK}:{ran[1][1]}" and told[2].code
