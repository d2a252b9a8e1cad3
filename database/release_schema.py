"""The tables of a release: their columns, keys and meaning. A later layout may only add to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..calibrate.optics.spectra import GRID
from ..calibrate.optics.surface import GEOMETRIES, GLOSSES
from .schema import FINISHES

LAYOUT = 1
"""Number of this layout; a release states it."""

Kind = Literal["string", "integer", "number", "boolean", "object", "array"]


@dataclass(frozen=True)
class Column:
    """A column. A number may be empty (not read) unless it is `required`."""

    name: str
    kind: Kind
    meaning: str
    required: bool = False
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """A table.

    Attributes
    ----------
    name : str
    meaning : str
    columns : tuple of Column
    key : tuple of str
        Columns that tell its rows apart; none where rows may be alike.
    foreign : mapping of own columns to (table, its columns)
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    foreign: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()

    @property
    def file(self) -> str:
        """Name of its file."""
        return f"{self.name}.csv"


def _text(name: str, meaning: str, words: tuple[str, ...] = ()) -> Column:
    return Column(name, "string", meaning, bool(words), words)


def _key(name: str, meaning: str) -> Column:
    return Column(name, "string", meaning, True)


def _count(name: str, meaning: str) -> Column:
    return Column(name, "integer", meaning, True)


def _number(name: str, meaning: str, required: bool = False) -> Column:
    return Column(name, "number", meaning, required)


def _truth(name: str, meaning: str) -> Column:
    return Column(name, "boolean", meaning, True)


SPECTRUM = tuple(f"{wavelength:g}" for wavelength in GRID)
"""Columns of a table that holds a whole spectrum in a row."""
_CHANGES = tuple(_number(name, f"change of K or S at {name} nm") for name in SPECTRUM)

_PAINT = _key("paint", "nickname")
_QUANTITY = _text("quantity", "K (absorption) or S (scattering)", ("K", "S"))
_WAVELENGTH = _number("wavelength", "nm", True)
_SPECULAR = _text("specular", "specular included or excluded", ("included", "excluded"))
_GEOMETRY = _text("geometry", "illumination:viewing of the instrument", GEOMETRIES)
_SCALE = _key("scale", "absolute (1/mm), or relative to the named white (its S is 1)")
_MODEL = _key("model", "theory that the coefficients belong to")
_FIT = _count("fit", "number of the fit")
_SURFACE = (
    _GEOMETRY,
    _SPECULAR,
    _text("gloss", "surface of the paint", GLOSSES),
    _number("n", "refractive index of the film", True),
    _number("k2", "internal diffuse reflectance; belongs to these K and S alone", True),
    _number("haze", "share of the surface reflection seen though the specular is excluded", True),
)
_TO_PAINT = (("paint",), "paints", ("paint",))
_TO_FIT = (("fit",), "fits", ("fit",))
_TO_CARD = (("card",), "cards", ("card",))
_TO_WAVELENGTH = (("wavelength",), "wavelengths", ("wavelength",))

TABLES: tuple[Table, ...] = (
    Table(
        "paints",
        "One row for each paint: its label, the lot that was read, and how its fit is judged.",
        (
            _PAINT,
            _key("name", "as on the label"),
            _text("maker", "as on the label"),
            _text("range", "as on the label"),
            _text("pigments", "Colour Index generic names as on the label, by spaces"),
            _text("binder", "as on the label"),
            _text("finish", "ordinary, or what keeps it from the theory", FINISHES),
            _text("caution", "what to take care of, by its pigments, beyond the common cautions"),
            _text("lot", "tube that was read"),
            _number("density", "of the tube paint, g/ml", True),
            _number("dry_volume", "dry volume that a gram of tube paint leaves, ml/g", True),
            _truth("dry_volume_measured", "false where a typical value was assumed"),
            _truth("scan_made", "whether the readings came from scans"),
            _number("mix_error", "what the theory gets wrong of a mix: relative SD of its K"),
            _FIT,
            _text("white", "nickname of the white that its ladder was let down with"),
            _MODEL,
            _SCALE,
            *_SURFACE,
            _text("verdict", "of the fit, in words"),
            _text("reasons", "for the verdict"),
            _number("de00_mean", "mean CIEDE2000 of fitted against read patches, D50/2 deg"),
            _number("de00_max", "the largest of them"),
        ),
        ("paint",),
        (_TO_FIT,),
    ),
    Table(
        "wavelengths",
        "The one grid of every coefficient.",
        (
            _WAVELENGTH,
            _number("model_error", "what the theory gets wrong at a wavelength: SD of reflectance"),
        ),
        ("wavelength",),
    ),
    Table(
        "coefficients",
        "K and S of each paint at each wavelength, with their standard uncertainty.",
        (
            _PAINT,
            _MODEL,
            _QUANTITY,
            _WAVELENGTH,
            _number("value", "in the unit of the scale; empty where nothing was read"),
            _number("uncertainty", "standard uncertainty, everything counted"),
            _truth("scan_made", "whether the readings came from scans"),
            _GEOMETRY,
            _SCALE,
            _truth("ratio_only", "only K/S is known: the film hid its substrate"),
        ),
        ("paint", "quantity", "wavelength"),
        (_TO_PAINT, _TO_WAVELENGTH),
    ),
    Table(
        "covariance",
        "The part of the covariance of K and S that belongs to one paint and wavelength alone.",
        (
            _PAINT,
            _WAVELENGTH,
            _number("kk", "variance of K"),
            _number("ks", "covariance of K with S"),
            _number("ss", "variance of S"),
        ),
        ("paint", "wavelength"),
        (_TO_PAINT, _TO_WAVELENGTH),
    ),
    Table(
        "own",
        "What each value that a paint has to itself does to its K and S: the change at one "
        "standard deviation, a column for each wavelength. Rows of nought are left out.",
        (_PAINT, _count("factor", "number among the paint's own"), _QUANTITY, *_CHANGES),
        ("paint", "factor", "quantity"),
        (_TO_PAINT,),
    ),
    Table(
        "shared",
        "The values that paints share, such as the white's film.",
        (_count("factor", "number"), _key("name", "what it is")),
        ("factor",),
    ),
    Table(
        "factors",
        "What each shared value does to K and S: the change at one standard deviation, a column "
        "for each wavelength. Rows of nought are left out.",
        (_PAINT, _count("factor", "number among the shared"), _QUANTITY, *_CHANGES),
        ("paint", "factor", "quantity"),
        (_TO_PAINT, (("factor",), "shared", ("factor",))),
    ),
    Table(
        "cards",
        "The drawdown cards.",
        (
            _key("card", "name"),
            _text("purpose", "fit, or check: mixtures that no fit saw", ("fit", "check")),
            _text("layout", "of the printed card"),
            _text("date", "ISO 8601"),
            _number("balance_g", "resolution of the balance, g", True),
            _truth("sealed", "whether the bare substrates were sealed"),
            _text("note", "in the maker's words"),
            _key("sha256", "of the card file"),
        ),
        ("card",),
    ),
    Table(
        "drawdowns",
        "The steps of each card: what was weighed, and how it was drawn down.",
        (
            _key("card", "name"),
            _key("step", "name on the card"),
            _text("paint", "whose ladder it belongs to"),
            _text("white", "of the ladder"),
            Column("masses", "object", "g of each paint, as weighed", True),
            _text("taken_from", "step that it was taken from"),
            _number("taken_g", "g taken of it"),
            Column("lots", "object", "lot of each paint", True),
            _text("over", "substrates, by spaces"),
            _truth("opaque", "painted until the black no longer showed"),
            _number("gap_um", "gap of the applicator, µm wet"),
            _number("thickness_um", "dry film, µm, if measured"),
            _text("surface", "as it dried", GLOSSES),
            _count("coats", "number"),
            _number("hours_dried", "h"),
        ),
        ("card", "step"),
        (_TO_CARD,),
    ),
    Table(
        "sessions",
        "The files of readings.",
        (
            _count("session", "number"),
            _key("card", "that was read"),
            _key("file", "name"),
            _key("sha256", "of the file"),
            _text("format", "what it was taken for"),
            _text("unit", "of the file's own numbers", ("fraction", "percent")),
            _GEOMETRY,
            _SPECULAR,
            _text("condition", "measurement condition of ISO 13655, M0 to M3"),
            _text("state", "of the paint", ("dry", "wet")),
            _text("date", "ISO 8601"),
            _text("device", "instrument"),
            _text("serial", "number of the instrument"),
            _text("calibrated", "what it was calibrated on and when, if that was recorded"),
            Column("wavelengths", "array", "nm, as read", True),
        ),
        ("session",),
        (_TO_CARD,),
    ),
    Table(
        "readings",
        "Every reading as it came in, before any correction.",
        (
            _count("session", "number"),
            _key("patch", "step/substrate"),
            _count("repeat", "first, second, ... reading of the patch"),
            Column("reflectance", "array", "fractions, null where missing; one a wavelength", True),
            Column(
                "flags",
                "array",
                "what is odd about each: sum of 1 missing, 2 below zero, 4 above one",
                True,
            ),
        ),
        ("session", "patch", "repeat"),
        ((("session",), "sessions", ("session",)),),
    ),
    Table(
        "fits",
        "The runs that the coefficients come from.",
        (
            _FIT,
            _key("created", "UTC, ISO 8601"),
            _key("code_version", "of tintladder"),
            _MODEL,
            _SCALE,
            *_SURFACE,
            Column("settings", "object", "everything that the result depends on", True),
            Column("inputs", "object", "sessions and cards, by number and hash", True),
            _key("coefficients_sha256", "of the whole run's result"),
        ),
        ("fit",),
    ),
    Table(
        "nuisances",
        "What each run estimated beside K and S.",
        (
            _FIT,
            _key("name", "what it is"),
            _number("value", "estimate"),
            _number("uncertainty", "standard uncertainty"),
            _number("prior", "expected before"),
            _number("prior_sd", "standard uncertainty of that"),
            _text("unit", "of all four"),
        ),
        (),
        (_TO_FIT,),
    ),
    Table(
        "patches",
        "How near each fit comes to each patch that was read.",
        (
            _FIT,
            _PAINT,
            _key("card", "name"),
            _key("patch", "step/substrate"),
            _text("step", "name on the card"),
            _text("over", "substrate"),
            _number("share", "of the paint in its dry volume"),
            _number("thickness_um", "fitted dry film, µm"),
            _number("de00", "CIEDE2000 of fitted against read, D50/2 deg"),
            _number("rms", "of reflectance"),
            _number("weight", "1 where kept whole"),
            _text("flag", "what is odd about it"),
        ),
        (),
        (_TO_FIT, _TO_PAINT, _TO_CARD),
    ),
    Table(
        "checks",
        "How far each fit's prediction lies from mixtures that it never saw.",
        (
            _FIT,
            _key("card", "name"),
            _key("patch", "step/substrate"),
            _number("de00", "CIEDE2000 of predicted against read, D50/2 deg", True),
        ),
        (),
        (_TO_FIT, _TO_CARD),
    ),
)
