"""The command line: registers the commands, and turns every error into one line."""

from __future__ import annotations

import importlib
import os
import sys

import typer

from ..calibrate.errors import InputError
from .commands.common import worked

app = typer.Typer(
    name="tintladder",
    help="Learn from drawdown cards what your paint tubes do in a mix.",
    epilog=worked("tintladder tubes add    (and --help after any command)"),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# In the order in which a studio comes to need them.
for name in ("demo", "tubes", "read", "fit", "plot", "predict", "publish", "releases", "verify"):
    try:
        module = importlib.import_module(f".commands.{name}", __package__)
    except ModuleNotFoundError:
        continue
    if name == "tubes":
        app.add_typer(module.app, name=name)
    else:
        app.command(name, epilog=worked(module.EXAMPLE))(getattr(module, name))


def main() -> None:
    """Run the command line: exit 0, 2 for what the user can mend, 1 for what we must."""
    try:
        app()
    except InputError as error:
        print(f"tintladder: {error}", file=sys.stderr)
        sys.exit(2)
    except Exception as error:
        if os.environ.get("TINTLADDER_TRACEBACK"):
            raise
        said = " ".join(f"{type(error).__name__}: {error}".split())
        print(
            f"tintladder: our fault, not yours ({said}); "
            "set TINTLADDER_TRACEBACK=1 and run it again to see where, then tell us",
            file=sys.stderr,
        )
        sys.exit(1)
