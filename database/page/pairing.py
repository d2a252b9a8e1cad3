"""Lets phones and tablets of the same network in, each by a code, for as long as the page is open.

A code is six digits, works once and for ten minutes. Five wrong ones, whoever typed them, and no
code lets in any more until another is asked for at this machine; each wrong one makes the next wait
twice as long. So a stranger's chance is five in a million, however often he tries.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock

DOOR = "/pair"
"""Path of the address where a code is typed."""
DIGITS = 6
MOST_WRONG = 5
"""Wrong codes after which none is looked at any more."""
LASTS = 600.0
"""Seconds for which a code lets in."""
FIRST_WAIT = 2.0
"""Seconds until the code after the first wrong one is looked at."""
MOST_PHONES = 8


@dataclass
class Phone:
    """A phone or tablet that was let in.

    Attributes
    ----------
    number : int
    address : str
        On the network.
    since, seen : str
        Time of day when it was let in, and when it asked last.
    """

    number: int
    address: str
    since: str
    seen: str


class Pairing:
    """The phones of a server; nothing of them outlasts it.

    Parameters
    ----------
    host : str
        This machine's address on the network.
    port : int
    clock : callable
        Returns seconds, of which only differences count.
    """

    def __init__(self, host: str, port: int, clock: Callable[[], float] = time.monotonic) -> None:
        self.host, self.port = host, port
        self._clock = clock
        self._lock = Lock()
        self._code: str | None = None
        self._ends = self._not_before = 0.0
        self._wrong = self._last = 0
        self._phones: dict[str, Phone] = {}

    @property
    def address(self) -> str:
        """Where a phone finds the page."""
        return f"http://{self.host}:{self.port}"

    @property
    def phones(self) -> list[Phone]:
        """Return those that are in."""
        with self._lock:
            return list(self._phones.values())

    @property
    def code(self) -> str | None:
        """The code that lets the next one in; None where none does."""
        with self._lock:
            return self._code if self._clock() < self._ends else None

    @property
    def guessed(self) -> bool:
        """Whether too many wrong codes came since the last was made."""
        return self._wrong >= MOST_WRONG

    def begin(self) -> str:
        """Make a code, in place of any other."""
        with self._lock:
            self._code = f"{secrets.randbelow(10**DIGITS):0{DIGITS}}"
            self._ends, self._not_before, self._wrong = self._clock() + LASTS, 0.0, 0
            return self._code

    def stop(self) -> None:
        """Let no further phone in."""
        with self._lock:
            self._code = None

    def enter(self, typed: str, address: str) -> tuple[str | None, str]:
        """Let a phone in by what was typed on it.

        Parameters
        ----------
        typed : str
        address : str
            Its own, on the network.

        Returns
        -------
        cookie : str or None
            What it shows from then on; None where it isn't let in.
        words : str
            Why not.
        """
        digits = "".join(c for c in typed if c.isascii() and c.isdigit())
        with self._lock:
            now = self._clock()
            if self._code is None or now >= self._ends:
                return None, "no code lets in just now; ask for one where the page is open"
            if now < self._not_before:
                return None, f"wait {self._not_before - now:.0f} s, then type the code again"
            if not hmac.compare_digest(digits.encode(), self._code.encode()):
                return None, self._not_so(now)
            self._code = None
            if len(self._phones) >= MOST_PHONES:
                return None, f"{MOST_PHONES} phones are in already; end one where the page is open"
            cookie, at = secrets.token_urlsafe(32), time.strftime("%H:%M")
            self._last += 1
            self._phones[cookie] = Phone(self._last, address, at, at)
            return cookie, ""

    def _not_so(self, now: float) -> str:
        self._wrong += 1
        self._not_before = now + FIRST_WAIT * 2 ** (self._wrong - 1)
        if not self.guessed:
            return "that isn't the code; look at it again"
        self._code = None
        return (
            "that isn't the code, and it was the last try; ask for another where the page is open"
        )

    def known(self, cookie: str | None) -> Phone | None:
        """Return the phone that shows a cookie; None for any other."""
        with self._lock:
            found = next(
                (
                    phone
                    for mine, phone in self._phones.items()
                    if cookie and hmac.compare_digest(mine.encode(), cookie.encode())
                ),
                None,
            )
            if found is not None:
                found.seen = time.strftime("%H:%M")
            return found

    def end(self, number: int) -> bool:
        """Let a phone in no longer; whether there was one of that number."""
        with self._lock:
            mine = next((key for key, each in self._phones.items() if each.number == number), None)
            return mine is not None and self._phones.pop(mine) is not None
