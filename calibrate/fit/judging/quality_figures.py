"""The figures of a quality report as rows of a table, with the conditions that each holds under."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from .hiding import PAINT_VIEW, Hiding
from .quality_report import QualityReport
from .strength import Criterion, Strength

if TYPE_CHECKING:
    import pandas as pd

MISS_MEAN, MISS_WORST = "fit difference, mean", "fit difference, worst"
LEFT_OUT = "difference of a step left out"
AS_PAINTED, CONTRAST = "contrast ratio as painted", "contrast ratio"
FILMS = "film ratio"
HIDES, SPREADS = "hiding thickness", "spreading"
HUE, STRENGTH, DRIFT = "hue turn", "tinting strength", "drift"
UNSAID = "not said"
QUANTITIES = (
    MISS_MEAN, MISS_WORST, LEFT_OUT, AS_PAINTED, FILMS, CONTRAST, HIDES, SPREADS, HUE, STRENGTH,
    DRIFT, UNSAID,
)  # fmt: skip
"""What a row may be of; of `UNSAID` there are words alone."""
_NUMBERS = ("value", "uncertainty", "low", "high", "parts")
_COLUMNS = (
    "quantity", "value", "uncertainty", "low", "high", "unit", "criterion", "step", "against",
    "white", "parts", "conditions", "words",
)  # fmt: skip


def figures(report: QualityReport) -> pd.DataFrame:
    """Every figure of a report.

    Returns
    -------
    DataFrame
        paint, quantity, value, uncertainty (standard), low, high (95 % interval), unit, criterion,
        step, against (nickname of the reference), white, parts (of white to one of colour, by
        weight), conditions, words (the same in a sentence). Numbers have six digits, and are NaN
        where there is none or it would be infinite; a word is empty.
    """
    rows = [
        {name: row.get(name, np.nan if name in _NUMBERS else "") for name in _COLUMNS}
        for row in _rows(report)
    ]
    import pandas as pd

    table = pd.DataFrame(rows, columns=list(_COLUMNS)).astype(dict.fromkeys(_NUMBERS, float))
    for name in _NUMBERS:
        table[name] = [float(f"{x:.6g}") if math.isfinite(x) else np.nan for x in table[name]]
    table.insert(0, "paint", report.paint)
    return table


def _rows(report: QualityReport) -> Iterator[dict[str, Any]]:
    de = report.patches.loc[report.patches["weight"] == 1, "de00"]
    for quantity, value in ((MISS_MEAN, de.mean()), (MISS_WORST, de.max())):
        yield _difference(quantity, float(value))
    for step, value in report.left_out.items():
        yield _difference(LEFT_OUT, float(value)) | {"step": str(step)}
    yield from _films(report)
    if (c := report.contrast) is not None:
        yield {
            "quantity": CONTRAST,
            **_even(c.ratio, c.uncertainty),
            "conditions": f"{c.thickness_um:g} µm dry, {c.view}, {c.surface}",
            "words": str(c),
        }
    if (h := report.hiding) is not None:
        yield from _hiding(h)
    if (t := report.hue) is not None:
        yield {
            "quantity": HUE,
            **_even(t.turn, t.uncertainty),
            "unit": "degrees",
            "white": t.white,
            "conditions": f"{t.from_parts:.3g} to {t.to_parts:.3g} parts of white, {t.view}",
            "words": str(t),
        }
    for s in report.strengths:
        yield _strength(s)
    if report.drift is not None:
        for d in report.drift.steps:
            yield {
                "quantity": DRIFT,
                **_even(d.de00, d.uncertainty),
                "unit": "CIEDE2000",
                "step": d.step,
                "conditions": f"against the lot before, {report.drift.view}",
                "words": str(d),
            }
    for words in report.unsaid:
        yield {"quantity": UNSAID, "words": words}


def _films(report: QualityReport) -> Iterator[dict[str, Any]]:
    for film in report.films:
        where = f"card {film.card}, {film.thickness_um:.0f} µm dry, over the card's own substrates"
        yield {
            "quantity": AS_PAINTED,
            "value": film.contrast,
            "step": film.step,
            "conditions": f"{where}, {PAINT_VIEW}",
        }
    if (own := report.anchor) is not None and not own.hidden:
        ratio = math.exp(own.shift)
        yield {
            "quantity": FILMS,
            **_even(ratio, ratio * own.uncertainty),
            "conditions": f"films of {own.thickness_um:.0f} µm dry",
            "words": f"its own films are {ratio:.2f} times as thick as its K and S have them",
        }


def _difference(quantity: str, value: float) -> dict[str, Any]:
    return {"quantity": quantity, "value": value, "unit": "CIEDE2000", "conditions": "D50/2°"}


def _even(value: float, uncertainty: float) -> dict[str, float]:
    wide = 1.96 * uncertainty
    return {
        "value": value, "uncertainty": uncertainty, "low": value - wide, "high": value + wide,
    }  # fmt: skip


def _hiding(h: Hiding) -> Iterator[dict[str, Any]]:
    said = {"criterion": h.criterion, "conditions": f"{h.view}, {h.surface}"}
    low, high = h.band
    yield said | {
        "quantity": HIDES,
        "value": h.thickness_um,
        "uncertainty": h.thickness_um * h.relative_uncertainty,
        "low": low,
        "high": high,
        "unit": "µm",
        "words": str(h),
    }
    wide = math.exp(min(1.96 * h.spreading_uncertainty, 50.0))
    yield said | {
        "quantity": SPREADS,
        "value": h.spreading,
        "uncertainty": h.spreading * h.spreading_uncertainty,
        "low": h.spreading / wide,
        "high": h.spreading * wide,
        "unit": "m2/l",
    }


def _strength(s: Strength) -> dict[str, Any]:
    low, high = s.band
    return {
        "quantity": STRENGTH,
        "value": s.ratio,
        "uncertainty": s.ratio * s.relative_uncertainty,
        "low": low,
        "high": high,
        "criterion": s.criterion,
        "against": s.reference,
        "white": s.white,
        "parts": s.white_parts,
        "words": str(s),
    }


def strength_of(row: Mapping[str, Any], names: Mapping[str, str]) -> Strength:
    """Put the strength of a row together again, paints by other names where those are given.

    Parameters
    ----------
    row : mapping of str to Any
        As kept.
    names : mapping of str to str
        New nicknames, by old ones.

    Returns
    -------
    Strength
    """
    paint, reference, white = (
        names.get(row[key], row[key]) for key in ("paint", "against", "white")
    )
    return Strength(
        paint,
        reference,
        white,
        row["value"],
        row["uncertainty"] / row["value"],
        cast(Criterion, row["criterion"]),
        row["parts"],
        (math.nan, math.nan),
    )


def as_dict(report: QualityReport) -> dict[str, Any]:
    """Return a report as a JSON-able mapping; what isn't known is None."""
    return {
        "paint": report.paint,
        "white": report.white,
        "verdict": report.verdict,
        "reasons": list(report.reasons),
        "unsaid": list(report.unsaid),
        "figures": _records(figures(report).drop(columns="paint")),
        "patches": _records(report.patches),
        "residuals": _records(report.residuals),
        "hue": None if report.hue is None else str(report.hue),
        "drift": None if report.drift is None else str(report.drift).splitlines(),
        "text": str(report),
    }


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a table as plain values; NaN and infinity as None."""

    def plain(value: Any) -> Any:
        if isinstance(value, np.generic):
            value = value.item()
        return None if isinstance(value, float) and not math.isfinite(value) else value

    return [{str(k): plain(v) for k, v in row.items()} for row in table.to_dict("records")]
