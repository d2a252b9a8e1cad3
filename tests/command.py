"""Runs the command line in this process, as a shell would see it."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from typing import Any

from tintladder.database import cli


@dataclass(frozen=True)
class Outcome:
    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run(monkeypatch: Any, capsys: Any, *arguments: object, typed: str = "") -> Outcome:
    monkeypatch.setattr("sys.argv", ["tintladder", *map(str, arguments)])
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(typed.encode())))
    capsys.readouterr()
    try:
        cli.main()
        status = 0
    except SystemExit as stop:
        status = int(stop.code or 0)
    said = capsys.readouterr()
    return Outcome(status, said.out, said.err)
