"""The page answers what a painter asks next, where it is looked for, with the commands' figures."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from tintladder.database.store.store import Store

from .command import run
from .page_server import Visitor


@pytest.fixture
def kept(own_page: Any) -> tuple[Visitor, Path]:
    """A studio with a kept recipe."""
    page, folder = own_page
    with Store.open(folder) as store:
        wanted = {"said": "a spot", "lab": [60.0, 10.0, 20.0], "words": "light orange"}
        parts = {"HULL": 0.8, "BUOY": 0.1, "ROPE": 0.1}
        store.recipes.keep("hatch", parts, wanted, {"lab": [61.0, 9.0, 18.0]})
    return page, folder


@pytest.fixture
def said(kept: tuple[Visitor, Path], monkeypatch: Any, capsys: Any) -> Callable[..., Any]:
    """What a command says of that studio, as plain values."""

    def answer(*typed: str) -> Any:
        found = run(monkeypatch, capsys, *typed, "--json", "--studio", kept[1])
        assert found.status == 0, found.err
        return found.json

    return answer


def links(text: str, begin: str) -> list[str]:
    found = re.findall(rf'href="({re.escape(begin)}[^"]*)"', text)
    return [each.replace("&amp;", "&") for each in found]


def test_steps_are_found_from_what_is_aimed_at(
    kept: tuple[Visitor, Path], said: Callable[..., Any]
) -> None:
    page, _ = kept
    (link,) = links(page.get("/mix?target=ANCHOR").text, "/mix/steps?")
    assert "Find the steps" in page.get(link).text
    shown = page.get(f"{link}&to=HULL&steps=5").text
    found = said("recipe", "ANCHOR", "--to", "HULL", "--steps", "5")
    assert shown.count("sure to within") == 5 == len(found["steps"])
    assert f"each CIEDE2000 {found['step_de00']:.1f} from the next" in shown
    assert f"makes {found['steps'][-1]['makes']:.2f} g" in shown
    refused = page.get(f"{link}&to=nothing-such").text
    assert 'role="alert"' in refused and "fits no tube" in refused
    assert "Aim at one first" in page.get("/mix/steps").text


def test_a_tube_of_a_kept_recipe_that_is_gone_has_stand_ins(
    kept: tuple[Visitor, Path], said: Callable[..., Any]
) -> None:
    page, _ = kept
    found = links(page.get("/kept").text, "/instead?")
    assert len(found) == 3 and "gone=BUOY" in found[1]
    shown = page.get("/instead?mix=BUOY%3D1%2CHULL%3D4&gone=BUOY").text
    answer = said("recipe", "BUOY=1,HULL=4", "--instead", "BUOY")
    best = answer["stand_ins"][0]
    off = best["lights_de00"]["A"]
    assert "Buoy Red</span> is gone" in shown and f"({off:.1f})" in shown
    assert "What can&#39;t be helped" in shown
    (first, *_) = links(shown, "/mix?")
    assert page.get(first).status == 200
    refused = page.get("/instead?mix=BUOY%3D1%2CHULL%3D4&gone=ROPE").text
    assert "isn&#39;t in 4 parts Hull White, 1 Buoy Red" in refused
    assert "Find what stands in" in page.get("/instead").text


def test_which_tubes_to_keep_is_searched_beside_the_page(
    kept: tuple[Visitor, Path], said: Callable[..., Any]
) -> None:
    page, _ = kept
    assert links(page.get("/tubes").text, "/keep") == ["/keep"]
    asked = {"keep": "3", "of": "colours", "colours": "62,-18,-9; ROPE 4:1", "within": "3"}
    done = page.wait(page.send("/keep", asked))
    shown = page.get(done["path"].partition("#")[0]).text
    answer = said("reach", "62,-18,-9", "ROPE 4:1", "--keep", "3", "--within", "3")
    for each in answer["sets"]:
        assert f"<td>{each['mean_de00']:.1f}</td>" in shown
    assert all(f'data-paint="{paint}"' in shown for paint in answer["sets"][-1]["tubes"])
    for wrong in ({"keep": "0"}, {"within": "x"}, {"of": "colours"}, {"of": "photo"}):
        assert page.send("/keep", {**{"keep": "3", "of": "all"}, **wrong}).status == 400
    # A file of this computer is never opened from the page.
    assert page.send("/keep", {"keep": "3", "of": "colours", "colours": "/etc/hosts"}).status == 400


def test_a_tube_says_what_greys_it(kept: tuple[Visitor, Path], said: Callable[..., Any]) -> None:
    page, _ = kept
    (link,) = links(page.get("/tubes/DUSK").text, "/tubes/DUSK/neutral")
    shown, answer = page.get(link).text, said("muddy", "DUSK")
    best = answer["partners"][0]
    assert f"chroma {best['chroma']:.1f} at the most" in shown
    assert shown.count("sure to within") == len(answer["neutral"]["steps"]["steps"])
    assert "is the white" in page.get("/tubes/HULL/neutral").text


def test_a_way_says_what_it_costs(kept: tuple[Visitor, Path], said: Callable[..., Any]) -> None:
    page, _ = kept
    new = ("--name", "Anchor Blue", "--maker", "Slipway Colours (invented)", "--lot", "A2")
    said("tubes", "add", *new, "--size", "150", "--price", "12.40")
    way = "/mix?target=ANCHOR+4:1&lay=HULL&lay=ANCHOR&way=ANCHOR,HULL&make=20g"
    shown = page.get(way).text
    assert re.search(r"by the prices of your tubes: .*Anchor Blue \d", shown)
    (gone, *_) = links(shown, "/instead?")
    assert page.get(gone).status == 200
    assert quote("ANCHOR=") in gone
