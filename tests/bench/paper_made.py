"""Studios of one, ten and forty tubes, and every paper, page and picture that is made of them."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from sqlalchemy import select
from tintladder.database.demo.demo import make_demo
from tintladder.database.paper.report.page import report
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.trust import judge
from tintladder.database.store import schema
from tintladder.database.store.store import Store

from tests.many_paints import many_paints

from .harness import Skipped
from .shell import tool

ONE, TEN, FORTY = 1, 10, 40
COUNTS = (ONE, TEN, FORTY)
SOLE, WHITE = "ANCHOR", "HULL"
"""The tube that stands alone, and what lets it down."""
PICTURES = ("tint", "film", "hiding", "strength", "leftover", "reach", "triangle")
SINGLE = ("tint", "hiding", "leftover")
"""Pictures that one paint has of its own."""
THREE = ("ROPE", "ANCHOR", "PENNANT")
BROWSER = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass(frozen=True)
class Output:
    """One paper, page or picture.

    Attributes
    ----------
    kind : str
        What it is of, and on which paper.
    tubes : int
    file : Path or None
        None where it could not be made.
    why : str
        What was said then.
    """

    kind: str
    tubes: int
    file: Path | None
    why: str = ""


def place() -> Path:
    """A new folder."""
    return Path(tempfile.mkdtemp(prefix="paper-"))


@cache
def demo() -> tuple[Path, Path]:
    """The demo's studio, and its release as a zip."""
    made = make_demo(place() / "demo")
    return made.folder, made.release.archive


@cache
def studio(tubes: int) -> Path:
    """A studio with so many tubes; those of one have a white too.

    Forty are the demo's over and over, adopted under other nicknames, with names as long as makers
    print them.
    """
    folder, archive = demo()
    if tubes <= TEN:
        return folder
    mine = place() / "many"
    shutil.copytree(folder, mine)
    with Store.open(mine) as store:
        trust = judge(archive)
        theirs = [str(paint) for paint in load_release(archive).tables["paints"]["paint"]]
        for n in range(2, 2 + (tubes - len(theirs)) // len(theirs)):
            adopt(store, archive, {paint: f"{paint}{n}" for paint in theirs}, trust=trust)
        with store.transaction() as session:
            for paint in session.scalars(select(schema.Paint)):
                if paint.nickname[-1].isdigit():
                    paint.name = f"{paint.name} of the {paint.nickname[-1]}nd winter stock"
    return mine


def chosen(tubes: int) -> Sequence[str]:
    """What is typed for a studio's tubes: the one by its name, else none, which means all."""
    return (SOLE,) if tubes == ONE else ()


@cache
def printed() -> tuple[Output, ...]:
    """Every paper of every studio, on A4 and letter."""
    found = []
    for tubes in COUNTS:
        for page in ("a4", "letter"):
            for kind in ("atlas", "chart", "tubes", "triangle"):
                named = THREE if kind == "triangle" else chosen(tubes)
                if kind == "chart" and tubes == ONE:
                    named = (SOLE, "ROPE")
                file = place() / f"{kind}.pdf"
                said = tool(studio(tubes), "sheet", kind, *named, "--page", page, "--out", file)
                found.append(_output(f"{kind} {page}", tubes, file, said.err))
        file = place() / "setout.pdf"
        wanted = ("#7d99a8", "#a05030", "#203a20") if tubes > ONE else ("#7d99a8",)
        said = tool(studio(tubes), "setout", *wanted, "--scale", "0.1", "--print", file)
        found.append(_output("setout a4", tubes, file, said.err))
    return tuple(found)


@cache
def pictures(suffix: str) -> tuple[Output, ...]:
    """Every picture of every studio."""
    found = []
    for tubes in COUNTS:
        for show in PICTURES:
            named = THREE if show == "triangle" else chosen(tubes)
            if show == "leftover":
                named = (SOLE,)
            file = place() / f"{show}{suffix}"
            said = tool(studio(tubes), "plot", *named, "--show", show, "--out", file)
            found.append(_output(show, tubes, file, said.err))
    file = place() / f"ways{suffix}"
    said = tool(studio(TEN), "recipe", "62,-18,-9", "--picture", file)
    found.append(_output("ways", TEN, file, said.err))
    return tuple(found)


def _output(kind: str, tubes: int, file: Path, why: str) -> Output:
    return Output(kind, tubes, file if file.exists() else None, " ".join(why.split())[:150])


@cache
def report_page(tubes: int) -> Path:
    """The report of so many paints."""
    _, archive = demo()
    release = load_release(archive)
    if tubes == ONE:
        mine = place() / "one"
        shutil.copytree(studio(TEN), mine)
        with Store.open(mine) as store:
            rest = [p.nickname for p in store.paints.all() if p.nickname not in (SOLE, WHITE)]
            release = load_release(publish(store, exclude=rest, force="one alone").archive)
    elif tubes > TEN:
        release = many_paints(release, tubes)
    file = place() / f"report-{tubes}.html"
    file.write_text(report(release, "ab" * 32), encoding="utf-8")
    return file


@cache
def report_printed(tubes: int) -> Path:
    """The same as a browser prints it on A4."""
    browser = shutil.which("chromium")
    if browser is None:
        raise Skipped("there is no chromium here")
    folder = place()
    subprocess.run(
        [
            browser, *BROWSER, f"--user-data-dir={folder / 'profile'}", "--no-pdf-header-footer",
            f"--print-to-pdf={folder / 'report.pdf'}", report_page(tubes).as_uri(),
        ],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    return folder / "report.pdf"


@cache
def handout() -> Path:
    """The page for a class, of three colours."""
    file = place() / "lesson.html"
    said = tool(studio(TEN), "lesson", "#7d99a8", "#a05030", "#203a20", "--out", file)
    assert file.exists(), said.err
    return file
