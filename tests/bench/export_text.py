"""Export files of delimited text. All data invented; habits of the trade from general practice."""

from __future__ import annotations

import numpy as np

from .export_files import USUAL, Reading, Shape, grid, spectrum, table, texts

TEN = grid(400, 700, 10)
SHINE = 0.038


def simple(patches, wl, decimals, times=1.0, comma=False, **attrs):
    """Rows of text and their readings, one a patch."""
    rows, readings = [], []
    for p in patches:
        t, r = texts(spectrum(p, wl), decimals, times, comma)
        rows.append([p, *t])
        readings.append(Reading(p, wl, r, dict(attrs)))
    return rows, readings


def nm(wl, form="{:g}"):
    return [form.format(w) for w in wl]


def csv(
    name,
    rows,
    readings,
    owes="read",
    sep=",",
    encoding="utf-8",
    newline="\r\n",
    suffix=".csv",
    **more,
):
    return Shape(name, suffix, table(rows, sep, newline).encode(encoding), owes, readings, **more)


def splits():
    """Columns and rows that split readings."""
    rows, readings = [["Name", "Date", "Mode", "Unit", *nm(TEN)]], []
    for p in USUAL:
        for mode, key, lift in (("SCI", "included", SHINE), ("SCE", "excluded", 0.0)):
            t, r = texts(spectrum(p, TEN, lift), 2, 100)
            rows.append([p, "04.05.2026", mode, "%", *t])
            readings.append(Reading(p, TEN, r, {"specular": key}))
    yield csv(
        "specular_by_row", rows, readings, "ask", kinds={"specular": ("included", "excluded")}
    )

    rows, readings = [["Sample ID", "Condition", *nm(TEN, "{:g} nm"), "Unit"]], []
    glow = np.exp(-(((TEN - 430) / 18) ** 2))
    for p in ("Bare white", *USUAL):
        for m, uv in (("M0", 0.05), ("M1", 0.09), ("M2", 0.0)):
            t, r = texts(spectrum(p, TEN) * (1 + uv * glow), 4)
            rows.append([p, m, *t, "fraction"])
            readings.append(Reading(p, TEN, r, {"condition": m}))
    yield csv("condition_by_row", rows, readings, "ask", kinds={"condition": ("M0", "M1", "M2")})

    rows, readings = [["Sample", "Reading", "Reflectance unit", *nm(TEN)]], []
    for p in USUAL:
        kept = []
        for k, s in enumerate((0.997, 1.0, 1.004), 1):
            t, r = texts(spectrum(p, TEN, 0, s), 2, 100)
            rows.append([p, str(k), "%", *t])
            kept.append(r)
            readings.append(Reading(p, TEN, r, {"replicate": str(k)}))
        rows.append([p, "Avg", "%", *texts(np.mean(kept, 0), 2, 100)[0]])
        rows.append([p, "Std", "%", *texts(np.std(kept, 0, ddof=1), 2, 100)[0]])
    yield csv(
        "average_and_std_rows",
        rows,
        readings,
        note="three repeats a patch; rows Avg and Std are not readings",
    )


def repeats():
    """Columns and blocks of columns that tell repeats apart."""
    head = ["Name", *(f"R{k} {w:g}nm [%]" for k in (1, 2, 3) for w in TEN)]
    rows, readings = [head], []
    for p in USUAL:
        cells = [p]
        for k, s in enumerate((0.996, 1.0, 1.003), 1):
            t, r = texts(spectrum(p, TEN, 0, s), 2, 100)
            cells += t
            readings.append(Reading(p, TEN, r, {"replicate": str(k)}))
        rows.append(cells)
    yield csv(
        "replicates_side_by_side",
        rows,
        readings,
        also_fine=("refuse",),
        note="three repeats, each with its own block of columns",
    )

    rows, readings = [["Name", "Replicate", "Value type", *nm(TEN, "R%[{:g}]")]], []
    for p in USUAL:
        for k, s in enumerate((0.998, 1.002), 1):
            t, r = texts(spectrum(p, TEN, 0, s), 3, 100)
            rows.append([p, str(k), "Reflectance", *t])
            readings.append(Reading(p, TEN, r, {"replicate": str(k)}))
    yield csv("replicate_column_percent_brackets", rows, readings, sep=";")


def sides():
    """Columns that split readings by more than chance, and names that come again."""
    rows, readings = [["Drawdown", "Backing", "Unit", *nm(TEN)]], []
    for p in ("Rope Earth", "Buoy Red", "Anchor Blue"):
        for side, s in (("black", 0.8), ("white", 1.0)):
            t, r = texts(spectrum(p, TEN, 0, s), 4)
            rows.append([p, side, "1", *t])
            readings.append(Reading(p, TEN, r, {"side": side}))
    yield csv(
        "same_name_two_backings",
        rows,
        readings,
        "ask",
        kinds={"side": ("black", "white")},
        also_fine=("read",),
        note="'read' is fine only if the two sides are kept apart, not pooled as repeats",
    )

    rows, readings = [["Sample", "Time", *nm(TEN, "R% {:g}")]], []
    for k, s in enumerate((0.998, 1.0, 1.003)):
        for i, p in enumerate(USUAL):
            t, r = texts(spectrum(p, TEN, 0, s), 2, 100)
            rows.append([p, f"2026-05-04 09:{10 + 5 * k + i:02d}:00", *t])
            readings.append(Reading(p, TEN, r))
    yield csv("names_repeated_are_repeats", rows, readings)

    rows, readings = [["Name", "Illumination", "Geometry", "Unit", *nm(TEN)]], []
    for p in USUAL:
        for light, geometry, lift in (
            ("D65, UV 100%", "di:8", SHINE),
            ("D65, UV 0%", "di:8", SHINE - 0.006),
        ):
            t, r = texts(spectrum(p, TEN, lift), 2, 100)
            rows.append([p, light, geometry, "%R", *t])
            readings.append(Reading(p, TEN, r, {"illumination": light}))
    yield csv(
        "illumination_column",
        rows,
        readings,
        "ask",
        sep=";",
        kinds={"illumination": ("D65, UV 100%", "D65, UV 0%")},
    )


def numbers():
    """Separators, decimal signs, order and heads of columns, encodings."""
    rows, readings = simple(USUAL, TEN, 2, 100, comma=True)
    yield csv(
        "semicolon_decimal_comma",
        [["Bezeichnung", *nm(TEN, "R% {:g} nm")], *rows],
        readings,
        sep=";",
        encoding="latin-1",
    )

    rows, readings = simple(USUAL, TEN, 4)
    yield csv(
        "tab_with_lines_above",
        [
            ["Instrument type", "spectrophotometer 45:0"],
            ["Serial number", "000417"],
            ["Operator", "sail loft"],
            ["Date", "2026-05-04", "09:12"],
            ["Illuminant/Observer", "D50", "2"],
            ["Values", "Reflectance factor (0-1)"],
            [],
            ["Sample name", *nm(TEN)],
            *rows,
        ],
        readings,
        sep="\t",
        suffix=".txt",
    )

    down = TEN[::-1]
    rows, readings = simple(USUAL, down, 2, 100)
    yield csv(
        "descending",
        [["Name", "Unit", *nm(down, "{:g}nm")], *([r[0], "%", *r[1:]] for r in rows)],
        readings,
    )

    rows, readings = simple(USUAL, TEN, 4)
    yield csv(
        "four_hundred_nm_unit_unsaid",
        [["Name", *nm(TEN, "{:g}nm")], *rows],
        readings,
        "ask",
        kinds={"unit": ("fraction",)},
        also_fine=("read",),
        unit="fraction",
    )

    rows, readings = simple(USUAL, TEN, 1, 100)
    yield csv(
        "r400_unit_in_a_line_above",
        [["Unit", "%"], ["Name", *nm(TEN, "R{:g}")], *rows],
        readings,
        sep=";",
    )

    wl = grid(380, 780, 10)
    rows, readings = simple(USUAL, wl, 3, 100)
    yield csv(
        "decimal_nm_heads",
        [["Name", *nm(wl, "{:.1f} nm")], ["", *["%R"] * len(wl)], *rows],
        readings,
        note="the second line is a line of units",
    )

    rows, readings = simple(USUAL, TEN, 4)
    flipped = [
        ["Reflectance factor (0..1)"],
        ["Wavelength (nm)", *USUAL],
        *([f"{w:g}", *(rows[i][1 + j] for i in range(len(rows)))] for j, w in enumerate(TEN)),
    ]
    yield csv("wavelength_down", flipped, readings)

    dark = ("Pitch Black", "Keel Green", "Anchor Blue")
    rows, readings = [], []
    for p in (*dark, "Bare white"):
        t, r = texts(spectrum(p, TEN, 0, 1.0 if p == "Bare white" else 0.12), 3, 100)
        rows.append([p, *t])
        readings.append(Reading(p, TEN, r))
    yield csv(
        "unit_unsaid_only_bare_white_tells",
        [["Name", *nm(TEN)], *rows],
        readings,
        "ask",
        kinds={"unit": ("percent",)},
        also_fine=("read",),
        unit="percent",
        note="percent: the dark patches would pass for fractions, the bare white says percent",
    )

    rows, readings = [["Name", "Scale", *nm(TEN)]], []
    for i, p in enumerate(USUAL):
        times, word, d = ((100, "0-100", 2), (1, "0-1", 4))[i % 2]
        t, r = texts(spectrum(p, TEN), d, times)
        rows.append([p, word, *t])
        readings.append(Reading(p, TEN, r))
    yield csv("both_scales_said_by_row", rows, readings, also_fine=("refuse",))

    rows = [["Name", *nm(TEN)]]
    for i, p in enumerate(USUAL):
        rows.append([p, *texts(spectrum(p, TEN), *((2, 100), (4, 1))[i % 2])[0]])
    yield csv(
        "both_scales_unsaid",
        rows,
        [],
        "refuse",
        also_fine=("ask",),
        note="'ask' is fine only if one unit for the whole file is then refused too",
    )

    names = {
        "Größe 7 über weiß": "Hull White",
        "Bleu d'été": "Anchor Blue",
        "Ocre brûlé": "Rope Earth",
    }
    rows, readings = [["Name", "Unité", *nm(TEN)]], []
    for shown, p in names.items():
        t, r = texts(spectrum(p, TEN), 2, 100, comma=True)
        rows.append([shown, "%", *t])
        readings.append(Reading(shown, TEN, r))
    yield csv("utf8_with_bom", rows, readings, sep=";", encoding="utf-8-sig")
    yield csv("utf16_tab", rows, readings, sep="\t", encoding="utf-16", suffix=".txt")
    yield csv("latin1_semicolon", rows, readings, sep=";", encoding="latin-1")


def shapes():
    for part in (splits, repeats, sides, numbers):
        yield from part()
