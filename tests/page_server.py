"""Serves a studio's page in this process, and asks it what a browser would."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import urlencode

from tintladder.database.page import guard
from tintladder.database.page.keys import Keys
from tintladder.database.page.pairing import Pairing
from tintladder.database.page.server import listen, server_of
from tintladder.database.store.studio import Studio

_EDGE = "----invented-edge"
KEYS = Keys(b"the key of an invented account")
COOKIE = f"{guard.COOKIE}={KEYS.cookie}"
LET_IN: Any = {"name": guard.COOKIE, "value": KEYS.cookie, "url": "http://127.0.0.1"}
"""What a real browser of that account shows."""
SCRIPT = "<script>alert('hull')</script>"
"""A name that must never run."""


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass
class Visitor:
    """One browser that was let in; without a cookie, one that wasn't."""

    port: int
    cookie: str = COOKIE
    patience: float = 60.0
    headers: Mapping[str, str] = field(default_factory=dict)
    host: str = "127.0.0.1"

    @property
    def origin(self) -> str:
        return f"http://{self.host}:{self.port}"

    def ask(
        self, method: str, path: str, body: bytes | None = None, headers: Mapping[str, str] = {}
    ) -> Answer:
        line = HTTPConnection(self.host, self.port, timeout=self.patience)
        sent = {"Cookie": self.cookie} if self.cookie else {}
        line.request(method, path, body, {**sent, **self.headers, **headers})
        answer = line.getresponse()
        found = Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
        line.close()
        return found

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, headers=headers)

    def send(self, path: str, fields: Mapping[str, str] | Sequence[tuple[str, str]] = ()) -> Answer:
        """Send a form as the page's script does."""
        return self.ask(
            "POST", path, urlencode(fields).encode(),
            {
                "Content-Type": "application/x-www-form-urlencoded", "Origin": self.origin,
                "Accept": "application/json",
            },
        )  # fmt: skip

    def drop(self, path: str, files: Sequence[Path], name: str | None = None) -> Answer:
        """Send files as the page's script does, under their own names or another."""
        return self.bring(path, {}, [("files", name or file.name, file) for file in files])

    def bring(
        self, path: str, fields: Mapping[str, str], files: Sequence[tuple[str, str, Path]]
    ) -> Answer:
        """Send a form with files, each with its field and name, as the page's script does."""
        parts = b""
        for field_name, value in fields.items():
            head = f'form-data; name="{field_name}"'
            parts += f"--{_EDGE}\r\nContent-Disposition: {head}\r\n\r\n{value}\r\n".encode()
        for field_name, name, file in files:
            head = f'form-data; name="{field_name}"; filename="{name}"'
            parts += f"--{_EDGE}\r\nContent-Disposition: {head}\r\n\r\n".encode()
            parts += file.read_bytes() + b"\r\n"
        return self.ask(
            "POST", path, parts + f"--{_EDGE}--\r\n".encode(),
            {
                "Content-Type": f"multipart/form-data; boundary={_EDGE}", "Origin": self.origin,
                "Accept": "application/json",
            },
        )  # fmt: skip

    def wait(self, answer: Answer) -> dict[str, Any]:
        """Ask after a job until it has ended."""
        assert answer.status == 200, answer.text
        end = time.monotonic() + self.patience
        while time.monotonic() < end:
            said: dict[str, Any] = self.get(answer.json["path"], Accept="application/json").json
            if said.get("path") or said.get("fault"):
                return said
            time.sleep(0.05)
        raise AssertionError(f"not done after {self.patience} s: {said}")


NETWORK = "127.0.0.2"
"""Stands for this machine's address on a network; nothing of a test leaves the machine."""


@contextmanager
def serving(folder: Path, port: int = 0, pairing: Pairing | None = None) -> Iterator[Visitor]:
    """The page of a studio, served for as long as this lasts; to a network too, with a pairing."""
    with ExitStack() as held:
        listening = held.enter_context(listen(port))
        sockets = [listening]
        if pairing is not None:
            sockets.append(held.enter_context(listen(0, pairing.host)))
            pairing.port = sockets[1].getsockname()[1]
        server = server_of(Studio.at(folder), KEYS, pairing)
        thread = Thread(target=server.run, kwargs={"sockets": sockets}, daemon=True)
        thread.start()
        try:
            yield Visitor(listening.getsockname()[1])
        finally:
            server.should_exit = True
            thread.join(20)
