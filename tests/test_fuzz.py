"""Every reader of files: what was spoilt is read or is one line, never another error."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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
        max_examples=8 if name in SLOW else 40,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.integers(0, len(seeds) - 1), EDITS)
    def check(which, edits):
        tried(name, spoilt(seeds[which], edits))

    check()
