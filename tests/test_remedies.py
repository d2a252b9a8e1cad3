"""What to do about an error is a code in the rooms below; each face has its own words for it."""

from __future__ import annotations

import ast
import re
import string
from pathlib import Path

import pytest
import typer
from tintladder.calibrate.errors import CalibrateDo, Field, InputError, Sentence
from tintladder.database import cli
from tintladder.database.commands import remedies as terminal
from tintladder.database.commands.remedies import in_terminal
from tintladder.database.common.remedies import StudioDo
from tintladder.database.page import remedies as page
from tintladder.database.page.remedies import on_page

CODES = [*CalibrateDo, *StudioDo]
HOUSE = Path(__file__).parent.parent
FACES = ("database/commands/", "database/cli.py")
"""What may name commands and options: the command line alone."""


def _options(command):
    """Names of the options of a command and of those below it."""
    for name in command.list_commands(None) if hasattr(command, "list_commands") else ():
        yield from _options(command.get_command(None, name))
    for parameter in command.params:
        yield from (name for name in parameter.opts if name.startswith("--"))


APP = typer.main.get_command(cli.app)
OPTIONS = {*_options(APP), "--help"}
NAMED = re.compile(
    rf"tintladder ({'|'.join(cli.COMMANDS)})\b|(?<![\w-])({'|'.join(sorted(OPTIONS))})(?![\w-])"
)
"""A command of ours, or an option of any."""


def _texts(path):
    """Every string of a module that is no docstring, or the whole of a template."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        yield 1, text
        return
    tree = ast.parse(text)
    bare = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in bare:
            yield node.lineno, node.value


def test_no_room_below_the_faces_names_a_command_or_an_option():
    for package in ("calibrate", "database"):
        for path in (HOUSE / package).rglob("*"):
            name = path.relative_to(HOUSE).as_posix()
            if path.suffix in (".py", ".html", ".js") and not name.startswith(FACES):
                for line, text in _texts(path):
                    found = NAMED.search(text)
                    assert found is None, f"{name}:{line} names {found and found[0]}"


def test_what_names_commands_is_found():
    assert len(cli.COMMANDS) > 25 and {"--studio", "--resume", "--without"} <= OPTIONS
    for words in ("run: tintladder fit", "give --card", "(--studio DIR)", "tintladder tubes on X"):
        assert NAMED.search(words), words
    for words in ("this tintladder knows 1", "pip install --upgrade tintladder", "<!-- card -->"):
        assert not NAMED.search(words), words


def test_every_command_and_option_that_a_remedy_names_is_there():
    for words in terminal.WORDS.values():
        assert set(re.findall(r"--[a-z-]+", words)) <= OPTIONS, words
        assert set(re.findall(r"tintladder ([a-z]+)", words)) <= set(cli.COMMANDS), words


def _arguments(words: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(words) if name is not None}


@pytest.mark.parametrize("face", [terminal, page], ids=["terminal", "page"])
def test_every_remedy_has_words_on_both_faces(face):
    assert set(face.WORDS) == set(CODES)
    for code, words in face.WORDS.items():
        assert _arguments(words) <= _arguments(code.value), code


def test_each_face_words_an_error_its_own_way():
    error = InputError("ANCHOR.txt", None, "it doesn't say its unit", CalibrateDo.SAY_UNIT())
    neutral = "ANCHOR.txt: it doesn't say its unit; say which: percent or fraction"
    assert str(error) == error.said() == neutral
    assert in_terminal(error).endswith("; pass --unit percent or --unit fraction")
    assert on_page(error).endswith('; choose it under "Its figures are"')


def test_a_field_is_called_as_the_face_calls_it():
    line = Sentence("leave out ", Field("unit", "percent"), " or ", Field("dry-film"))
    assert str(line) == "leave out unit percent or dry film"
    assert in_terminal(line) == "leave out --unit percent or --dry-film"
    assert on_page(line) == 'leave out "Its figures are" percent or dry film'


def test_a_dropped_file_is_known_by_its_name():
    assert on_page("/home/a b/my studio/dropped/own.csv, swatch: no") == "own.csv, swatch: no"
    assert on_page(r"C:\studio\dropped\own.csv: no") == "own.csv: no"
    assert on_page("the colour dropped/own") == "the colour dropped/own"
