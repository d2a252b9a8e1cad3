"""What happens to the replies of instruments, at random and on request."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

MISHAPS = {
    "silence": "nothing comes back",
    "half": "half a line comes back, without its end",
    "garbage": "bytes of nonsense in the line",
    "checksum": "one byte changed on the way",
    "busy": "it asks for patience",
    "length": "a value too few",
    "late": "the reply comes after patience ended",
    "unplug": "unplugged in the middle of the line, and plugged in again",
}
"""Every mishap by name, in words."""


class Mishaps:
    """Draws mishaps.

    Parameters
    ----------
    shares : mapping of name to share
        How likely each is, at every command; together at most 1.
    seed : int
    """

    def __init__(self, shares: Mapping[str, float], seed: int = 0) -> None:
        self._names = (*shares, "")
        self._edges = np.cumsum(list(shares.values()))
        self.rng = np.random.default_rng(seed)
        self.met: dict[str, int] = dict.fromkeys(shares, 0)

    def draw(self) -> str:
        """Name of what happens to the next command; empty where nothing does."""
        name = self._names[int(np.searchsorted(self._edges, self.rng.random(), side="right"))]
        if name:
            self.met[name] += 1
        return name

    def spoil(self, name: str, reply: bytes) -> bytes:
        """Spoil a reply, its end mark included.

        Parameters
        ----------
        name : str
            Of the mishap.
        reply : bytes

        Returns
        -------
        bytes
        """
        place = int(self.rng.integers(1, max(2, len(reply) - 2)))
        if name == "silence":
            return b""
        if name in ("half", "unplug"):
            return reply[:place]
        if name == "garbage":
            nonsense = self.rng.integers(128, 256, 5, dtype=np.uint8).tobytes()
            return reply[:place] + nonsense + reply[place:]
        if name == "checksum":
            # Flipping its last bit makes another digit of a digit: only a checksum tells.
            return reply[:place] + bytes([reply[place] ^ 1]) + reply[place + 1 :]
        return reply
