"""What many tests share: a small release published once, and a real browser if there is one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from tintladder.database.demo.demo import Demo, make_demo
from tintladder.database.releases.publish import Release, publish
from tintladder.database.store.store import Store

from .page_server import LET_IN, Visitor, serving
from .printed_cards import carded, kept, tool  # noqa: F401
from .studio_fixtures import WHEN, fill

# How fast examples are made says how busy the machine is, not whether a test holds.
settings.register_profile(
    "any-machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any-machine")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def published(tmp_path_factory: pytest.TempPathFactory) -> Release:
    with Store.open(tmp_path_factory.mktemp("published")) as store:
        return publish(fill(store), note="first, of invented paints", created=WHEN)


@pytest.fixture
def copy(published: Release, tmp_path: Path) -> Path:
    """A release that a test may spoil."""
    folder = tmp_path / published.name
    shutil.copytree(published.folder, folder)
    return folder


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """The demo's studio, made once; a test that changes it takes a copy."""
    return make_demo(tmp_path_factory.mktemp("demo") / "demo")


@pytest.fixture(scope="module")
def own_demo(demo: Demo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo's studio for the tests of one file."""
    folder = tmp_path_factory.mktemp("own") / "demo"
    shutil.copytree(demo.folder, folder)
    return folder


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
    opened.context.add_cookies([LET_IN])
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def demo_page(demo: Demo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """The page of the demo's studio, which the tests of a file only look at or put back."""
    folder = tmp_path_factory.mktemp("page") / "demo"
    shutil.copytree(demo.folder, folder)
    with serving(folder) as visitor:
        yield visitor


@pytest.fixture
def own_page(demo: Demo, tmp_path: Path) -> Iterator[tuple[Visitor, Path]]:
    """The page of a copy of the demo's studio, to change, and its folder."""
    shutil.copytree(demo.folder, tmp_path / "demo")
    with serving(tmp_path / "demo") as visitor:
        yield visitor, tmp_path / "demo"


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Visitor]:
    """The page of an empty studio."""
    with serving(tmp_path / "studio") as visitor:
        yield visitor


@pytest.fixture
def window(browser: Any) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.add_cookies([LET_IN])
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    yield opened
    context.close()
    assert not faults
