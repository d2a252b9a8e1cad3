"""The page lets in nobody but its own user: names, origins, cookies, sizes, where it listens."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import time
from pathlib import Path
from threading import Event
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.page import guard, keys, server
from tintladder.database.page.app import ROUTES
from tintladder.database.page.jobs import MOST_WAITING, Jobs
from tintladder.database.page.server import listen

from .page_server import KEYS, Visitor, serving
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
    answer = page.ask(method, "/tubes", b"name=Intruder", {"Origin": origin})
    assert answer.status == 403
    assert "Intruder" not in page.get("/").text


def test_a_form_without_an_origin_is_refused(page):
    assert page.ask("POST", "/tubes", b"name=Intruder").status == 403


PATHS = tuple(path for path, _, methods in ROUTES if "GET" in methods)
FORMS = tuple(path for path, _, methods in ROUTES if "POST" in methods)


@pytest.mark.parametrize("cookie", ["", f"{guard.COOKIE}=", f"{guard.COOKIE}=guessed", "nonsense"])
def test_without_its_cookie_nothing_is_read_and_nothing_written(page, cookie):
    """As another account of this machine, or a browser that was never let in, would ask."""
    stranger, before = Visitor(page.port, cookie), page.get("/tubes").text
    for path in (*PATHS, "/page.js", "/page.css", "/nowhere", "/enter", "/enter?key=guessed"):
        answer = stranger.get(path)
        assert (answer.status, len(answer.text) < 200) == (403, True), path
        assert "set-cookie" not in answer.headers
    for path in FORMS:
        answer = stranger.ask("POST", path, b"name=Intruder", {"Origin": page.origin})
        assert answer.status == 403, path
    assert page.get("/tubes").text == before


def test_an_address_lets_in_one_browser_once(page):
    key = KEYS.ticket()
    first, second = Visitor(page.port, ""), Visitor(page.port, "")
    answer = first.get(f"/enter?key={key}")
    assert answer.status == 200 and "HttpOnly" in answer.headers["set-cookie"]
    assert "samesite=strict" in answer.headers["set-cookie"].casefold()
    first.cookie = answer.headers["set-cookie"].partition(";")[0]
    assert first.get("/alive").status == 200
    assert second.get(f"/enter?key={key}").status == 403
    # Who is in already may use the address again.
    assert first.get(f"/enter?key={key}").status == 200


def test_the_key_is_this_accounts_alone_and_outlasts_the_server(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    cookie = keys.kept_keys().cookie
    file = keys.folder() / "page-key"
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700
    assert keys.kept_keys().cookie == cookie
    # One that others could have read is made anew; so is one that was cut short.
    file.chmod(0o644)
    assert keys.kept_keys().cookie != cookie
    assert file.stat().st_mode & 0o777 == 0o600
    file.write_bytes(b"short")
    assert keys.kept_keys().cookie != cookie


def test_where_no_key_can_be_kept_the_page_opens_all_the_same(monkeypatch, tmp_path):
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    made = keys.kept_keys()
    assert made.known(made.cookie) and not keys.kept_keys().known(made.cookie)
    ready = []
    monkeypatch.setattr(server, "server_of", lambda *_: SimpleNamespace(run=lambda sockets: None))
    server.serve(None, 0, lambda *told: ready.extend(told[:2]))
    assert all(address.startswith("http://127.0.0.1:") for address in ready)


def test_a_browser_is_started_with_a_file_that_only_this_account_reads(monkeypatch, tmp_path):
    """What a program is started with, every account of the machine can see."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr(server, "server_of", lambda *_: SimpleNamespace(run=lambda sockets: None))
    seen = []

    def ready(address, file, pairing):
        assert pairing is None
        path = Path(urlsplit(file).path)
        other = re.search(r'href="([^"]+)"', path.read_text())[1]
        seen.extend((address, other, file, path, path.stat().st_mode & 0o777))

    server.serve(None, 0, ready)
    address, other, file, path, mode = seen
    assert mode == 0o600 and address != other and "key=" not in file
    assert not path.exists()


@pytest.mark.skipif(
    not hasattr(os, "getuid") or os.getuid() != 0, reason="only root becomes others"
)
def test_another_account_cannot_read_the_key(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    keys.kept_keys()
    for folder in (tmp_path, *tmp_path.parents):
        if folder != Path("/") and folder != Path("/tmp"):
            folder.chmod(0o755)
    told = subprocess.run(["cat", keys.folder() / "page-key"], user=65534, capture_output=True)
    assert told.returncode and b"denied" in told.stderr and not told.stdout


def test_work_that_waits_is_bounded_and_can_be_stopped():
    jobs, go_on, begun = Jobs(), Event(), Event()

    def long(progress):
        begun.set()
        go_on.wait(30)
        progress("half")
        return "/done"

    names = [jobs.start("long", "/", long).rpartition("/")[2] for _ in range(MOST_WAITING + 1)]
    begun.wait(30)
    with pytest.raises(InputError, match="wait already"):
        jobs.start("one more", "/", long)
    for name in names[:-1]:
        jobs.stop(name)
    go_on.set()
    last = jobs.get(names[-1])
    while not last.done:
        time.sleep(0.01)
    assert [jobs.get(name).fault for name in names[:-1]] == [jobs.get(names[0]).fault] * 8
    assert "stopped" in jobs.get(names[0]).fault and last.path == "/done"
    assert jobs.stop("nosuch") is None
    jobs.close()


def test_every_answer_forbids_what_is_not_its_own(page):
    for path in ("/", "/page.js", "/nowhere", "/alive"):
        headers = page.get(path).headers
        assert "script-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-resource-policy"] == "same-origin"


def test_what_is_too_large_is_refused_before_it_is_read(page):
    head = {"Origin": page.origin, "Content-Length": str(guard.LARGEST + 1)}
    answer = page.ask("POST", "/read", b"", head)
    assert answer.status == 413 and "MB" in answer.text


def test_what_turns_out_too_large_is_refused(page, monkeypatch):
    """Sent in pieces, with no length stated."""
    import http.client

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
