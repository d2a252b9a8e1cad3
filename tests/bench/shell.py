"""The command line as a user types it, run in this process: what it prints, and its status."""

from __future__ import annotations

import io
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from unittest.mock import patch

from tintladder.database import cli

from tests.command import Outcome


def tool(folder: Path, *arguments: object) -> Outcome:
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
    return Outcome(status, out.getvalue(), err.getvalue())
