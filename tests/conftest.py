"""A real browser for tests of pages; without one they skip."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as made:
        # Its own sandbox needs rights that a container seldom gives.
        started = made.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def phone(browser: Any) -> Iterator[Any]:
    opened = browser.new_page(viewport={"width": 390, "height": 844})
    yield opened
    opened.close()
