"""Writes the demo sessions of the boatyard sign shop: ``python -m tests.lab.boatyard FOLDER``."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.session import Session

from . import plan
from .drawdown import Lab
from .paints import MAKER, PAINTS, RANGE, LabPaint

SEED = 2026
INVENTED = "Invented paints, simulated readings: no such paint exists and nothing was measured."
_CHECK = (
    "Noise-free spectra of what was truly mixed and drawn down (weighing and thickness errors "
    "befell it): predictions are judged against these."
)
_CARD_WIDE = ("paint", "white", "lots", "gap_um", "surface", "coats", "hours_dried")


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key} = {_toml(item)}" for key, item in value.items())
        return f"{{{inner}}}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return repr(value)


def _assign(values: Mapping[str, Any], indent: str = "") -> list[str]:
    return [f"{indent}{key} = {_toml(value)}" for key, value in values.items() if value is not None]


def paints_toml(paints: Sequence[LabPaint]) -> str:
    """Paints and their lots as a user would list them."""
    lines = [f"# {INVENTED}"]
    for paint in paints:
        lines += ["", "[[paint]]"]
        lines += _assign(
            {
                "nickname": paint.nickname,
                "name": paint.name,
                "maker": MAKER,
                "range": RANGE,
                "pigments": paint.pigments,
            }
        )
        lines.append("  [[paint.lot]]")
        lines += _assign(
            {
                "lot": paint.lot,
                "size_ml": paint.size_ml,
                "price": paint.price,
                "density": paint.density if paint.stated else None,
                "volume_solids": paint.volume_solids if paint.stated else None,
                "opened": date.fromisoformat(paint.opened),
                "on_hand": True,
            },
            "  ",
        )
    return "\n".join(lines) + "\n"


def _wide(card: Card) -> dict[str, Any]:
    """What all drawdowns of a card share; the lots of every paint on it together."""
    wide = {
        key: getattr(card.drawdowns[0], key)
        for key in _CARD_WIDE
        if key != "lots" and len({getattr(d, key) for d in card.drawdowns}) == 1
    }
    lots = {name: lot for d in card.drawdowns for name, lot in d.lots.items()}
    if wide.get("paint"):
        wide["lot"] = lots.pop(wide["paint"])
    return wide | {"lots": lots or None}


def _drawdown(d: Drawdown, wide: Mapping[str, Any]) -> dict[str, Any]:
    own = {key: getattr(d, key) for key in _CARD_WIDE if key != "lots" and key not in wide}
    if d.taken_from is None:
        return {"step": d.step, "masses": d.masses} | own
    return {
        "step": d.step, "from": d.taken_from, "grams": d.taken_g, "additions": d.masses,
    } | own  # fmt: skip


def card_toml(card: Card) -> str:
    """A card as its painter would have written it."""
    wide = _wide(card)
    lines = [f"# {INVENTED}"]
    if card.purpose == "check":
        lines.append(f"# {_CHECK}")
    head = {"card": card.name, "purpose": card.purpose} | wide
    head |= {
        "date": date.fromisoformat(card.date) if card.date else None,
        "balance_g": card.balance_g,
        "sealed": card.sealed,
        "note": card.note,
    }
    lines += _assign(head)
    for d in card.drawdowns:
        lines += ["", "[[drawdown]]", *_assign(_drawdown(d, wide))]
    return "\n".join(lines) + "\n"


def readings_text(readings: CardReadings) -> str:
    """Readings as CGATS.17 text, to five decimals."""
    card, spectra = readings.card, readings.spectra
    said = f"Card {card.name}. {INVENTED}" + (f" {_CHECK}" if card.purpose == "check" else "")
    # A week later it is dry.
    read_on = str(date.fromisoformat(card.date) + timedelta(days=7)) if card.date else None
    session = Session(
        replace(spectra, values=np.round(spectra.values, 5)),
        file=readings.source,
        sha256="",
        format="CGATS.17 text",
        unit="fraction",
        geometry=readings.surface.geometry,
        specular=readings.surface.specular,
        condition="M0",
        date=read_on,
        device="Virtual paint lab (simulated)",
        calibrated=read_on,
        tile="White tile of the lab (simulated)",
        header={
            "ORIGINATOR": "Boatyard sign shop (invented)",
            "DESCRIPTOR": said,
            "MEASUREMENT_SOURCE": "Simulated by radiative transfer",
        },
    )
    return format_cgats(session, comments=[INVENTED])


def demo_files() -> dict[str, str]:
    """Text of every file of the demo, by its path under the demo's folder."""
    lab = Lab()
    check = plan.check_card("mixtures", plan.MIXTURES, "twelve mixtures that the fit never sees")
    readings = [*lab.read(plan.ladders(), SEED), lab.mixtures(check, SEED).readings]
    files = {"paints.toml": paints_toml(list(PAINTS.values()))}
    for each in readings:
        files[f"cards/{each.card.name}.toml"] = card_toml(each.card)
        files[f"readings/{each.card.name}.txt"] = readings_text(each)
    return files


def main(folder: str) -> None:
    """Write the demo under ``folder/boatyard``."""
    for name, text in demo_files().items():
        path = Path(folder) / "boatyard" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1])
