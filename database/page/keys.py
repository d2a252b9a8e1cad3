"""Who may use the page: this account, by a key kept for it, let in by an address once."""

from __future__ import annotations

import hmac
import os
import secrets
from contextlib import suppress
from pathlib import Path

DOOR = "/enter"
"""Path of the address that lets in."""
_OWN = 0o600
_KEY_BYTES = 32


class Keys:
    """What lets a browser in.

    Parameters
    ----------
    secret : bytes
        That only this account knows; what a browser is given follows from it, so that a tab left
        open is known again after a restart.
    """

    def __init__(self, secret: bytes) -> None:
        self._secret = secret
        self._tickets: set[str] = set()

    @property
    def cookie(self) -> str:
        """What a browser that was let in shows from then on."""
        return hmac.new(self._secret, b"page", "sha256").hexdigest()

    def ticket(self) -> str:
        """Make a word that lets one browser in, once."""
        made = secrets.token_urlsafe(24)
        self._tickets.add(made)
        return made

    def take(self, ticket: str) -> bool:
        """Take a word that lets in; whether it was one that nobody had used."""
        found = next((t for t in self._tickets if hmac.compare_digest(t, ticket)), None)
        self._tickets.discard(found or "")
        return found is not None

    def known(self, cookie: str | None) -> bool:
        """Whether a browser was let in."""
        return cookie is not None and hmac.compare_digest(cookie.encode(), self.cookie.encode())


def folder() -> Path:
    """Where this account's programs keep what outlasts them (XDG base directories)."""
    state = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(state) / "tintladder"


def kept_keys() -> Keys:
    """Return the keys of this account; where none can be kept, those of this server alone."""
    path = folder() / "page-key"
    with suppress(OSError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if path.exists() and not _of_this_account(path):
            path.unlink()
        if not path.exists():
            write_own(path, secrets.token_bytes(_KEY_BYTES))
        found = path.read_bytes()
        if len(found) == _KEY_BYTES:
            return Keys(found)
        path.unlink()
    return Keys(secrets.token_bytes(_KEY_BYTES))


def write_own(path: Path, content: bytes) -> None:
    """Write a new file that only this account can read, from its first byte on."""
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWN), "wb") as made:
        made.write(content)


def _of_this_account(path: Path) -> bool:
    found = path.stat()
    if not hasattr(os, "getuid"):
        return True
    return found.st_uid == os.getuid() and found.st_mode & 0o077 == 0
