"""A card of mixtures on the page, from the choice to what its scan said of the fits."""

from __future__ import annotations

from tintladder.database.store.store import Store


def test_a_card_of_mixtures_is_planned_and_printed(own_page):
    visitor, folder = own_page
    assert "Mixtures" in visitor.ask("GET", "/cards/new").text
    asked = [("tube", tube) for tube in ("ANCHOR", "BUOY", "ROPE")]
    asked += [("white", "HULL"), ("layout", "mixtures"), ("scale", "0.01")]
    printed = visitor.send("/cards", asked)
    assert printed.status == 200, printed.text
    with Store.open(folder) as store:
        (card,) = [each for each in store.cards.all() if each.name == "mixtures-1"]
    assert card.purpose == "check" and set(card.paints) == {"ANCHOR", "BUOY", "ROPE", "HULL"}
    shown = visitor.ask("GET", printed.json["path"].partition("#")[0]).text
    assert "mix 1" in shown and "mixtures-1-weighing.pdf" in shown


def test_one_colour_is_refused_in_a_line(own_page):
    visitor, folder = own_page
    said = visitor.send("/cards", {"tube": "ANCHOR", "white": "HULL", "layout": "mixtures"})
    assert said.status == 400 and "expected two colours or more" in said.text
    with Store.open(folder) as store:
        assert "mixtures-1" not in [card.name for card in store.cards.all()]


def test_a_card_of_mixtures_leads_to_what_it_said_of_the_fits(demo_page):
    text = demo_page.get("/cards/mixtures").text
    assert "How near the fits predicted its mixtures" in text and "white to colour" not in text


def test_a_link_to_it_has_chosen_it_already(own_page):
    visitor, _ = own_page
    form = visitor.get("/cards/new?layout=mixtures").text
    assert 'value="mixtures" checked' in form and 'value="ANCHOR" checked' in form
    assert visitor.get("/cards/new?layout=nosuch").status == 400
