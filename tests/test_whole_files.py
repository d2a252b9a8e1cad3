"""Files are written whole or not at all, in one way."""

from __future__ import annotations

import ast
import errno
import os
from pathlib import Path

import pytest
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.layout import layout_text
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.formats.target_values import read_target_values
from tintladder.calibrate.instrument.profile_file import profile_text
from tintladder.calibrate.scan.image import read_facts
from tintladder.database.common.files import beside, read_text, write_whole
from tintladder.database.releases.files import read_files

HOUSE = Path(__file__).parent.parent
OWN = {"write_bytes", "write_text", "mkstemp", "NamedTemporaryFile"}
"""Ways to write a file that only `database/common/files.py` may go."""


def names(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


def test_all_are_written_and_nothing_else_is_left(tmp_path):
    (tmp_path / "a.txt").write_bytes(b"before")
    write_whole({tmp_path / "a.txt": b"one", tmp_path / "new" / "b.txt": b"two"})
    assert names(tmp_path) == ["a.txt", "new", "new/b.txt"]
    assert (tmp_path / "a.txt").read_bytes() == b"one"


def test_where_one_cannot_be_written_none_is(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_bytes(b"before")
    whole = Path.write_bytes

    def full_disk(path, data):
        if "b.txt" in path.name:
            raise OSError(errno.ENOSPC, "no space left")
        return whole(path, data)

    monkeypatch.setattr(Path, "write_bytes", full_disk)
    with pytest.raises(InputError, match=r"b\.txt: can't be written \(no space left\); make room"):
        write_whole({tmp_path / "a.txt": b"one", tmp_path / "b.txt": b"two"}, "make room")
    assert names(tmp_path) == ["a.txt"] and (tmp_path / "a.txt").read_bytes() == b"before"


def test_what_breaks_off_leaves_the_file_as_it_was(tmp_path):
    file = tmp_path / "a.txt"
    file.write_bytes(b"before")
    with pytest.raises(KeyError), beside(file) as (part,):
        part.write_bytes(b"half")
        raise KeyError
    assert file.read_bytes() == b"before" and names(tmp_path) == ["a.txt"]


READERS = (
    read_card, layout_text, profile_text, read_facts, read_target_values, read_session, read_text,
    read_files,
)  # fmt: skip


@pytest.mark.parametrize("read", READERS, ids=lambda read: read.__name__)
def test_a_pipe_is_refused_and_never_waited_for(tmp_path, read):
    os.mkfifo(tmp_path / "a.toml")
    with pytest.raises(InputError) as error:
        read(tmp_path / "a.toml")
    assert "\n" not in str(error.value)


def test_there_is_one_way_to_write_a_file():
    for package in ("calibrate", "database"):
        for path in (HOUSE / package).rglob("*.py"):
            if path == HOUSE / "database" / "common" / "files.py":
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Attribute):
                    assert node.attr not in OWN, f"{path}:{node.lineno} {node.attr}"
