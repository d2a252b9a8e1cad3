"""What is removed, renamed or edited, and taken back: on both databases, and across a restart."""

from __future__ import annotations

import itertools
import shutil
from dataclasses import replace

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.cards.progress import cards_progress
from tintladder.database.care import removing
from tintladder.database.care.integrity import check_studio
from tintladder.database.care.removing import KINDS, PAPERS, remove, undo
from tintladder.database.care.renaming import note, rename
from tintladder.database.fits.out_of_date import outdated_paints
from tintladder.database.store.paints_file import NewLot, NewPaint
from tintladder.database.store.store import Store

from . import postgres
from .command import run
from .studio_fixtures import fill, ladder, session

NUMBER = itertools.count(1)


@pytest.fixture(scope="module")
def server():
    if why := postgres.why_not():
        pytest.skip(why)
    with postgres.server() as url:
        yield url


@pytest.fixture(params=["a folder", "a server"])
def where(request, tmp_path, monkeypatch):
    """A studio of two fitted paints, in a folder's own database and in a shared one."""
    monkeypatch.chdir(tmp_path)
    place = tmp_path / "studio"
    if request.param == "a server":
        place = postgres.new_database(request.getfixturevalue("server"), f"own{next(NUMBER)}")
    with Store.open(place) as store:
        fill(store)
        wanted = {"said": "a spot", "lab": [60.0, 10.0, 20.0]}
        store.recipes.keep_mixed(
            "hatch", {"KEEL": 1.0}, wanted, {"lab": [61.0, 9.0, 18.0]}, {"KEEL": 5.0}
        )
    return place


def held(place):
    """All that a studio shows, to tell whether anything of it changed."""
    with Store.open(place) as store:
        return {
            "paints": [
                (p.nickname, p.nickname_key, p.name, p.maker, p.pigments, p.note, lot.lot,
                 lot.density, lot.opened, lot.on_hand)
                for p in store.paints.all() for lot in p.lots
            ],
            "cards": [(c.number, c.name, c.read, c.fitted) for c in cards_progress(store)],
            "fits": [store.fits.current(model) for model in ("two-flux", "transport")],
            "recipes": [
                (k.recipe.name, k.recipe.note, [(b.id, b.note) for b in k.batches])
                for k in store.recipes.all()
            ],
            "old": outdated_paints(store),
        }  # fmt: skip


def without_recipe(place):
    with Store.open(place) as store:
        remove(store, "recipe", "hatch")


def test_a_card_goes_with_its_readings_and_comes_back_after_a_restart(where):
    before = held(where)
    with Store.open(where) as store:
        number = remove(store, "card", "1").id
    gone = held(where)
    assert [card[1] for card in gone["cards"]] == ["held-out"] and gone["fits"] == [{}, {}]
    with Store.open(where) as store:
        assert store.readings.all("fit") == []
        # What was read stays, and nothing hangs loose of it.
        assert len(store.readings.rows()) > 0
        assert not any(found.broken for found in check_studio(store))
        assert undo(store, number).undone
    assert held(where) == before


def test_a_card_that_was_removed_may_come_anew(where):
    with Store.open(where) as store:
        with store.snapshot():
            text = store.cards.rows()[0].versions[-1].text
        number = remove(store, "card", "keel-1").id
        assert store.cards.add(ladder(), text) == "added"
        store.readings.add("keel-1", session(ladder()))
        assert [card.name for card in store.cards.all()] == ["held-out", "keel-1"]
        assert len(store.readings.all("fit")) == 1
        undo(store, number)
        assert [card.name for card in store.cards.all()] == ["held-out", "keel-1"]


def test_a_tube_goes_with_its_own_card_and_its_nickname_is_free(where):
    with Store.open(where) as store:
        with pytest.raises(InputError, match="is in the recipe hatch"):
            remove(store, "tube", "KEEL")
        with pytest.raises(InputError, match="is on card held-out, keel-1"):
            remove(store, "tube", "HULL")
    without_recipe(where)
    before = held(where)
    with Store.open(where) as store:
        number = remove(store, "tube", "KEEL").id
        assert "KEEL" not in {p.nickname for p in store.paints.all()}
        assert store.fits.current() == {} and store.cards.all() == []
        store.paints.add(NewPaint("KEEL", "Another", "", "", ["PB15"], "", "ordinary", ""))
    # The nickname is another tube's now: the old one can't have it back before that one goes.
    taken = pytest.raises(InputError, match="KEEL is the nickname of Another")
    with Store.open(where) as store, taken:
        undo(store, number)
    with Store.open(where) as store:
        remove(store, "tube", "KEEL")
        undo(store, number)
    assert held(where) == before


@pytest.mark.parametrize("kind", ["recipe", "batch"])
def test_recipes_and_batches_go_and_come_back(where, kind):
    before = held(where)
    with Store.open(where) as store:
        batch = store.recipes.all()[0].batches[0].id
        number = remove(store, kind, "hatch" if kind == "recipe" else str(batch)).id
        assert store.recipes.batch("hatch") is None
        assert (store.recipes.find("hatch") is None) == (kind == "recipe")
        with pytest.raises(InputError):
            remove(store, kind, "hatch" if kind == "recipe" else str(batch))
        undo(store, number)
    assert held(where) == before


def test_names_notes_and_labels_are_edited_and_taken_back(where):
    before = held(where)
    with Store.open(where) as store:
        rename(store, "recipe", "hatch", "Coaming")
        assert store.recipes.find("coaming") and store.recipes.find("hatch") is None
        note(store, "recipe", "coaming", "for the deck")
        note(store, "batch", str(store.recipes.all()[0].batches[0].id), "thin")
        hull = store.paints.find("HULL")
        said = NewPaint("HULL", "Hull Off-White", hull.maker, "", ["PW6"], "", "ordinary", "thick")
        store.paints.change("HULL", said)
        first = hull.lots[0]
        lot = NewLot(first.lot, first.size_ml, first.price, 1.4, None)
        store.paints.change_lot("HULL", first.lot, replace(lot, on_hand=False))
        count = len(store.changes.recent())
        store.paints.change_lot("HULL", first.lot, replace(lot, on_hand=False))
        assert len(store.changes.recent()) == count == 5, "what changes nothing is no change"
    assert held(where) != before
    with Store.open(where) as store:
        first_change = store.changes.recent()[-1].id
        store.paints.change("HULL", replace(said, name="Hull Cream"))
        with pytest.raises(InputError, match="changed again since"):
            undo(store, store.changes.recent()[2].id)
        while store.changes.recent():
            undo(store)
        with pytest.raises(InputError, match="nothing to take back"):
            undo(store, first_change)
    assert held(where) == before


def test_a_nickname_changes_until_something_knows_the_tube_by_it(where):
    with Store.open(where) as store:
        with pytest.raises(InputError, match="card keel-1, recipe hatch, its fit"):
            rename(store, "tube", "KEEL", "BILGE")
        store.paints.add(NewPaint("STERN", "Stern Brown", "", "", ["PBr7"], "", "ordinary", ""))
        with pytest.raises(InputError, match="is the nickname of"):
            rename(store, "tube", "STERN", "keel")
        rename(store, "tube", "STERN", "TRANSOM")
        assert store.paints.find("TRANSOM").name == "Stern Brown"
        undo(store)
        assert store.paints.find("STERN").nickname == "STERN"


def test_a_change_can_be_taken_back_for_a_day(where):
    with Store.open(where) as store:
        change = remove(store, "recipe", "hatch")
        with store.transaction():
            change.done = "2026-01-01T00:00:00Z"
            store._current.merge(change)
        assert store.changes.recent() == []
        with pytest.raises(InputError, match="nothing to take back"):
            undo(store, change.id)


def test_what_is_not_there_is_refused_in_one_line(where):
    with Store.open(where) as store:
        for kind in KINDS:
            with pytest.raises(InputError) as told:
                remove(store, kind, "nosuch")
            assert "\n" not in str(told.value)
        with pytest.raises(InputError, match="expected one of tube"):
            remove(store, "brush", "HULL")
        for what in (
            ("recipe", "hatch", ""),
            ("recipe", "hatch", "two words"),
            ("paper", "x", "y"),
        ):
            with pytest.raises(InputError):
                rename(store, *what)
        assert store.changes.recent() == []


def test_a_paper_and_a_device_are_renamed_removed_and_taken_back(demo, tmp_path):
    """The demo's scanner, and a paper as the page prints it."""
    shutil.copytree(demo.folder, tmp_path / "demo")
    folder = tmp_path / "demo" / PAPERS
    folder.mkdir(exist_ok=True)
    (folder / "mixing-chart.pdf").write_bytes(b"%PDF-1.7")
    with Store.open(tmp_path / "demo") as store:
        (name,) = [each.device.name for each in store.scanners.all()]
        rename(store, "device", name, "kitchen scanner")
        assert store.scanners.find("kitchen scanner").device.name == "kitchen scanner"
        number = remove(store, "device", "kitchen scanner").id
        assert store.scanners.all() == [] and len(store.scans.all()) > 0
        undo(store, number)
        undo(store)
        assert [each.device.name for each in store.scanners.all()] == [name]
        with pytest.raises(InputError, match="can't be the name"):
            rename(store, "paper", "mixing-chart.pdf", "../chart")
        rename(store, "paper", "mixing-chart.pdf", "wall")
        number = remove(store, "paper", "wall.pdf").id
        assert [path.name for path in folder.glob("[!.]*")] == []
        (folder / "wall.pdf").write_bytes(b"another")
        with pytest.raises(InputError, match="printed anew since"):
            undo(store, number)
        (folder / "wall.pdf").unlink()
        undo(store, number)
        undo(store)
        assert (folder / "mixing-chart.pdf").read_bytes() == b"%PDF-1.7"


def test_it_is_done_by_command_and_on_the_page(own_page, monkeypatch, capsys):
    page, folder = own_page
    monkeypatch.chdir(folder)
    said = run(monkeypatch, capsys, "remove", "card", "12", "--json")
    assert said.status == 0
    assert "anchor-blue-quick" not in page.get("/cards").text
    listed = run(monkeypatch, capsys, "undo")
    assert "Card anchor-blue-quick was removed" in listed.out
    back = page.send(f"/changes/{said.json['change']}")
    assert back.status == 200
    assert "anchor-blue-quick" in page.get("/cards").text
    where = page.send("/remove", {"kind": "card", "name": "buoy-red"}).json["path"]
    text = page.get(where).text
    assert "Card buoy-red was removed" in text and "Take it back" in text
    assert "Buoy Red" not in page.get("/fits").text.split("Not fitted")[0]
    assert "rests on a card that was removed" in page.get("/mix").text
    refused = page.send("/remove", {"kind": "tube", "name": "HULL"})
    assert refused.status == 400 and "is on card" in refused.json["line"]
    assert run(monkeypatch, capsys, "undo", "999").status == 2
    number = page.get("/changes").text.split('action="/changes/')[1].split('"')[0]
    assert run(monkeypatch, capsys, "undo", number).status == 0
    assert "out of date" not in page.get("/fits").text
    assert removing.PAPERS == "paper"
