"""The command line: registers the commands, and turns every error into one line."""

from __future__ import annotations

import errno
import os
import sys
from types import ModuleType
from typing import Any

import typer

from ..calibrate.errors import InputError
from .commands import (
    adopt,
    backup,
    card,
    compare,
    demo,
    device,
    export,
    fit,
    lesson,
    manual,
    measure,
    muddy,
    next,
    open,
    plan,
    plot,
    predict,
    publish,
    reach,
    read,
    recipe,
    releases,
    report,
    restore,
    scan,
    setout,
    sheet,
    trace,
    tubes,
    verify,
)
from .commands.common import worked
from .commands.remedies import in_terminal
from .commands.usage import Group

GROUPS = {
    "Finding your way": (demo, manual, open),
    "Your tubes and cards": (tubes, plan, card),
    "Reading": (read, scan, measure, device),
    "Fitting": (fit, plot),
    "Mixing": (predict, recipe, next, setout, muddy, reach),
    "On paper": (sheet, lesson, report),
    "Sharing and keeping": (
        publish,
        releases,
        compare,
        verify,
        trace,
        export,
        adopt,
        backup,
        restore,
    ),
}
"""One module a command, under the headings of the help."""
COMMANDS = tuple(module for modules in GROUPS.values() for module in modules)
RENAMED = {"cards": "card", "check": "verify"}
"""Names that worked in the release before, and what is meant by them now."""

_DISK = (errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EPERM)
"""A disk that is full, or a folder that can't be written: for the user to mend."""


def _name(module: ModuleType) -> str:
    return module.__name__.rpartition(".")[2]


class _InGroups(Group):
    renamed = RENAMED

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        return [_name(module) for module in COMMANDS]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write every command under its heading, what it does in one whole line."""
        for heading, modules in GROUPS.items():
            named = [(_name(module), self.get_command(ctx, _name(module))) for module in modules]
            with formatter.section(heading):
                # As wide as the longest name of all, so that the groups stand in line.
                formatter.write_dl([(f"{name:<8}", _first_line(each)) for name, each in named])


def _first_line(command: Any) -> str:
    return str(command.help or "").partition("\n")[0]


app = typer.Typer(
    name="tintladder",
    cls=_InGroups,
    help="Learn from drawdown cards what your paint tubes do in a mix.",
    epilog=worked("tintladder manual first-recipe    (and --help after any command)"),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for module in COMMANDS:
    name = _name(module)
    if module in (tubes, device, sheet):
        app.add_typer(module.app, name=name, cls=Group)
    else:
        app.command(name, epilog=worked(module.EXAMPLE))(getattr(module, name))


def main() -> None:
    """Run the command line: exit 0, 2 for what the user can mend, 1 for what we must."""
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
