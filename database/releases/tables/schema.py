"""The tables of a release: their columns, keys and meaning. A later layout may only add to them."""

from __future__ import annotations

from dataclasses import replace

from ....calibrate.fit.judging.quality_figures import QUANTITIES
from ....calibrate.optics.spectra import GRID
from ....calibrate.optics.surface import GEOMETRIES, GLOSSES
from ...store.schema import FINISHES
from .columns import Column, Table, count, key, number, text, truth
from .scan_schema import SCAN_TABLES

LAYOUT = 7
"""Number of this layout; a release states it. Those before are read too."""

SPECTRUM = tuple(f"{wavelength:g}" for wavelength in GRID)
"""Columns of a table that holds a whole spectrum in a row."""
_CHANGES = tuple(number(name, f"change of K or S at {name} nm") for name in SPECTRUM)

_PAINT = key("paint", "nickname")
_QUANTITY = text("quantity", "K (absorption) or S (scattering)", ("K", "S"))
_WAVELENGTH = number("wavelength", "nm", True)
_SPECULAR = text("specular", "specular included or excluded", ("included", "excluded"))
_GEOMETRY = text("geometry", "illumination:viewing of the instrument", GEOMETRIES)
_SCALE = key("scale", "absolute (1/mm), or relative to the named white (its S is 1)")
_MODEL = key("model", "theory that the coefficients belong to")
_PART_ERROR = number(
    "part_error", "what is wrong of its part in a mix: relative SD of its K, and of its S", since=4
)
_SURFACE_ERROR = number(
    "surface_error", "how far films' own surfaces reflect from the record: SD", since=5
)
_OF_MODEL = replace(_MODEL, since=2)
_BY_MODEL = replace(text("model", "theory that it was worked out by"), since=3)
_FIT = count("fit", "number of the fit")
_SURFACE = (
    _GEOMETRY,
    _SPECULAR,
    text("gloss", "surface of the paint", GLOSSES),
    number("n", "refractive index of the film", True),
    number("k2", "internal diffuse reflectance; belongs to these K and S alone", True),
    number("haze", "share of the surface reflection seen though the specular is excluded", True),
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
            key("name", "as on the label"),
            text("maker", "as on the label"),
            text("range", "as on the label"),
            text("pigments", "Colour Index generic names as on the label, by spaces"),
            text("binder", "as on the label"),
            text("finish", "ordinary, or what keeps it from the theory", FINISHES),
            text("caution", "what to take care of, by its pigments, beyond the common cautions"),
            text("lot", "tube that was read"),
            number("density", "of the tube paint, g/ml", True),
            number("dry_volume", "dry volume that a gram of tube paint leaves, ml/g", True),
            truth("dry_volume_measured", "false where a typical value was assumed"),
            truth("scan_made", "whether the readings came from scans"),
            number("mix_error", "what the theory gets wrong of a mix: relative SD of its K"),
            _PART_ERROR,
            _SURFACE_ERROR,
            _FIT,
            text("white", "nickname of the white that its ladder was let down with"),
            _MODEL,
            _SCALE,
            *_SURFACE,
            text("verdict", "of the fit, in words"),
            text("reasons", "for the verdict"),
            number("de00_mean", "mean CIEDE2000 of fitted against read patches, D50/2 deg"),
            number("de00_max", "the largest of them"),
        ),
        ("paint",),
        (_TO_FIT,),
    ),
    Table(
        "wavelengths",
        "The one grid of every coefficient.",
        (
            _WAVELENGTH,
            number("model_error", "what the theory gets wrong at a wavelength: SD of reflectance"),
            number(
                "transport_error", "the same by transport; empty where no paint has it", since=2
            ),
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
            number("value", "in the unit of the scale; empty where nothing was read"),
            number("uncertainty", "standard uncertainty, everything counted"),
            truth("scan_made", "whether the readings came from scans"),
            _GEOMETRY,
            _SCALE,
            truth("ratio_only", "only K/S is known: the film hid its substrate"),
        ),
        ("paint", "model", "quantity", "wavelength"),
        (_TO_PAINT, _TO_WAVELENGTH),
    ),
    Table(
        "covariance",
        "The part of the covariance of K and S that belongs to one paint and wavelength alone.",
        (
            _PAINT,
            _WAVELENGTH,
            number("kk", "variance of K"),
            number("ks", "covariance of K with S"),
            number("ss", "variance of S"),
            _OF_MODEL,
        ),
        ("paint", "model", "wavelength"),
        (_TO_PAINT, _TO_WAVELENGTH),
    ),
    Table(
        "own",
        "What each value that a paint has to itself does to its K and S: the change at one "
        "standard deviation, a column for each wavelength. Rows of nought are left out.",
        (
            _PAINT,
            count("factor", "number among the paint's own"),
            _QUANTITY,
            *_CHANGES,
            _OF_MODEL,
        ),
        ("paint", "model", "factor", "quantity"),
        (_TO_PAINT,),
    ),
    Table(
        "shared",
        "The values that paints share, such as the white's film.",
        (count("factor", "number"), key("name", "what it is"), _OF_MODEL),
        ("factor",),
    ),
    Table(
        "factors",
        "What each shared value does to K and S: the change at one standard deviation, a column "
        "for each wavelength. Rows of nought are left out.",
        (_PAINT, count("factor", "number among the shared"), _QUANTITY, *_CHANGES, _OF_MODEL),
        ("paint", "factor", "quantity"),
        (_TO_PAINT, (("factor",), "shared", ("factor",))),
    ),
    Table(
        "transport",
        "What the fit by transport finds of each paint that has one, beside that of paints.csv. "
        "Where model says transport, K is the absorption mu_a, S the reduced scattering mu_s'.",
        (
            _PAINT,
            _FIT,
            number("mix_error", "what transport gets wrong of a mix: relative SD of its mu_a"),
            _PART_ERROR,
            _SURFACE_ERROR,
            number("crowding", "growth of its S from alone to a trace of it in a mix", since=7),
            number(
                "surface_offset",
                "how far the reflection of its own surface lies from that of n, as reflectance",
                since=3,
            ),
            text("verdict", "of the fit, in words"),
            text("reasons", "for the verdict"),
            number("de00_mean", "mean CIEDE2000 of fitted against read patches, D50/2 deg"),
            number("de00_max", "the largest of them"),
        ),
        ("paint",),
        (_TO_PAINT, _TO_FIT),
        since=2,
    ),
    Table(
        "cards",
        "The drawdown cards.",
        (
            key("card", "name"),
            text("purpose", "fit, or check: mixtures, which judge fits", ("fit", "check")),
            text("layout", "of the printed card"),
            text("date", "ISO 8601"),
            number("balance_g", "resolution of the balance, g", True),
            truth("sealed", "whether the bare substrates were sealed"),
            text("note", "in the maker's words"),
            key("sha256", "of the card file"),
        ),
        ("card",),
    ),
    Table(
        "drawdowns",
        "The steps of each card: what was weighed, and how it was drawn down.",
        (
            key("card", "name"),
            key("step", "name on the card"),
            text("paint", "whose ladder it belongs to"),
            text("white", "of the ladder"),
            Column("masses", "object", "g of each paint, as weighed", True),
            text("taken_from", "step that it was taken from"),
            number("taken_g", "g taken of it"),
            Column("lots", "object", "lot of each paint", True),
            text("over", "substrates, by spaces; none: mixed for other steps, not painted"),
            truth("opaque", "painted until the black no longer showed"),
            number("gap_um", "gap of the applicator, µm wet"),
            number("thickness_um", "dry film, µm, if measured"),
            text("surface", "as it dried", GLOSSES),
            count("coats", "number"),
            number("hours_dried", "h"),
        ),
        ("card", "step"),
        (_TO_CARD,),
    ),
    Table(
        "sessions",
        "The files of readings.",
        (
            count("session", "number"),
            key("card", "that was read"),
            key("file", "name"),
            key("sha256", "of the file"),
            text("format", "what it was taken for"),
            text("unit", "of the file's own numbers", ("fraction", "percent")),
            _GEOMETRY,
            _SPECULAR,
            text("condition", "measurement condition of ISO 13655, M0 to M3"),
            text("state", "of the paint", ("dry", "wet")),
            text("date", "ISO 8601"),
            text("device", "instrument"),
            text("serial", "number of the instrument"),
            text("calibrated", "what it was calibrated on and when, if that was recorded"),
            Column("wavelengths", "array", "nm, as read", True),
            Column(
                "corrections",
                "object",
                "what was done to the readings stage by stage, and the readings of tiles that it "
                "rests on; empty where they were taken as read",
                since=2,
            ),
        ),
        ("session",),
        (_TO_CARD,),
    ),
    Table(
        "readings",
        "Every reading as it came in, and as it was corrected where it was.",
        (
            count("session", "number"),
            key("patch", "step/substrate"),
            count("repeat", "first, second, ... reading of the patch"),
            Column("reflectance", "array", "fractions, null where missing; one a wavelength", True),
            Column(
                "flags",
                "array",
                "what is odd about each: sum of 1 missing, 2 below zero, 4 above one, 32 unlike "
                "its repeats",
                True,
            ),
            Column(
                "corrected",
                "array",
                "fractions after the session's corrections; these went into the fits",
                since=2,
            ),
        ),
        ("session", "patch", "repeat"),
        ((("session",), "sessions", ("session",)),),
    ),
    *SCAN_TABLES,
    Table(
        "fits",
        "The runs that the coefficients come from.",
        (
            _FIT,
            key("created", "UTC, ISO 8601"),
            key("code_version", "of tintladder"),
            Column(
                "made_with",
                "object",
                "versions of tintladder, numpy and scipy, and a digest of the code that fits; "
                "empty where not recorded",
                since=6,
            ),
            _MODEL,
            _SCALE,
            *_SURFACE,
            Column("settings", "object", "everything that the result depends on", True),
            Column("inputs", "object", "sessions and cards, by number and hash", True),
            key("coefficients_sha256", "of the whole run's result"),
        ),
        ("fit",),
    ),
    Table(
        "nuisances",
        "What each run estimated beside K and S.",
        (
            _FIT,
            key("name", "what it is"),
            number("value", "estimate"),
            number("uncertainty", "standard uncertainty"),
            number("prior", "expected before"),
            number("prior_sd", "standard uncertainty of that"),
            text("unit", "of all four"),
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
            key("card", "name"),
            key("patch", "step/substrate"),
            text("step", "name on the card"),
            text("over", "substrate"),
            number("share", "of the paint in its dry volume"),
            number("thickness_um", "fitted dry film, µm"),
            number("de00", "CIEDE2000 of fitted against read, D50/2 deg"),
            number("rms", "of reflectance"),
            number("weight", "1 where kept whole"),
            text("flag", "what is odd about it"),
            Column(
                "left_out",
                "number",
                "CIEDE2000 of the step as all other steps predict it, against read, D50/2 deg",
                since=2,
            ),
        ),
        (),
        (_TO_FIT, _TO_PAINT, _TO_CARD),
    ),
    Table(
        "residuals",
        "What each fit leaves over of each patch: reflectance read less fitted, a column for each "
        "wavelength.",
        (
            _PAINT,
            key("card", "name"),
            key("patch", "step/substrate"),
            *(number(name, f"read less fitted at {name} nm") for name in SPECTRUM),
            _BY_MODEL,
        ),
        (),
        (_TO_PAINT, _TO_CARD),
        since=2,
    ),
    Table(
        "quality",
        "How each paint hides, tints and turns its hue, and how well its steps predict each "
        "other, with the conditions that each figure holds under. Predicted from K and S in the "
        "manner of ISO 6504-3, ASTM D2805 and ISO 18314-2, not tested by them.",
        (
            _PAINT,
            text("quantity", "what the figure is of", QUANTITIES),
            number("value", "in the unit; empty where there are words alone"),
            number("uncertainty", "standard uncertainty"),
            number("low", "of the 95 % interval"),
            number("high", "of the 95 % interval"),
            text("unit", "of the four; empty for a ratio"),
            text("criterion", "that it is judged by"),
            text("step", "name on the card, or parts of white"),
            text("against", "nickname of the reference; need not be in the release"),
            text("white", "nickname of the white"),
            number("parts", "of the white to one of the reference, by weight"),
            text("conditions", "illuminant and observer, dry film, instrument"),
            text("words", "the same in a sentence"),
            _BY_MODEL,
        ),
        (),
        (_TO_PAINT,),
        since=2,
    ),
    Table(
        "checks",
        "How far predictions lie from mixtures that the fit which made them never saw: this fit, "
        "or, of a card among its inputs that it learnt from, one that left the mixture out. A "
        "scanner's are held against it through its three channels: they tell nothing that these "
        "don't see, and no difference below the scan's own error.",
        (
            _FIT,
            key("card", "name"),
            key("patch", "step/substrate"),
            number("de00", "CIEDE2000 of predicted against read, D50/2 deg", True),
            Column("scanner", "string", "that scanned it; empty where it was measured", since=3),
            Column("scan_error", "number", "RMS CIEDE2000 of the scan's own errors", since=3),
        ),
        (),
        (_TO_FIT, _TO_CARD),
    ),
)
