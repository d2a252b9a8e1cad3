"""The command line: registers the commands, and turns every error into one line."""

from __future__ import annotations

import atexit
import errno
import gc
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from difflib import get_close_matches
from functools import cache
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

from ..calibrate.errors import InputError
from .commands.common import worked
from .commands.remedies import in_terminal

GROUPS = {
    "Finding your way": ("demo", "manual", "open"),
    "Your tubes and cards": ("tubes", "plan", "card"),
    "Reading": ("read", "scan", "measure", "device"),
    "Fitting": ("fit", "plot"),
    "Mixing": ("predict", "recipe", "next", "drying", "setout", "muddy", "reach"),
    "On paper": ("sheet", "lesson", "report"),
    "Sharing and keeping": (
        "publish", "releases", "compare", "verify", "trace", "export", "adopt", "backup", "restore",
        "remove", "rename", "undo",
    ),
}  # fmt: skip
"""One module a command, under the headings of the help."""
COMMANDS = tuple(name for names in GROUPS.values() for name in names)
RENAMED = {"cards": "card", "check": "verify"}
"""Names that worked in the release before, and what is meant by them now."""

_UsageError: Any = typer.BadParameter.__mro__[1]
"""What every slip is to the library, which has no public name for it."""
_DISK = (errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EPERM)
"""A disk that is full, or a folder that can't be written: for the user to mend."""


class Group(TyperGroup):
    """A command with commands below it, whose slips are ours to say."""

    renamed: Mapping[str, str] = {}
    """What commands were called in the release before."""

    def make_context(self, *args: Any, **more: Any) -> Any:
        """Read the words typed so far."""
        with _said():
            return super().make_context(*args, **more)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command that is meant."""
        if args and (now := self.renamed.get(args[0])):
            typer.echo(
                f"Note: {ctx.command_path} {args[0]} is {ctx.command_path} {now} from now on; "
                "the old name goes with the next release.",
                err=True,
            )
            args = [now, *args[1:]]
        if args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None:
            near = _near(args[0], self.list_commands(ctx), cutoff=0.6)
            raise InputError(
                None, None, f"expected a command, got {args[0]!r}{near}", _help(ctx.command_path)
            )
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: Any) -> Any:
        """Read the rest, and run what it asks for."""
        with _said(ctx):
            return super().invoke(ctx)


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


@contextmanager
def _said(ctx: Any = None) -> Iterator[None]:
    try:
        yield
    except _UsageError as error:
        if "\n" in error.message:  # the help itself, where nothing was typed
            raise
        # What is wrong with an option's value is raised without a place.
        path = f"{ctx.command_path} {ctx.invoked_subcommand}" if ctx else "tintladder"
        raise _input_error(error, error.ctx.command_path if error.ctx else path) from error


def _input_error(error: Any, path: str) -> InputError:
    param = getattr(error, "param", None)
    if hasattr(error, "param_type"):
        help_ = getattr(param, "help", None)
        meant = f": {help_.rstrip('.')}" if help_ else ""
        return InputError(None, None, f"expected {_named(param)}{meant}", _help(path))
    if hasattr(error, "possibilities"):
        option = error.option_name
        if option[1:2].isdigit():
            return InputError(
                None, option, "looks like an option, beginning with a minus",
                f"put -- before it, or {_help(path)}",
            )  # fmt: skip
        known = [name for each in error.ctx.command.params for name in each.opts] + ["--help"]
        near = _near(option, known, cutoff=0.7)
        return InputError(None, None, f"expected no option {option}{near}", _help(path))
    if hasattr(error, "option_name"):
        wanted = "a value after it" if "requires" in error.message else "no value after it"
        return InputError(None, error.option_name, f"expected {wanted}", _help(path))
    if param is not None:
        return InputError(None, _named(param), _wrong_value(error), _help(path))
    if "extra argument" in error.message:
        extra = error.message.partition("(")[2].rpartition(")")[0].removeprefix("s) (")
        return InputError(
            None, None, f"expected nothing more, got {extra}",
            f"put quotes around what has spaces, or {_help(path)}",
        )  # fmt: skip
    return InputError(None, None, error.message, _help(path))


def _wrong_value(error: Any) -> str:
    """What was expected of a value, which the library words for programmers."""
    found = error.__cause__.errors()[0] if hasattr(error.__cause__, "errors") else {}
    got, bounds = found.get("input"), found.get("ctx", {})
    if found.get("type", "").startswith("int_"):
        return f"expected a whole number, got {got!r}"
    if "ge" in bounds:
        return f"expected {bounds['ge']} or more, got {got}"
    if "le" in bounds:
        return f"expected {bounds['le']} or less, got {got}"
    _, one_of, choices = error.message.partition(" is not one of ")
    if one_of:
        return f"expected one of {choices.rstrip('.')}, got {got!r}".replace("'", "")
    return str(error.message)


def _named(param: Any) -> str:
    """What a parameter is called by who types it."""
    return str(param.opts[-1] if param.opts[-1].startswith("-") else param.metavar or param.name)


def _near(typed: str, known: Sequence[str], cutoff: float) -> str:
    found = get_close_matches(typed, known, n=2, cutoff=cutoff)
    return f" (did you mean {' or '.join(found)}?)" if found else ""


def _help(path: str) -> str:
    return f"see {path} --help"


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
