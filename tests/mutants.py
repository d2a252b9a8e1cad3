"""Whether the tests would notice: ``python -m tests.mutants`` (``make mutants``).

A mutant is one of the modules that uncertainty rests on, with one small mistake in it. Lines are
drawn from all lines of these modules, and for each line one mistake; the module's nearest tests
must fail of it. The draw is by a hash of the line's text and a fixed seed, so that a change
elsewhere leaves it as it is. Each mutant runs in a process forked for it and is handed to Python's
import as compiled code: no source file is overwritten, and the libraries are loaded once. Mutants
that change nothing anyone could see stand in ``mutants.toml``, each with its reason.

    python -m tests.mutants [--seed N] [--most N] [PART OF A FILE'S NAME ...]
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import importlib
import importlib.machinery
import os
import resource
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

HOUSE = Path(__file__).resolve().parent.parent
TESTS = {
    "calibrate/fit/problem/noise.py": ("reading_noise",),
    "calibrate/fit/uncertainty/model_errors.py": ("fit_errors",),
    "calibrate/fit/uncertainty/posterior.py": ("fit_errors", "fit_covariance"),
    "calibrate/fit/uncertainty/propagate.py": ("propagate",),
    "calibrate/optics/predict.py": ("averaged", "propagate", "predict"),
    "calibrate/optics/coefficients.py": ("averaged", "concat", "propagate", "predict"),
    "database/releases/gates.py": ("gates_alone",),
    "database/mixing/ranking.py": ("ranking",),
}
"""Modules, and the tests nearest to each, the quickest first."""
MOST, SEED, LEAST_KILLED = 200, 14, 0.95
_PATIENCE = 60
"""Seconds of the processor after which a mutant that still runs counts as killed."""
_OPERATORS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Add: (ast.Sub,), ast.Sub: (ast.Add,), ast.Mult: (ast.Div,), ast.Div: (ast.Mult,),
    ast.Pow: (ast.Mult,), ast.BitAnd: (ast.BitOr,), ast.BitOr: (ast.BitAnd,),
    ast.And: (ast.Or,), ast.Or: (ast.And,), ast.Lt: (ast.LtE, ast.Gt), ast.LtE: (ast.Lt, ast.GtE),
    ast.Gt: (ast.GtE, ast.Lt), ast.GtE: (ast.Gt, ast.LtE), ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,), ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}  # fmt: skip
_CALLS = {
    "maximum": "minimum", "minimum": "maximum", "max": "min", "min": "max", "any": "all",
    "all": "any", "sum": "mean", "mean": "sum", "nansum": "nanmean", "argmax": "argmin",
    "zeros": "ones", "ones": "zeros", "sqrt": "square", "exp": "expm1", "log": "log1p",
    "abs": "negative", "isnan": "isfinite", "isfinite": "isnan", "nanmax": "nanmin",
}  # fmt: skip
_LOADED_ONCE = ("numpy.f2py", "pandas", "pytest", "scipy.optimize", "scipy.stats", "sqlalchemy.orm")
_NOT_RUN = ("annotation", "returns", "decorator_list")


class Mutant(NamedTuple):
    """One mistake in a line of a file; `place` and `variant` say which, for `broken`."""

    file: str
    line: int
    text: str
    mistake: str
    place: int
    variant: int

    def sort_key(self, seed: int) -> tuple[str, str]:
        """What a draw is sorted by: of its line first, then of the mistake itself."""
        said = (f"{seed} {self.file} {self.text}", f"{seed} {self.mistake}")
        first, second = (hashlib.sha256(each.encode()).hexdigest() for each in said)
        return first, second


def _variants(node: ast.AST) -> Iterator[ast.AST]:
    """What could stand in a node's place by mistake, one small thing wrong in each."""
    for other in _OPERATORS.get(type(node), ()):
        yield other()
    match node:
        case ast.Constant(value=bool() | int() | float()):
            yield ast.Constant(_another(node.value))
        case ast.Name(id=name) if name in _CALLS:
            yield ast.Name(_CALLS[name], ast.Load())
        case ast.Attribute(attr=name) if name in _CALLS:
            yield ast.Attribute(node.value, _CALLS[name], ast.Load())
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert()):
            yield node.operand
        case ast.IfExp():
            yield ast.IfExp(node.test, node.orelse, node.body)
        case ast.If():
            yield ast.If(ast.UnaryOp(ast.Not(), node.test), node.body, node.orelse)
        case ast.AugAssign() | ast.Raise() | ast.Continue():
            yield ast.Pass()
        case ast.Expr(value=ast.Call() | ast.Yield() | ast.YieldFrom()):
            yield ast.Pass()


def _another(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    return 2 * value or 1.0


def _places(
    node: ast.AST, line: int = 0
) -> Iterator[tuple[ast.AST, str, int | None, ast.AST, int]]:
    """Every node that runs, after its parent, its field, its place in a list, and with its line."""
    for field, value in ast.iter_fields(node):
        for i, child in enumerate(value if isinstance(value, list) else [value]):
            if isinstance(child, ast.AST) and field not in _NOT_RUN:
                at = getattr(child, "lineno", line)
                yield node, field, i if isinstance(value, list) else None, child, at
                yield from _places(child, at)


def mutants_of(file: str) -> list[Mutant]:
    """Every mutant of a file."""
    source = (HOUSE / file).read_text(encoding="utf-8")
    lines, found = source.splitlines(), []
    for place, (parent, _, _, node, line) in enumerate(_places(ast.parse(source))):
        for variant, other in enumerate(_variants(node)):
            mistake = f"{_shown(node)} -> {_shown(other)}"
            if isinstance(parent, ast.expr):
                mistake += f" in {_shown(parent)}"
            found.append(Mutant(file, line, lines[line - 1].strip(), mistake, place, variant))
    return found


def _shown(node: ast.AST) -> str:
    operator = isinstance(node, ast.operator | ast.cmpop | ast.boolop)
    return type(node).__name__ if operator else ast.unparse(node).splitlines()[0]


def drawn(files: list[str], most: int, seed: int) -> list[Mutant]:
    """One mutant a line, of as many lines as are wanted."""
    by_line: dict[str, Mutant] = {}
    every = (mutant for file in files for mutant in mutants_of(file))
    for mutant in sorted(every, key=lambda mutant: mutant.sort_key(seed)):
        by_line.setdefault(mutant.sort_key(seed)[0], mutant)
    return list(by_line.values())[:most]


def broken(mutant: Mutant) -> Any:
    """Compiled code of a file with the mistake in it."""
    tree = ast.parse((HOUSE / mutant.file).read_text(encoding="utf-8"))
    parent, field, i, node, _ = list(_places(tree))[mutant.place]
    other = list(_variants(node))[mutant.variant]
    if isinstance(node, ast.expr | ast.stmt):
        ast.copy_location(other, node)
    if i is None:
        setattr(parent, field, other)
    else:
        getattr(parent, field)[i] = other
    return compile(ast.fix_missing_locations(tree), str(HOUSE / mutant.file), "exec")


def _tests_pass(tests: tuple[str, ...], mutant: Mutant | None) -> bool:
    """Whether tests pass with a mutant in place, in a process of its own."""
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (_PATIENCE, _PATIENCE))
        os._exit(_run_tests(tests, mutant))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def _run_tests(tests: tuple[str, ...], mutant: Mutant | None) -> int:
    import pytest

    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 1), os.dup2(sink, 2)
    loader: Any = importlib.machinery.SourceFileLoader
    as_written = loader.get_code

    def get_code(self: Any, name: str) -> Any:
        mine = mutant and Path(self.path).resolve() == HOUSE / mutant.file
        return broken(mutant) if mutant and mine else as_written(self, name)

    loader.get_code = get_code
    paths = [str(HOUSE / "tests" / f"test_{test}.py") for test in tests]
    # What tests share would load the whole house for each mutant.
    return int(pytest.main(["-x", "-p", "no:cacheprovider", "--noconftest", *paths]))


def equivalent() -> dict[tuple[str, str, str], str]:
    """Reasons why some mutants change nothing, by file, line and mistake."""
    table = tomllib.loads((HOUSE / "tests/mutants.toml").read_text(encoding="utf-8"))
    return {(m["file"], m["line"], m["mistake"]): m["reason"] for m in table["equivalent"]}


def main() -> None:
    """Print each survivor, and how many were killed; exit with 1 where these are too few."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("parts", nargs="*")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--most", type=int, default=MOST)
    asked = parser.parse_args()
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    for library in _LOADED_ONCE:
        importlib.import_module(library)

    files = [f for f in TESTS if not asked.parts or any(part in f for part in asked.parts)]
    for file in files:
        assert _tests_pass(TESTS[file], None), f"the tests of {file} fail as it is"
    same, survivors, seen = equivalent(), [], 0
    chosen = drawn(files, asked.most, asked.seed)
    for mutant in chosen:
        if (mutant.file, mutant.text, mutant.mistake) in same:
            continue
        seen += 1
        if _tests_pass(TESTS[mutant.file], mutant):
            survivors.append(mutant)
            print(f"{mutant.file}:{mutant.line}: {mutant.text}\n    {mutant.mistake}", flush=True)
    killed = seen - len(survivors)
    print(
        f"{killed} of {seen} mutants killed ({killed / seen:.1%}), "
        f"{len(chosen) - seen} set aside as equivalent"
    )
    sys.exit(killed < LEAST_KILLED * seen)


if __name__ == "__main__":
    main()
