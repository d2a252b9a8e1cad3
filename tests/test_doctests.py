"""The examples in docstrings say what is so."""

from __future__ import annotations

import doctest
import importlib
from functools import cache
from pathlib import Path

import pytest
from tintladder.calibrate import fit_ladder

HOUSE = Path(__file__).parent.parent
MODULES = sorted(p for p in (HOUSE / "calibrate").rglob("*.py") if ">>> " in p.read_text("utf-8"))


def name(path):
    parts = path.relative_to(HOUSE).with_suffix("").parts
    return ".".join(["tintladder", *parts]).removesuffix(".__init__")


@cache
def ladder():
    """What the example of `fit_ladder` finds, for those that go on from it."""
    known = {}
    (example,) = doctest.DocTestFinder(recurse=False).find(fit_ladder, globs=known)
    doctest.DocTestRunner().run(example, clear_globs=False)
    return {name: example.globs[name] for name in ("fit", "found")}


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_examples(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = doctest.testmod(importlib.import_module(name(path)), extraglobs=ladder())
    assert done.attempted and not done.failed
