"""Show a chapter of the manual."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import JsonOption, StudioOption, print_table, say

EXAMPLE = "tintladder manual scanning"


def manual(
    topic: Annotated[
        str | None, typer.Argument(help="The chapter; without one, the list of chapters.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,  # the same for every studio; taken as by every other command
) -> None:
    """Read a chapter of the manual; alone, list the chapters."""
    from ..manual import TOPICS, chapter

    if topic is None:
        chapters = [chapter(name) for name in TOPICS]
        rows = [(each.topic, each.title) for each in chapters]
        said = [{"topic": name, "title": title} for name, title in rows]
        say(said, as_json, lambda: print_table(("Chapter", "About"), rows))
        return
    found = chapter(topic)
    said_ = {"topic": found.topic, "title": found.title, "text": found.text}
    say(said_, as_json, lambda: _show(found.text))


def _show(text: str) -> None:
    """Print a chapter, laid out where a terminal shows it and as Markdown where a file takes it."""
    from rich.console import Console
    from rich.markdown import Markdown

    console = Console()
    if console.is_terminal:
        console.print(Markdown(text), width=min(console.width, 100))
    else:
        typer.echo(text.rstrip())
