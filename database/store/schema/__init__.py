"""The tables of the studio database, all behind one name, and the newest of their migrations."""

from __future__ import annotations

from .base import Base
from .changes import Change
from .fits import (
    CURRENT,
    Batch,
    Check,
    Drying,
    Fit,
    Habit,
    Key,
    PaintFit,
    Plate,
    Recipe,
    Release,
    Sent,
)
from .readings import (
    FINISHES,
    ORDINARY,
    Calibration,
    Card,
    CardVersion,
    Device,
    Drawdown,
    Import,
    Lot,
    Paint,
    Reading,
    Scan,
    ScanPatch,
    Session,
    Sitting,
    SittingReading,
)

HEAD = "0017"
"""The newest migration; a test holds it against the migrations themselves."""


APPEND_ONLY = (
    "sessions", "readings", "releases", "scans", "scan_patches", "sitting_readings",
)  # fmt: skip
"""Tables whose rows are never changed nor deleted; triggers of the migration see to it."""

__all__ = [
    "APPEND_ONLY",
    "CURRENT",
    "FINISHES",
    "HEAD",
    "ORDINARY",
    "Base",
    "Batch",
    "Calibration",
    "Card",
    "CardVersion",
    "Change",
    "Check",
    "Device",
    "Drawdown",
    "Drying",
    "Fit",
    "Habit",
    "Import",
    "Key",
    "Lot",
    "Paint",
    "PaintFit",
    "Plate",
    "Reading",
    "Recipe",
    "Release",
    "Scan",
    "ScanPatch",
    "Sent",
    "Session",
    "Sitting",
    "SittingReading",
]
