"""Ten pretend instruments, invented: the manual of each, what answers by it, and a profile.

Manuals and instruments were written without looking at the profile language; each profile in
``profiles/`` was written from the manual in ``manuals/`` alone. `common.Instrument` says how they
are laid down and read.
"""

from .byte_instruments import Five, Four, Seven, Six
from .common import Instrument, as_heard
from .text_instruments import Eight, Nine, One, Ten, Three, Two

INSTRUMENTS = {
    1: One, 2: Two, 3: Three, 4: Four, 5: Five, 6: Six, 7: Seven, 8: Eight, 9: Nine, 10: Ten,
}  # fmt: skip

__all__ = ["INSTRUMENTS", "Instrument", "as_heard"]
