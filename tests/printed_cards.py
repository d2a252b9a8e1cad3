"""A studio in which cards are printed, and what lies in its folder."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pymupdf
import pytest
from tintladder.calibrate.cards.measure import measure_of
from tintladder.database.cards.printing import WantedCard, print_new_card
from tintladder.database.store import cards
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import PAINTS_TOML


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    """A studio with four invented paints, one of them white."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "paints.toml").write_text(PAINTS_TOML)
    call = partial(run, monkeypatch, capsys)
    assert call("tubes", "load", "paints.toml").status == 0
    return call


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A studio of the same tubes and a printed card, which no test changes."""
    folder = tmp_path_factory.mktemp("kept")
    with Store.open(folder) as store:
        store.paints.add_file(PAINTS_TOML)
        print_new_card(store, WantedCard(("KEEL",), measure_of("0.1")))
    return folder


@pytest.fixture
def carded(tool, monkeypatch):
    """The same with a card, keel-1, printed on 1 May 2026."""
    with monkeypatch.context() as then:
        then.setattr(cards, "now", lambda: "2026-05-01T12:00:00Z")
        said = tool("card", "KEEL", "--scale", "0.1", "--json")
    assert said.status == 0, said.err
    return tool


def text_of(file: Path) -> str:
    with pymupdf.open(file) as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.rglob("*") if path.is_file()}
