"""Pages that need nothing else: style and script stand in them, let in by hash and no other."""

from __future__ import annotations

import base64
import hashlib
from functools import partial
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined


def page_text(package: str, name: str) -> str:
    """Return a template, style or script that lies in a package, by its file's name."""
    return (files(package) / name).read_text(encoding="utf-8")


def hash_of(text: str) -> str:
    """Hash by which a browser lets this one style or script in, and no other."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def page_environment(package: str) -> Environment:
    """Return where a package's templates are found; what users typed is escaped."""
    return Environment(
        loader=FunctionLoader(partial(page_text, package)), autoescape=True,
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
