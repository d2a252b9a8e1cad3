"""A slip on the command line, said in one line of ours instead of the library's four."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from difflib import get_close_matches
from typing import Any

import typer
from typer.core import TyperGroup

from ...calibrate.errors import InputError

_UsageError: Any = typer.BadParameter.__mro__[1]
"""What every slip is to the library, which has no public name for it."""


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
