"""tintladder open: says where the page is, serves it, and stops when asked."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from urllib.parse import urljoin
from urllib.request import HTTPCookieProcessor, build_opener

from tintladder.database.page.server import listen

from .command import run

START = "import sys; from tintladder.database.cli import main; sys.argv[0] = 'tintladder'; main()"


def test_it_serves_until_it_is_stopped(tmp_path):
    studio = tmp_path / "studio"
    with subprocess.Popen(
        [sys.executable, "-c", START, "open", "--no-browser", "--json", "--studio", str(studio)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as served:  # fmt: skip
        assert served.stdout is not None and served.stderr is not None
        said = "".join(iter(served.stdout.readline, "}\n")) + "}"
        address = json.loads(said)["address"]
        assert address.startswith("http://127.0.0.1:")
        # As a browser does: it is let in, keeps the cookie, and goes on.
        browser = build_opener(HTTPCookieProcessor())
        with browser.open(address, timeout=60) as door:
            assert b"Go on to the studio" in door.read()
        with browser.open(urljoin(address, "/"), timeout=60) as page:
            assert b"Begin with two tubes" in page.read()
        served.send_signal(signal.SIGINT)
        assert served.wait(30) == 0
        assert served.stderr.read() == ""
    assert not studio.exists()


def test_slips_get_one_line(monkeypatch, capsys, tmp_path):
    file = tmp_path / "file"
    file.touch()
    with listen(0) as taken:
        port = taken.getsockname()[1]
        held = run(monkeypatch, capsys, "open", "--no-browser", "--port", port)
    wrong = run(monkeypatch, capsys, "open", "--no-browser", "--studio", file)
    for slip, words in ((held, "can't be used"), (wrong, "found a file")):
        assert slip.status == 2 and words in slip.err and slip.err.count("\n") == 1
