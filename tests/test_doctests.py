"""The examples in docstrings say what is so."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent
MODULES = sorted(p for p in (HOUSE / "calibrate").rglob("*.py") if ">>> " in p.read_text("utf-8"))


def name(path):
    parts = path.relative_to(HOUSE).with_suffix("").parts
    return ".".join(["tintladder", *parts]).removesuffix(".__init__")


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_examples(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = doctest.testmod(importlib.import_module(name(path)))
    assert done.attempted and not done.failed
