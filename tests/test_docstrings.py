"""Docstrings of public functions say what goes in and what comes out."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

HOUSE = Path(__file__).parent.parent
MOST_ABSENT = 0.1


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


def test_parameters_and_returns_are_described() -> None:
    every = list(functions())
    giving = [(place, node) for place, node in every if returns(node)]
    for what, asked, found in (
        ("Parameters", every, [p for p, n in every if section(n, "Parameters")]),
        ("Returns", giving, [p for p, n in giving if section(n, "Returns", "Yields")]),
    ):
        absent = sorted({place for place, _ in asked} - set(found))
        words = f"{what}: {len(found)} of {len(asked)}; absent in\n" + "\n".join(absent)
        assert len(absent) <= MOST_ABSENT * len(asked), words
