"""The page lets in nobody but its own user: names, origins, cookies, sizes, where it listens."""

from __future__ import annotations

import socket

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.page import guard
from tintladder.database.page.server import listen

from .page_server import Visitor, serving
from .studio_cards import write_all


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("guarded")
    write_all(folder)
    with serving(folder / "studio") as visitor:
        yield visitor


def test_it_listens_on_loopback_alone(page):
    with pytest.raises(OSError), socket.create_connection((_other_address(), page.port), 1):
        pass


def _other_address():
    """An address of this machine that isn't loopback; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: for documentation, so nobody's.
        except OSError:
            pytest.skip("this machine has no address but loopback")
        if probe.getsockname()[0].startswith("127."):
            pytest.skip("this machine has no address but loopback")
        return probe.getsockname()[0]


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "[::1]"])
def test_its_own_names_are_answered(page, name):
    assert page.get("/alive", Host=f"{name}:{page.port}").status == 200
    assert page.get("/alive", Host=name).status == 200


@pytest.mark.parametrize(
    "host", ["studio.example", "127.0.0.1.studio.example:80", "localhost.", "", "[::1", "0.0.0.0"]
)
def test_a_foreign_name_is_refused(page, host):
    """A name that someone made point here, as DNS rebinding does."""
    answer = page.get("/", Host=host)
    assert answer.status in (400, 421)
    assert "Begin" not in answer.text


@pytest.mark.parametrize(
    "origin", ["http://studio.example", "null", "http://127.0.0.1:1", "https://127.0.0.1"]
)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_foreign_origin_is_refused(page, origin, method):
    page.get("/alive")
    answer = page.ask(method, "/tubes", b"name=Intruder", {"Origin": origin})
    assert answer.status == 403
    assert "Intruder" not in page.get("/").text


def test_a_form_without_an_origin_is_refused(page):
    page.get("/alive")
    assert page.ask("POST", "/tubes", b"name=Intruder").status == 403


def test_a_form_without_the_cookie_is_refused(page):
    stranger = Visitor(page.port)
    answer = stranger.ask("POST", "/tubes", b"name=Intruder", {"Origin": page.origin})
    assert answer.status == 403
    assert "SameSite=Strict" in Visitor(page.port).get("/alive").headers["set-cookie"]
    assert "HttpOnly" in Visitor(page.port).get("/alive").headers["set-cookie"]


def test_every_answer_forbids_what_is_not_its_own(page):
    for path in ("/", "/page.js", "/nowhere", "/alive"):
        headers = page.get(path).headers
        assert "script-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-resource-policy"] == "same-origin"


def test_what_is_too_large_is_refused_before_it_is_read(page):
    page.get("/alive")
    head = {"Origin": page.origin, "Content-Length": str(guard.LARGEST + 1)}
    answer = page.ask("POST", "/read", b"", head)
    assert answer.status == 413 and "MB" in answer.text


def test_what_turns_out_too_large_is_refused(page, monkeypatch):
    """Sent in pieces, with no length stated."""
    import http.client

    page.get("/alive")
    line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=30)
    pieces = (b"x" * 65536 for _ in range(64))
    monkeypatch.setattr(guard.Guard, "largest", 100_000)
    line.request(
        "POST", "/tubes", pieces,
        {"Origin": page.origin, "Cookie": page.cookie,
         "Content-Type": "application/x-www-form-urlencoded"},
        encode_chunked=True,
    )  # fmt: skip
    answer = line.getresponse()
    assert answer.status == 413, answer.read()
    line.close()


def test_a_port_that_is_taken_is_said_in_one_line():
    with listen(0) as taken, pytest.raises(InputError, match="can't be used") as error:
        listen(taken.getsockname()[1])
    assert "\n" not in str(error.value)
