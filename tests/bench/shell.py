"""The command line as a user types it, run in this process: what it prints, and its status."""

from __future__ import annotations

import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from tintladder.database import cli


@dataclass(frozen=True)
class Said:
    """What a command printed, and how it ended."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def tool(folder: Path, *arguments: object) -> Said:
    """Run a command in a studio's folder."""
    out, err, status = io.StringIO(), io.StringIO(), 0
    typed = ["tintladder", *map(str, arguments), "--studio", str(folder)]
    with (
        patch.object(sys, "argv", typed),
        patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO())),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            cli.main()
        except SystemExit as stop:
            status = int(stop.code or 0)
    return Said(status, out.getvalue(), err.getvalue())
