"""Adds what this version makes of the archive's card: ``python -m tests.archive``."""

from __future__ import annotations

import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path

from tintladder.database.cards.intake import take_in
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.releases.publish import publish
from tintladder.database.releases.tables.schema import LAYOUT
from tintladder.database.store.schema import HEAD
from tintladder.database.store.store import Store

from . import CARD, HERE, RELEASES


def main() -> None:
    """Pack a studio where its schema is new, and a release where its layout is."""
    with tempfile.TemporaryDirectory() as folder:
        with Store.open(folder) as store:
            take_in(store, CARD)
            fit_studio(store)
            made = publish(store, note="archived", force="archived as this version left it")
        database = Path(folder) / "studio.db"
        with closing(sqlite3.connect(database)) as opened:
            opened.execute("PRAGMA journal_mode=DELETE")
            opened.execute("VACUUM")
        _pack(HERE / f"studio-{HEAD}.zip", {"studio.db": database})
        if not any(path.stem.startswith(f"release-{LAYOUT}") for path in RELEASES):
            files = sorted(made.folder.iterdir())
            held = {f"{made.name}/{path.name}": path for path in files}
            _pack(HERE / f"release-{LAYOUT}a.zip", held)


def _pack(target: Path, held: dict[str, Path]) -> None:
    if target.exists():
        return
    with zipfile.ZipFile(target, "w", zipfile.ZIP_LZMA) as packed:
        for name, path in held.items():
            packed.write(path, name)
    print(f"{target}: {target.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
