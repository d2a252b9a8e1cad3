"""Many requests at once: what was said to be kept is there, once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlencode

from tintladder.database.easel.plate import on_plate, plate_of
from tintladder.database.store.store import Store

from .page_server import Visitor, serving

LOOKS = ("/", "/tubes", "/cards", "/cards/1", "/fits", "/releases", "/mix?target=BUOY+3:1")
CHOSEN = {"target": "BUOY 3:1", "lay": "HULL", "way": "BUOY,HULL", "make": "20g", "mixing": "yes"}


def crowd(folder: Path, requests: int) -> list[str]:
    """Ask so much at once of a copy of the demo's studio; what went wrong, in lines.

    A third adds tubes, a sixth puts paint on the plate, a sixth changes whether one tube is on
    hand, the rest looks.
    """
    faults: list[str] = []
    with serving(folder) as visitor, ThreadPoolExecutor(requests) as threads:
        visitor.patience = 300
        visitor.get("/alive")
        kinds = list(threads.map(lambda i: _one(visitor, i), range(requests)))
    for i, (kind, status, said) in enumerate(kinds):
        told = status == 409 and kind in ("on hand", "plate")
        if status != 200 and not told:
            faults.append(f"request {i} ({kind}) got {status}: {said[:200]}")
    return faults + _lost(folder, kinds)


def _one(visitor: Visitor, i: int) -> tuple[str, int, str]:
    visit = Visitor(visitor.port, visitor.cookie, visitor.patience)
    if i % 3 == 0:
        kind, answer = "tube", visit.send("/tubes", {"name": f"Crowd {i}", "nickname": f"C{i}"})
    elif i % 6 == 1:
        kind = "plate"
        shown = visit.get(f"/mix?{urlencode(CHOSEN)}").text
        held = re.search(r'action="/mix/plate">.*?name="seen" value="(\w+)"', shown, re.S)
        seen = held[1] if held else ""
        add = {"do": "add", "g:HULL": "1", "g:BUOY": "0.5", "seen": seen}
        answer = visit.send("/mix/plate", CHOSEN | add)
    elif i % 6 == 2:
        shown = re.search(r"PITCH</span></th>.*?<td>(yes|out)</td>", visit.get("/tubes").text, re.S)
        seen = "yes" if shown and shown[1] == "yes" else "no"
        wanted = "no" if seen == "yes" else "yes"
        kind, answer = "on hand", visit.send("/tubes/PITCH", {"seen": seen, "on_hand": wanted})
    else:
        kind, answer = "look", visit.get(LOOKS[i % len(LOOKS)])
    return kind, answer.status, answer.text


def _lost(folder: Path, kinds: Sequence[tuple[str, int, str]]) -> list[str]:
    faults = []
    with Store.open(folder) as store:
        there = [paint.nickname for paint in store.paints.all()]
        plate = on_plate(plate_of(store, "Buoy Red let down 3 : 1, white to colour").additions)
    for i, (kind, status, _) in enumerate(kinds):
        if kind == "tube" and status == 200 and there.count(f"C{i}") != 1:
            faults.append(f"tube C{i} was kept {there.count(f'C{i}')} times")
    added = sum(status == 200 for kind, status, _ in kinds if kind == "plate")
    if added and plate != {"HULL": 1.0 * added, "BUOY": 0.5 * added}:
        faults.append(f"{added} additions made a plate of {plate}")
    return faults
