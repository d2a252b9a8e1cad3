"""The command line: registers the commands, and turns every error into one line."""

from __future__ import annotations

import atexit
import errno
import gc
import os
import sys
from functools import cache
from importlib import import_module
from typing import Any

import typer

from ..calibrate.errors import InputError
from .commands.common import worked
from .commands.remedies import in_terminal
from .commands.usage import Group

GROUPS = {
    "Finding your way": ("demo", "manual", "open"),
    "Your tubes and cards": ("tubes", "plan", "card"),
    "Reading": ("read", "scan", "measure", "device"),
    "Fitting": ("fit", "plot"),
    "Mixing": ("predict", "recipe", "next", "setout", "muddy", "reach"),
    "On paper": ("sheet", "lesson", "report"),
    "Sharing and keeping": (
        "publish", "releases", "compare", "verify", "trace", "export", "adopt", "backup", "restore",
    ),
}  # fmt: skip
"""One module a command, under the headings of the help."""
COMMANDS = tuple(name for names in GROUPS.values() for name in names)
RENAMED = {"cards": "card", "check": "verify"}
"""Names that worked in the release before, and what is meant by them now."""

_DISK = (errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EPERM)
"""A disk that is full, or a folder that can't be written: for the user to mend."""


class _InGroups(Group):
    """All commands; a module is imported once its command is asked for."""

    renamed = RENAMED

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        return _command(cmd_name) if cmd_name in COMMANDS else None

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write every command under its heading, what it does in one whole line."""
        for heading, names in GROUPS.items():
            with formatter.section(heading):
                # As wide as the longest name of all, so that the groups stand in line.
                formatter.write_dl([(f"{name:<8}", _first_line(_command(name))) for name in names])


def _first_line(command: Any) -> str:
    return str(command.help or "").partition("\n")[0]


def _typer(**said: Any) -> typer.Typer:
    return typer.Typer(
        add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None, **said
    )


@cache
def _command(name: str) -> Any:
    """Make a command of its module: of a function, or of several commands below it."""
    module, alone = import_module(f".commands.{name}", __package__), _typer()
    if hasattr(module, "app"):
        alone.add_typer(module.app, name=name, cls=Group)
    else:
        alone.command(name, epilog=worked(module.EXAMPLE))(getattr(module, name))
    alone.callback()(_nothing)  # or else one command is all there is, and has no name
    return typer.main.get_command(alone).commands[name]  # type: ignore[attr-defined]


def _nothing() -> None: ...


app = _typer(
    name="tintladder",
    cls=_InGroups,
    help="Learn from drawdown cards what your paint tubes do in a mix.",
    epilog=worked("tintladder manual first-recipe    (and --help after any command)"),
)


@app.callback(invoke_without_command=True)
def _without_command(ctx: typer.Context) -> None:
    """Say where the studio stands; where there is none yet, all that can be done."""
    if ctx.invoked_subcommand is None:
        from .commands.studio_standing import show_standing

        if not show_standing():
            typer.echo(ctx.get_help())


def main() -> None:
    """Run the command line: exit 0, 2 for what the user can mend, 1 for what we must."""
    # What a command imports stays to its end: to look through it for garbage again and again, and
    # once more when all is done, would take a quarter of a short command.
    gc.set_threshold(100_000)
    atexit.register(gc.freeze)
    try:
        app(prog_name="tintladder")
    except InputError as error:
        print(f"tintladder: {in_terminal(error)}", file=sys.stderr)
        sys.exit(2)
    except Exception as error:
        if os.environ.get("TINTLADDER_TRACEBACK"):
            raise
        if isinstance(error, OSError) and error.errno in _DISK:
            where = f"{error.filename}: " if error.filename else ""
            print(
                f"tintladder: {where}can't be used ({error.strerror}); make room, or use a "
                "folder that you may write to",
                file=sys.stderr,
            )
            sys.exit(2)
        words = " ".join(f"{type(error).__name__}: {error}".split())
        print(
            f"tintladder: our fault, not yours ({words}); "
            "set TINTLADDER_TRACEBACK=1 and run it again to see where, then tell us",
            file=sys.stderr,
        )
        sys.exit(1)
