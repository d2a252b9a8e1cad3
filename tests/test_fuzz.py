"""Every reader of files: what was spoilt is read or is one line, never another error."""

from __future__ import annotations

import io
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tintladder.calibrate.errors import InputError

from .fuzzed import READERS, SMALL, WORDS, spoilt, tried

SLOW = ("xlsx", "xlsx_sheet", "release", "release_descriptor",
        "release_table", "release_verified", "release_sums")  # fmt: skip
"""Readers that unpack an archive each time."""
EDITS = st.lists(
    st.tuples(
        st.floats(0, 1), st.integers(0, 3), st.integers(1, SMALL), st.sampled_from(WORDS)
    ),
    min_size=1,
    max_size=5,
)  # fmt: skip


@pytest.mark.parametrize("name", READERS)
def test_good_files_are_read(name):
    for seed in READERS[name].seeds():
        READERS[name].read(seed)


@pytest.mark.parametrize("name", READERS)
def test_spoilt_files_are_read_or_are_one_line(name):
    seeds = READERS[name].seeds()

    @settings(
        max_examples=4 if name in SLOW else 40,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.integers(0, len(seeds) - 1), EDITS)
    def check(which, edits):
        tried(name, spoilt(seeds[which], edits))

    check()


def archive_of(name, named):
    """A zip of one member, and then under another name of as many bytes."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr(name, "x")
    return made.getvalue().replace(name.encode(), named)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("paints", b"[[paint]]\nprice = " + b"9" * 400),
        ("paints", b"[[paint]]\nprice = 0x" + b"F" * 9000),
        ("paints", b"x = " + b"[" * 9000),
        ("release_descriptor", b"[" * 99000),
        ("xlsx", archive_of("é", b"\xf7\xf7")),
        ("release", archive_of("a", b"\x00")),
    ],
)
def test_what_once_fell_out(name, data):
    with pytest.raises(InputError):
        READERS[name].read(data)
