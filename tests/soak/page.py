"""The page under many requests at once."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from tintladder.database.demo.demo import make_demo

from tests.page_crowd import crowd

from .harness import Soaked, soak


@soak("page.parallel_requests", trials=200)
def parallel(trials: int | None, progress: Callable[[str], None]) -> Soaked:
    """All at once: no request fails, and nothing that was said to be kept is lost or doubled."""
    trials = trials or 200
    with tempfile.TemporaryDirectory() as place:
        folder = make_demo(Path(place) / "demo").folder
        progress(f"{trials} requests at once")
        return Soaked(trials, crowd(folder, trials))
