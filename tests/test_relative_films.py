"""Paints whose K and S are relative to a white: a film over any ground is refused on both faces.

How many coats of a brush hide can't be said of them: what a brush leaves was only ever told
against that white's own S.
"""

from __future__ import annotations

import html
from dataclasses import replace
from typing import Any

import pytest
from tintladder.database.store.fits import Fits

from .command import run

WORDS = "K and S of these paints are relative to HULL: how thin a film hides is unknown"


@pytest.fixture
def relative(own_page: Any, monkeypatch: Any) -> Any:
    """The demo's studio, as if all of its cards had been brushed."""
    whole = Fits.coefficients
    monkeypatch.setattr(
        Fits, "coefficients", lambda *a, **k: replace(whole(*a, **k), scale="relative to HULL")
    )
    return own_page


@pytest.mark.parametrize(
    "typed",
    [
        ("recipe", "45,20,30", "--over", "ROPE"),
        ("recipe", "60,-5,-10", "--over", "black", "--thickness", "30"),
        ("recipe", "60,-5,-10", "--over", "50,10,20"),
        ("predict", "ANCHOR=1,HULL=4", "--thickness", "30", "--over", "ROPE"),
    ],
)
def test_the_command_refuses_in_a_sentence(relative, typed, monkeypatch, capsys):
    answer = run(monkeypatch, capsys, *typed, "--studio", relative[1])
    assert answer.status == 2 and WORDS in " ".join(answer.err.split())
    assert "read a drawdown of known thickness" in " ".join(answer.err.split())
    assert len(answer.err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    "path",
    [
        "/mix?target=45,20,30&film=30&over=black&look=yes",
        "/predict?p:ANCHOR=1&p:HULL=4&film=30",
        "/predict?p:ANCHOR=1&p:HULL=4&film=30&over=ROPE",
    ],
)
def test_the_page_refuses_in_the_same_sentence(relative, path):
    page, _ = relative
    answer = page.get(path)
    assert answer.status == 200 and WORDS in html.unescape(answer.text)
    # Paint that hides is answered as ever.
    assert page.get("/mix?target=45,20,30&look=yes").text.count('class="way"') >= 1
