"""Docstrings of public functions say what goes in and what comes out."""

from __future__ import annotations

import ast
import doctest
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tintladder import calibrate as door

HOUSE = Path(__file__).parent.parent
LEAST = {"Parameters": 0.9, "Returns": 0.9}
"""Share that has each section."""


def functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Public functions and methods of calibrate with two arguments or more."""
    for path in sorted((HOUSE / "calibrate").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for owner in [tree, *(n for n in tree.body if isinstance(n, ast.ClassDef))]:
            if isinstance(owner, ast.ClassDef) and owner.name.startswith("_"):
                continue
            for node in owner.body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    a = node.args
                    every = [x.arg for x in (*a.posonlyargs, *a.args, *a.kwonlyargs)]
                    if len([x for x in every if x not in ("self", "cls")]) >= 2:
                        yield f"{path.relative_to(HOUSE)}:{node.lineno} {node.name}", node


def returns(node: ast.FunctionDef) -> bool:
    """Whether a function gives anything back."""
    return not (isinstance(node.returns, ast.Constant) and node.returns.value is None)


def section(node: ast.FunctionDef, *names: str) -> bool:
    """Whether a docstring has a numpydoc section."""
    text = ast.get_docstring(node) or ""
    return any(re.search(rf"^{name}\n-+$", text, re.MULTILINE) for name in names)


@pytest.mark.parametrize("what", LEAST)
def test_arguments_and_results_are_described(what: str) -> None:
    if what == "Parameters":
        asked = [(place, section(node, what)) for place, node in functions()]
    else:
        giving = [(place, node) for place, node in functions() if returns(node)]
        asked = [(place, section(node, "Returns", "Yields")) for place, node in giving]
    absent = [place for place, there in asked if not there]
    share = 1 - len(absent) / len(asked)
    words = f"{what} in {share:.1%} of {len(asked)}; absent in\n" + "\n".join(absent)
    assert share >= LEAST[what], words


def test_what_the_door_exports_has_sixty_examples() -> None:
    """And a doctest runs each; see test_doctests.py."""
    finder = doctest.DocTestFinder()
    found: dict[str, doctest.DocTest] = {}
    for name in door.__all__:
        exported = getattr(door, name)
        if callable(exported):
            home = sys.modules[exported.__module__]
            for example in finder.find(exported, f"{home.__name__}.{name}", module=home):
                if example.examples:
                    found[example.name] = example
    assert len(found) >= 60, len(found)
