"""Every view that names a fitted paint shows its colour, and none calls a fit fresh that isn't."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.database.cards.colours_read import colours_read
from tintladder.database.easel.looks import LADDER, paint_looks
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.page.app import ROUTES
from tintladder.database.store.store import Store

from .page_server import Visitor

VOID = {"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
SILENT = {"script", "style", "option", "datalist", "title"}
"""What is in them isn't text that a view shows."""
WITHOUT_PAINTS = ("/manual", "/jobs", "/alive", "/instrument.toml", "/scanners")
"""Views that are of no paint; the manual's example has none of this studio."""
FILES = re.compile(r"\.(png|zip|css|js|toml)$|/report$|/papers/|/photos/|^/paper/\{|\.txt$")


class Shown(HTMLParser):
    """What a view's main part says, and whose colours it shows."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text, self.paints = "", set[str]()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        said = dict(attrs)
        if "main" in self.open and said.get("data-paint"):
            self.paints.add(str(said["data-paint"]))

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "main" in self.open and not SILENT & set(self.open):
            self.text += f" {data}"


def shown(page: Visitor, path: str) -> Shown:
    answer = page.get(path)
    assert answer.status == 200, (path, answer.status)
    found = Shown()
    found.feed(answer.text)
    return found


AIM = "/mix?target=62,-18,-9"
FURTHER = (
    f"{AIM}&look=yes", f"{AIM}&look=yes&lay=HULL&lay=ANCHOR&lay=ROPE",
    f"{AIM}&lay=HULL&lay=ANCHOR&way=ANCHOR,HULL&make=20g", f"{AIM}&mixing=yes", "/mix?again=hatch",
    "/predict?p:HULL=9&p:ANCHOR=1", "/publish", "/cards/6", "/tubes/HULL",
    "/mix/steps?target=ANCHOR&to=HULL&steps=3", "/instead?mix=hatch&gone=BUOY",
    "/keep?keep=2&of=colours&colours=62,-18,-9",
)  # fmt: skip
"""Views as they are after some steps."""


def every_view() -> list[str]:
    filled = {"tube": "ANCHOR", "paint": "ANCHOR", "card": "1", "version": "1.0.0"}
    views = [
        re.sub(r"\{(\w+)(:\w+)?\}", lambda m: filled.get(m[1], "x"), path)
        for path, _, methods in ROUTES
        if "GET" in methods and not FILES.search(path) and not path.startswith(WITHOUT_PAINTS)
    ]
    return [*views, *FURTHER]


@pytest.fixture
def painted(own_page: Any) -> tuple[Visitor, Any]:
    """A studio with a plate, a kept recipe, a batch that dried, and what its paints taught."""
    page, folder = own_page
    with Store.open(folder) as store:
        wanted = {"said": "a spot", "lab": [60.0, 10.0, 20.0]}
        batch = store.recipes.keep_mixed(
            "hatch", {"HULL": 0.8, "BUOY": 0.1, "ROPE": 0.1}, wanted, {"lab": [61.0, 9.0, 18.0]},
            {"HULL": 16.0, "BUOY": 2.0, "ROPE": 2.0},
        )  # fmt: skip
    seen = re.search(
        rf'action="/kept/{batch.id}/swatch".*?name="seen" value="(\w+)"',
        page.get("/kept").text,
        re.S,
    )
    assert seen is not None
    dried = {"seen": seen[1], "colour": "58,11,21"}
    assert page.send(f"/kept/{batch.id}/swatch", dried).status == 200
    return page, folder


def test_every_view_that_names_a_fitted_paint_shows_its_colour(painted: Any) -> None:
    page, folder = painted
    with Store.open(folder) as store:
        fitted = store.fits.current()
        names = {p.nickname: p.name for p in store.paints.all() if p.nickname in fitted}
    named = 0
    for path in every_view():
        found = shown(page, path)
        there = {nick for nick, name in names.items() if name in found.text}
        named += bool(there)
        assert there <= found.paints, (path, there - found.paints)
    assert named > 15


def test_a_swatch_is_the_colour_that_is_predicted(painted: Any) -> None:
    """Masstone and tint as `predict` has them; and a card's ladder as its readings are."""
    _, folder = painted
    with Store.open(folder) as store:
        looks, whites = paint_looks(store), predicted_mix(store, MixRequest("ANCHOR=1,HULL=4"))
        alone = predicted_mix(store, MixRequest("ANCHOR=1"))
        read = colours_read(store)
        (session,) = store.readings.rows(card_id=1)
    assert ciede2000(looks["ANCHOR"].masstone, alone.looks[0].lab()) < 0.05
    assert ciede2000(looks["ANCHOR"].tint, whites.looks[0].lab()) < 0.05
    assert len(looks["ANCHOR"].ladder) == len(LADDER) and len(looks["HULL"].ladder) == 1
    first = [r.reflectance for r in session.readings if r.patch == "masstone/white"]
    mean = np.mean(np.array(first, dtype=float), axis=0)
    assert ciede2000(read[1][0], lab(mean, np.array(session.wavelengths))) < 1e-6


def test_a_fit_whose_card_was_corrected_is_called_out_of_date_in_every_view(painted: Any) -> None:
    page, folder = painted
    file = folder / "cards" / "buoy-red.toml"
    text = file.read_text()
    assert "BUOY = 3.33, HULL = 6.66" in text
    file.write_text(text.replace("BUOY = 3.33, HULL = 6.66", "BUOY = 4.33, HULL = 6.66"))
    assert page.wait(page.drop("/read", [file]))["path"] == "/cards/2"
    for path in every_view():
        first = "/" + path.split("/")[1].split("?")[0]
        if first in ("/releases", "/adopt", "/changes", "/phones"):  # these use no fit
            continue
        text = page.get(path).text
        assert "out of date" in text and 'action="/fits"' in text, path
        assert (
            "Buoy Red" not in text
            or "good to mix by" not in text.split("Buoy Red")[1][:400].lower()
        )
    fits = shown(page, "/fits").text
    assert fits.count("Good to mix by") < 10
    cards = shown(page, "/cards").text
    assert "changed since it was fitted" in cards
    home = page.get("/").text
    assert "What fits rest on was changed since" in home
    back = "/mix?target=62,-18,-9"
    assert page.wait(page.send("/fits", {"back": back}))["path"] == back
    for path in ("/", "/fits", "/cards/2", back):
        assert "out of date" not in page.get(path).text, path
