"""What to do about an error is a code in the rooms below; each face has its own words for it."""

from __future__ import annotations

import string

import pytest
from tintladder.calibrate.errors import CardDo, Field, InputError, Sentence
from tintladder.database.commands import remedies as in_terminal
from tintladder.database.page import remedies as on_page

CODES = list(CardDo)


def _arguments(words: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(words) if name is not None}


@pytest.mark.parametrize("face", [in_terminal, on_page], ids=["terminal", "page"])
def test_every_remedy_has_words_on_both_faces(face):
    assert set(face.WORDS) == set(CODES)
    for code, words in face.WORDS.items():
        assert _arguments(words) <= _arguments(code.value), code


def test_each_face_words_an_error_its_own_way():
    error = InputError("ANCHOR.txt", None, "it doesn't say its unit", CardDo.SAY_UNIT())
    neutral = "ANCHOR.txt: it doesn't say its unit; say which: percent or fraction"
    assert str(error) == error.said() == neutral
    assert in_terminal.said(error).endswith("; pass --unit percent or --unit fraction")
    assert on_page.said(error).endswith('; choose it under "Its figures are"')


def test_a_field_is_called_as_the_face_calls_it():
    line = Sentence("leave out ", Field("unit", "percent"), " or ", Field("dry-film"))
    assert str(line) == "leave out unit percent or dry film"
    assert in_terminal.said(line) == "leave out --unit percent or --dry-film"
    assert on_page.said(line) == 'leave out "Its figures are" percent or dry film'


def test_a_dropped_file_is_known_by_its_name():
    assert on_page.said("/home/a b/my studio/dropped/own.csv, swatch: no") == "own.csv, swatch: no"
    assert on_page.said("C:\\studio\\dropped\\own.csv: no") == "own.csv: no"
    assert on_page.said("the colour dropped/own") == "the colour dropped/own"
