"""Studios and releases of every schema and layout so far, as the versions of their time left them.

All were made of the one small card in ``card/``: read, fitted and published by the command line of
an older checkout, the database then packed alone, and the release beside it. Layouts 1 to 3 grew
while they had their number; letters tell their forms apart, the first one a.

``python -m tests.archive`` adds what this version makes, once its schema or its layout is new.
"""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent
STUDIOS = sorted(HERE.glob("studio-*.zip"))
RELEASES = sorted(HERE.glob("release-*.zip"))
CARD = [HERE / "card" / name for name in (
    "paints.toml", "hull-white.toml", "anchor-blue.toml", "hull-white.txt", "anchor-blue.txt",
)]  # fmt: skip
