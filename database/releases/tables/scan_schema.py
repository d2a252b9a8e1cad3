"""The tables of a release that hold scans and the devices that made them."""

from __future__ import annotations

from ....calibrate.optics.spectra import GRID
from .columns import Column, Table, count, key, number, text

CHANNELS = ("red", "green", "blue")
_SINCE = 2
_TO_SCANNER = (("calibration",), "scanners", ("calibration",))

SCAN_TABLES: tuple[Table, ...] = (
    Table(
        "scanners",
        "The scanners and phones, as they were characterised.",
        (
            count("calibration", "number"),
            key("device", "its owner's name for it"),
            key("done", "UTC, ISO 8601"),
            Column("target", "object", "files of its picture and values, and their SHA-256", True),
            Column("characterised", "object", "settings, curves, colour, errors left out", True),
        ),
        ("calibration",),
        since=_SINCE,
    ),
    Table(
        "sensitivities",
        "What each channel of a scanner sees: lamp, filter and detector together, a column for "
        "each wavelength. Factor 0 is the estimate, the others its change at one standard "
        "deviation of what is unsure of it. Rows of nought are left out.",
        (
            count("calibration", "number"),
            count("factor", "0, or number of what is unsure"),
            text("channel", "of the three", CHANNELS),
            *(number(f"{w:g}", f"at {w:g} nm") for w in GRID),
        ),
        ("calibration", "factor", "channel"),
        (_TO_SCANNER,),
        since=_SINCE,
    ),
    Table(
        "scans",
        "The pictures of cards, and how each was read.",
        (
            count("scan", "number"),
            key("card", "that was scanned"),
            key("file", "name of the picture"),
            key("sha256", "of the picture"),
            text("taken", "day that the picture states, ISO 8601"),
            key("added", "UTC, ISO 8601"),
            count("calibration", "of its device"),
            number("dpi", "resolution as found on the card", True),
            text("level_from", "what the level rests on"),
            number("level_uncertainty", "relative, of a factor that all its channels share", True),
            Column("settings", "object", "of the device, as the picture shows them", True),
            Column("evened", "object", "stray and uneven light taken away", True),
        ),
        ("scan",),
        ((("card",), "cards", ("card",)), _TO_SCANNER),
        since=_SINCE,
    ),
    Table(
        "channels",
        "Every patch of a scanned card: linear channels, 45:0, a perfect diffuser reads 1.",
        (
            count("scan", "number"),
            key("patch", "step/substrate"),
            count("repeat", "first, second, ... place of the patch"),
            *(number(name, "channel", True) for name in CHANNELS),
            *(number(f"variance_{name}", "beside the level's", True) for name in CHANNELS),
            number("left_out", "share of the patch left out as soiled", True),
            text("flag", "what is odd about it"),
        ),
        ("scan", "patch", "repeat"),
        ((("scan",), "scans", ("scan",)),),
        since=_SINCE,
    ),
)
