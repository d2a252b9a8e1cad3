"""Export files with gaps, averages, odd steps and several tables. All data invented."""

from __future__ import annotations

import numpy as np

from .export_files import NAN, USUAL, Reading, grid, spectrum, texts
from .export_text import TEN, csv, nm, simple


def gaps():
    """Missing and saturated values, and lines that are no reading."""
    for name, mark, sep, wl in (
        ("empty_cells", "", ",", TEN),
        ("dashes_for_missing_20_nm", "---", ";", TEN[::2]),
    ):
        rows, readings = [["Name", "Unit", *nm(wl)]], []
        for i, p in enumerate(USUAL):
            t, r = texts(spectrum(p, wl), 2, 100)
            for j in ((0, 1), (), (-1,), (12, 13), ())[i]:
                t[j], r[j] = mark, NAN
            rows.append([p, "%", *t])
            readings.append(Reading(p, wl, r))
        yield csv(
            name,
            rows,
            readings,
            sep=sep,
            also_fine=("refuse",),
            note="NaN where the file has nothing; a hole filled in silently is a misreading",
        )

    rows, readings = [["Name", "Unit", *nm(TEN)]], []
    for p in USUAL:
        t, r = texts(spectrum(p, TEN), 2, 100)
        full = ()
        if p == "Hull White":
            for j in (20, 21, 22):
                t[j], r[j] = ">>>", NAN
            full = tuple(TEN[20:23])
        rows.append([p, "%", *t])
        readings.append(Reading(p, TEN, r, {}, full))
    yield csv("saturated_marks", rows, readings, also_fine=("refuse",))

    rows, readings = simple(USUAL, TEN, 2, 100)
    cube = np.array([r.reflectance for r in readings])
    stats = [
        [w, *texts(v, 2, 100)[0]]
        for w, v in (
            ("Average", cube.mean(0)),
            ("Std. dev.", cube.std(0, ddof=1)),
            ("Min", cube.min(0)),
            ("Max", cube.max(0)),
        )
    ]
    yield csv(
        "average_rows_at_the_bottom", [["Name", *nm(TEN, "R%[{:g}]")], *rows, [], *stats], readings
    )

    lab = [
        [p, f"{60 - 7 * i:.2f}", f"{3.1 * i - 4:.2f}", f"{12 - 5.2 * i:.2f}"]
        for i, p in enumerate(USUAL)
    ]
    rows, readings = simple(USUAL, TEN, 4)
    with_lab = [[*r, *lab[i][1:]] for i, r in enumerate(rows)]
    yield csv(
        "lab_columns_and_lab_lines_after",
        [
            ["Reflectance 0-1"],
            ["Name", *nm(TEN), "L*", "a*", "b*"],
            *with_lab,
            [],
            ["Summary D65/10"],
            ["Name", "L*", "a*", "b*"],
            *lab,
        ],
        readings,
    )


def ranges_and_tables():
    """Wavelength steps; two tables in one file; quantities that are no reflectance."""
    wl = grid(400, 700, 20)
    rows, readings = simple(USUAL, wl, 3)
    yield csv("twenty_nm", [["Reflectance (fraction)"], ["Name", *nm(wl)], *rows], readings)

    wl = np.round(380 + np.arange(106) * 10 / 3, 2)
    rows, readings = simple(USUAL, wl, 2, 100)
    yield csv(
        "three_and_a_third_nm",
        [["Name", "Unit", *nm(wl, "{:.2f}")], *([r[0], "%", *r[1:]] for r in rows)],
        readings,
    )

    wl = np.array(
        [*np.arange(400, 500, 5), *np.arange(500, 601, 4), *np.arange(606, 701, 6.5)], float
    )
    rows, readings = simple(USUAL, wl, 4)
    yield csv(
        "unequal_steps",
        [["Name", "Unit", *nm(wl)], *([r[0], "fraction", *r[1:]] for r in rows)],
        readings,
        also_fine=("refuse",),
    )

    one, first = simple(("Hull White", "Anchor Blue"), TEN, 2, 100)
    wl = grid(360, 740, 10)
    two, second = simple(("Keel Green", "Lamp Orange"), wl, 2, 100)
    yield csv(
        "two_tables",
        [
            ["Card 1, reflectance in %"],
            ["Name", *nm(TEN)],
            *one,
            [],
            ["Card 2, reflectance in %"],
            ["Name", *nm(wl)],
            *two,
        ],
        [*first, *second],
        also_fine=("refuse", "ask"),
        note="'ask' which table: either table's readings, never mixed columns",
    )

    rows, readings = simple(USUAL, TEN, 2, 100)
    spread = [
        [r[0], *texts(0.002 + 0.004 * q.reflectance, 2, 100)[0]]
        for r, q in zip(rows, readings, strict=True)
    ]
    yield csv(
        "table_of_standard_deviations_below",
        [
            ["Reflectance [%]"],
            ["Name", *nm(TEN)],
            *rows,
            [],
            ["Standard deviation [%]"],
            ["Name", *nm(TEN)],
            *spread,
        ],
        readings,
        also_fine=("ask",),
        note="the second table holds no readings of the patches",
    )

    r = {p: spectrum(p, TEN) for p in USUAL}
    ks = [[p, *texts((1 - v) ** 2 / (2 * v), 4)[0]] for p, v in r.items()]
    yield csv("k_over_s", [["Values: K/S"], ["Name", *nm(TEN)], *ks], [], "refuse")
    dens = [[p, "Absorbance", *texts(-np.log10(v), 3)[0]] for p, v in r.items()]
    yield csv("absorbance", [["Name", "Quantity", *nm(TEN)], *dens], [], "refuse", sep=";")
    yield csv("lab_only", [["Name", "L*(D65)", "a*(D65)", "b*(D65)"], *lab_rows()], [], "refuse")


def lab_rows():
    return [
        [p, f"{70 - 9 * i:.2f}", f"{2.5 * i - 6:.2f}", f"{11 - 4.4 * i:.2f}"]
        for i, p in enumerate(USUAL)
    ]


def shapes():
    for part in (gaps, ranges_and_tables):
        yield from part()
