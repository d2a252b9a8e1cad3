"""The chapters of the manual, on the page."""

from __future__ import annotations

import re

from markdown_it import MarkdownIt
from markupsafe import Markup, escape
from starlette.responses import Response

from ...manual import TOPICS, chapter
from ..asked import Asked, view


@view
def contents(asked: Asked) -> Response:
    """List the chapters."""
    return asked.show("manual.html", chapters=[chapter(topic) for topic in TOPICS], text=None)


@view
def one(asked: Asked) -> Response:
    """Show one chapter."""
    found = chapter(asked.path("topic"))
    # The chapters ship with the program, so their HTML needs no cleaning; what is typed as HTML
    # in them is shown as it stands.
    shown = MarkdownIt("commonmark", {"html": False}).enable("table").render(found.text)
    linked = re.sub(
        rf"<code>\w+ manual\s+({'|'.join(TOPICS)})</code>",
        lambda named: f'<a href="/manual/{named[1]}">{escape(chapter(named[1]).title)}</a>',
        shown,
    )
    wrapped = linked.replace(
        "<table>", '<div class="scroll" tabindex="0" role="region" aria-label="Table"><table>'
    ).replace("</table>", "</table></div>")
    # An example may be wider than a phone: it is moved sideways by keyboard too.
    wrapped = wrapped.replace("<pre>", '<pre tabindex="0" role="region" aria-label="Example">')
    return asked.show("manual.html", chapters=None, title=found.title, text=Markup(wrapped))
