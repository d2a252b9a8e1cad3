"""Forty export files as instruments and spreadsheets write them, and what a reader owes each.

All data is invented; habits of files are general practice (from memory), CGATS.17 / ISO 28178 and
CxF3 / ISO 17972. They were written without looking at the readers that they score.
"""

from __future__ import annotations

import numpy as np

from . import export_gaps, export_text
from .export_files import USUAL, Reading, Shape, cgats, cxf, grid, spectrum, texts, workbook

TEN = export_text.TEN


def workbooks():
    """XLSX: number formats of cells are part of what a cell says."""
    wl = grid(360, 750, 10)
    rows, readings = [["Name", *(int(w) for w in wl)]], []
    for p in USUAL:
        v = np.round(spectrum(p, wl), 4)
        rows.append([p, *((float(x), "0.00%") for x in v)])
        readings.append(Reading(p, wl, v))
    yield Shape(
        "xlsx_percent_format_360_750",
        ".xlsx",
        workbook({"Reflectance": rows}),
        "read",
        readings,
        note="cells hold 0.0455 and show 4.55 %",
    )

    rows, readings = [["Reflectance"], ["Name", *(int(w) for w in TEN)]], []
    for i, p in enumerate(USUAL):
        v = np.round(spectrum(p, TEN), 4)
        form = "0.00%" if i % 2 else "0.0000"
        rows.append([p, *((float(x), form) for x in v)])
        readings.append(Reading(p, TEN, v))
    yield Shape(
        "xlsx_percent_format_beside_plain_fractions",
        ".xlsx",
        workbook({"Card": rows}),
        "read",
        readings,
        kinds={"unit": ("fraction",)},
        also_fine=("ask", "refuse"),
        unit="fraction",
        note="every cell holds a fraction; alternate rows show it as percent",
    )

    rows, readings = [["Name", *(int(w) for w in TEN)]], []
    for i, p in enumerate(USUAL):
        v = np.round(spectrum(p, TEN), 4)
        if i < 2:
            rows.append([p, *((float(x), "0.00%") for x in v)])
        else:
            rows.append([p, *((round(float(x) * 100, 2), "0.00") for x in v)])
        readings.append(Reading(p, TEN, v))
    yield Shape(
        "xlsx_percent_format_beside_plain_percent",
        ".xlsx",
        workbook({"Card": rows}),
        "ask",
        readings,
        kinds={"unit": ("percent",)},
        also_fine=("refuse", "read"),
        unit="percent",
        note="cells with % format hold 0.0455, plain ones 4.55: all are percent to the eye",
    )

    wl = grid(360, 750, 10)
    rows, readings = (
        [["Spectral reflectance, %"], [], ["Sample", "Comment", *(f"{w:g} nm" for w in wl)]],
        [],
    )
    for p in USUAL:
        v = np.round(spectrum(p, wl), 4)
        rows.append([p, None, *(round(float(x) * 100, 2) for x in v)])
        readings.append(Reading(p, wl, v))
    yield Shape(
        "xlsx_360_750_percent_numbers",
        ".xlsx",
        workbook({"Data": rows, "Info": [["Serial", "000417"], ["Aperture", "8 mm"]]}),
        "read",
        readings,
    )

    rows = [["λ [nm]"], ["R [%]"]]
    readings = []
    for p in USUAL:
        t, v = texts(spectrum(p, TEN), 2, 100, comma=True)
        rows[0].append(p)
        readings.append((p, t, v))
    rows = [
        rows[0],
        ["", *["%"] * len(USUAL)],
        *([f"{w:g}", *(t[j] for _, t, _ in readings)] for j, w in enumerate(TEN)),
    ]
    yield Shape(
        "xlsx_wavelength_down_text_decimal_comma",
        ".xlsx",
        workbook({"Blatt1": rows}),
        "read",
        [Reading(p, TEN, v) for p, _, v in readings],
        also_fine=("refuse",),
        note="all cells are text; the second row holds units",
    )

    head, mode, cols = ["Wavelength"], ["nm"], []
    for p in USUAL[:4]:
        for word, key, lift in (("SPIN", "included", 0.038), ("SPEX", "excluded", 0.0)):
            head.append(p)
            mode.append(word)
            cols.append(Reading(p, TEN, np.round(spectrum(p, TEN, lift), 4), {"specular": key}))
    rows = [
        ["Reflectance factor, 0 to 1"],
        head,
        mode,
        *([int(w), *(float(c.reflectance[j]) for c in cols)] for j, w in enumerate(TEN)),
    ]
    yield Shape(
        "xlsx_transposed_two_specular_modes",
        ".xlsx",
        workbook({"Sheet1": rows}),
        "ask",
        cols,
        kinds={"specular": ("included", "excluded")},
        also_fine=("refuse",),
    )


def standards():
    """CGATS.17 / ISO 28178 text and CxF3 / ISO 17972 XML."""
    wl = grid(380, 780, 5)
    rows, readings = [], []
    for i, p in enumerate(USUAL, 1):
        t, v = texts(spectrum(p, wl), 4)
        rows.append([str(i), f'"{p}"', *t])
        readings.append(Reading(p, wl, v))
    head = [
        "CGATS.17",
        'ORIGINATOR "sign shop"',
        'DESCRIPTOR "card 4, readings"',
        'CREATED "2026-05-04"',
        'KEYWORD "SAMPLE_BACKING_NOTE"',
        'SAMPLE_BACKING_NOTE "white tile"',
        'MEASUREMENT_GEOMETRY "45/0"',
    ]
    yield Shape(
        "cgats_380_780_by_5",
        ".txt",
        cgats(
            head, ["SAMPLE_ID", "SAMPLE_NAME", *(f"SPECTRAL_NM{w:g}" for w in wl)], rows
        ).encode(),
        "ask",
        readings,
        kinds={"unit": ("fraction",)},
        also_fine=("read",),
        unit="fraction",
        note="SPECTRAL_NM says no unit; KEYWORD declares a field of its own; names hold spaces",
    )

    rows, readings = [], []
    for i, p in enumerate(USUAL, 1):
        t, v = texts(spectrum(p, TEN), 2, 100)
        rows.append([str(i), f'"{p}"', *t, "55.20", "3.10", "-8.40"])
        readings.append(Reading(p, TEN, v))
    yield Shape(
        "cgats_spectral_pct_with_lab",
        ".txt",
        cgats(
            ["CGATS.17", 'CREATED "2026-05-04"', "# made by hand"],
            [
                "SAMPLE_ID",
                "SAMPLE_NAME",
                *(f"SPECTRAL_PCT{w:g}" for w in TEN),
                "LAB_L",
                "LAB_A",
                "LAB_B",
            ],
            rows,
            "\n",
        ).encode(),
        "read",
        readings,
    )

    text, readings = "", []
    glow = np.exp(-(((TEN - 430) / 18) ** 2))
    for m, uv in (("M0", 0.05), ("M1", 0.09), ("M2", 0.0)):
        rows = []
        for i, p in enumerate(USUAL, 1):
            t, v = texts(spectrum(p, TEN) * (1 + uv * glow), 5)
            rows.append([str(i), f'"{p}"', *t])
            readings.append(Reading(p, TEN, v, {"condition": m}))
        text += cgats(
            ["CGATS.17", f'MEASUREMENT_SOURCE "MeasurementCondition={m}"'],
            ["SAMPLE_ID", "SAMPLE_NAME", *(f"SPECTRAL_DEC{w:g}" for w in TEN)],
            rows,
        )
    yield Shape(
        "cgats_three_sets_of_m0_m1_m2",
        ".txt",
        text.encode(),
        "ask",
        readings,
        kinds={"condition": ("M0", "M1", "M2")},
        also_fine=("refuse",),
    )

    for name, specs, owes in (
        (
            "cxf_three_conditions",
            (("M0_Incandescent", 0.05), ("M1_Daylight", 0.09), ("M2_UVExcluded", 0.0)),
            "ask",
        ),
        ("cxf_one_condition", (("M1_Daylight", 0.09),), "read"),
    ):
        objects, readings = [], []
        for p in USUAL:
            spectra = []
            for light, uv in specs:
                v = np.round(spectrum(p, TEN) * (1 + uv * glow), 4)
                spectra.append((f"cs_{light[:2]}", v))
                readings.append(Reading(p, TEN, v, {"condition": light[:2]}))
            objects.append((p, spectra))
        kinds = {"condition": tuple(s[0][:2] for s in specs)} if owes == "ask" else {}
        yield Shape(
            name,
            ".cxf",
            cxf(objects, [(f"cs_{s[0][:2]}", s[0]) for s in specs], 400, 10).encode(),
            owes,
            readings,
            kinds=kinds,
        )

    rows = [[str(i), *texts(-np.log10(spectrum(p, TEN)), 3)[0]] for i, p in enumerate(USUAL, 1)]
    yield Shape(
        "cgats_density_spectra",
        ".txt",
        cgats(
            ["CGATS.17", 'DESCRIPTOR "spectral density"'],
            ["SAMPLE_ID", *(f"D_{w:g}" for w in TEN)],
            rows,
        ).encode(),
        "refuse",
    )


EXTRA = {
    "semicolon_decimal_comma",
    "absorbance",
    "cxf_one_condition",
    "twenty_nm",
    "xlsx_360_750_percent_numbers",
    "replicate_column_percent_brackets",
}
"""Near doubles of one of the forty; more to look at, not among those that score."""


def all_shapes():
    """Yield every Shape, the extra ones too, in a fixed order."""
    yield from export_text.shapes()
    yield from export_gaps.shapes()
    yield from workbooks()
    yield from standards()


def shapes():
    """Yield the forty shapes that score."""
    return (s for s in all_shapes() if s.name not in EXTRA)


def extra_shapes():
    return (s for s in all_shapes() if s.name in EXTRA)
