"""What axe-core, which follows WCAG 2, finds at fault on a page."""

from __future__ import annotations

from typing import Any


def serious_faults(window: Any, where: str) -> list[str]:
    """Serious and critical faults of the page that a browser shows, in lines."""
    from axe_playwright_python.sync_playwright import Axe

    result = Axe().run(window).response
    assert len(result["passes"]) > 10
    return [
        f"{where}: {fault['id']}: {[node['html'] for node in fault['nodes']][:2]}"
        for fault in result["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
