"""The command line: registers the commands, and turns every error into one line."""

from __future__ import annotations

import errno
import os
import sys
from types import ModuleType

import typer

from ..calibrate.errors import InputError
from .commands import (
    adopt,
    backup,
    card,
    cards,
    check,
    compare,
    demo,
    device,
    export,
    fit,
    lesson,
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
from .commands.usage import Group

COMMANDS = (
    demo,
    tubes,
    plan,
    card,
    cards,
    read,
    scan,
    measure,
    device,
    fit,
    plot,
    publish,
    releases,
    compare,
    verify,
    trace,
    export,
    adopt,
    predict,
    recipe,
    next,
    setout,
    muddy,
    reach,
    sheet,
    lesson,
    check,
    backup,
    restore,
    report,
    open,
)
"""One module a command, in the order in which a studio comes to need them."""

_DISK = (errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EPERM)
"""A disk that is full, or a folder that can't be written: for the user to mend."""


def _name(module: ModuleType) -> str:
    return module.__name__.rpartition(".")[2]


class _InOrder(Group):
    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        return [_name(module) for module in COMMANDS]


app = typer.Typer(
    name="tintladder",
    cls=_InOrder,
    help="Learn from drawdown cards what your paint tubes do in a mix.",
    epilog=worked("tintladder tubes add    (and --help after any command)"),
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
        print(f"tintladder: {error}", file=sys.stderr)
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
        said = " ".join(f"{type(error).__name__}: {error}".split())
        print(
            f"tintladder: our fault, not yours ({said}); "
            "set TINTLADDER_TRACEBACK=1 and run it again to see where, then tell us",
            file=sys.stderr,
        )
        sys.exit(1)
