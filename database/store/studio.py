"""Where the user's studio is, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ...calibrate.errors import InputError

FOLDERS = ("releases", "cards", "dropped", "scans", "devices", "paper")
"""Folders in a studio's own that files are written into, by commands or by the page."""
SIGNING_KEY = "signing-key.pem"
"""What a studio signs its releases with; readable by its owner alone."""


@dataclass(frozen=True)
class Studio:
    """A user's folder: the database, and the releases beside it.

    Attributes
    ----------
    url : str
        Of the database: ``studio.db`` in the folder, or a shared one.
    """

    folder: Path
    url: str

    @classmethod
    def at(cls, where: str | Path | None = None) -> Studio:
        """Resolve a folder (default: the current one) or the URL of a shared database.

        A shared database keeps its releases beside the current folder.

        Raises
        ------
        InputError
            Where the place is a file.
        """
        if isinstance(where, str) and "://" in where:
            return cls(Path.cwd(), where)
        folder = Path(where or ".").expanduser().absolute()
        if folder.exists() and not folder.is_dir():
            raise InputError(
                folder, None, "expected the folder of a studio, found a file", "name its folder"
            )
        return cls(folder, f"sqlite:///{folder / 'studio.db'}")

    @property
    def database(self) -> Path | None:
        """The database file; None where it is shared."""
        return Path(self.url.removeprefix("sqlite:///")) if self.url.startswith("sqlite") else None

    @property
    def folders(self) -> list[Path]:
        """Its folder, and those in it that files are written into."""
        return [self.folder, *(self.folder / name for name in FOLDERS)]

    @property
    def releases(self) -> Path:
        """Published releases."""
        return self.folder / "releases"
