"""Where each card stands, as typed."""

from __future__ import annotations

from datetime import date, timedelta

from tintladder.calibrate.cards.card_file import read_card
from tintladder.database.cards.progress import cards_progress, dry_enough
from tintladder.database.store.store import Store

from .studio_cards import readings_text
from .studio_fixtures import joint_fit


def stand(tool):
    return tool("card", "--json").json


def test_no_cards_yet(tool):
    assert "No cards yet" in tool("card").out


def test_a_card_comes_along(carded, tmp_path):
    today = date.today()
    (card,) = stand(carded)
    assert (card["number"], card["card"], card["layout"]) == (1, "keel-1", "quick-a5-2")
    assert card["painted"] is card["dry_from"] is None and card["read"] == []
    assert not card["fitted"] and card["as_printed"]
    assert "not yet said" in carded("card").out

    painted = today - timedelta(days=9)
    carded("card", "fill", "1", "--as-printed", "--painted", painted)
    (card,) = stand(carded)
    assert card["painted"] == str(painted) and not card["as_printed"]
    assert card["dry_from"] == str(painted + timedelta(days=1))

    patches = [
        f"{step}/{over}" for step in ("bare", "masstone", "1:1") for over in ("black", "white")
    ]
    (tmp_path / "keel-1.txt").write_text(readings_text(tuple(patches)))
    assert carded("read", "keel-1.txt").status == 0
    (card,) = stand(carded)
    assert len(card["read"]) == 1 and not card["read_too_early"] and not card["fitted"]
    with Store.open(tmp_path) as store:
        store.fits.record(joint_fit(), store.readings.all())
    assert stand(carded)[0]["fitted"]
    assert " yes" in carded("card").out


def test_reading_too_early_is_flagged_not_refused(carded, tmp_path):
    carded("card", "fill", "1", "--as-printed")  # painted today, dry enough tomorrow
    (tmp_path / "keel-1.txt").write_text(readings_text(("bare/black", "bare/white")))
    assert carded("read", "keel-1.txt").status == 0
    (card,) = stand(carded)
    assert card["read_too_early"] and "read it again" in card["remarks"][0]
    said = carded("card").out
    assert "too early" in said and "no fingertip drags" in said


def test_readings_of_a_card_that_was_not_filled_in(carded, tmp_path):
    (tmp_path / "keel-1.txt").write_text(readings_text(("bare/black", "bare/white")))
    carded("read", "keel-1.txt")
    assert "tintladder card fill keel-1" in carded("card").out


def test_thick_films_take_longer(carded, tmp_path):
    for gap in ("100", "300"):
        carded("card", "KEEL", "--scale", "0.1", "--layout", "drawdown", "--gap", gap)
    with Store.open(tmp_path) as store:
        assert [card.number for card in cards_progress(store)] == [1, 2, 3]
    today = date.today()
    for number in ("2", "3"):
        carded("card", "fill", number, "--as-printed", "--painted", today)
    thin, thick = (read_card(tmp_path / "cards" / f"keel-{i}.toml") for i in (2, 3))
    assert (dry_enough(thin), dry_enough(thick)) == tuple(today + timedelta(days=n) for n in (1, 3))
