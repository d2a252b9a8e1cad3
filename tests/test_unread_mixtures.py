"""No mixtures are printed unasked that no device at hand can judge."""

from __future__ import annotations

import pytest
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.errors import InputError
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.mixtures import print_mixtures, why_unread
from tintladder.database.cards.printing import WantedCard
from tintladder.database.store.store import Store

from .test_scan_checks import BOATYARD, SCANS

WANTED = WantedCard(("ANCHOR", "ROPE", "HULL"), measure_of("0.01"))


def with_a_phone(folder):
    """A studio whose only device mends its colours, as its target shows."""
    with Store.open(folder) as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / "anchor-blue-quick.toml"])
        characterise_device(store, "phone", SCANS / "target-phone.jpg", SCANS / "target.txt")
    return folder


def test_mixtures_that_nothing_can_judge_are_printed_only_when_confirmed(tmp_path):
    folder = with_a_phone(tmp_path / "studio")
    with Store.open(folder) as store:
        assert "phone" in (why_unread(store) or "")
        with pytest.raises(InputError, match="no device of this studio can judge mixtures"):
            print_mixtures(store, WANTED)
        assert not list((folder / "cards").glob("*"))
        done = print_mixtures(store, WantedCard(WANTED.tubes, WANTED.measure, anyway=True))
        assert done.card_file.exists()


def test_a_flatbed_or_an_instrument_asks_nothing(tmp_path):
    with Store.open(with_a_phone(tmp_path / "one")) as store:
        characterise_device(store, "flatbed", SCANS / "target.png", SCANS / "target.txt")
        assert why_unread(store) is None
    with Store.open(with_a_phone(tmp_path / "two")) as store:
        take_in(store, [BOATYARD / "cards" / "hull-white.toml"])
        take_in(store, [BOATYARD / "readings" / "hull-white.txt"])
        assert why_unread(store) is None
    with Store.open(tmp_path / "three") as store:
        assert why_unread(store) is None


def test_a_device_that_was_shown_no_target_can_learn_from_them(tmp_path):
    with Store.open(tmp_path / "four") as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / "anchor-blue-quick.toml"])
        card = "anchor-blue-quick"
        characterise_device(store, "plain", SCANS / f"{card}.png", card=card)
        assert why_unread(store) is None


def test_the_page_says_so_and_asks(page, tmp_path):
    with_a_phone(tmp_path / "studio")
    assert "Print it all the same" in page.get("/cards/new").text
    asked = [("tube", "ANCHOR"), ("tube", "ROPE"), ("white", "HULL"), ("layout", "mixtures")]
    refused = page.send("/cards", asked)
    assert refused.status == 400 and "can judge mixtures" in refused.json["line"]
    assert page.send("/cards", [*asked, ("anyway", "yes")]).status == 200


def test_the_command_says_so_and_asks(tool, tmp_path):
    with_a_phone(tmp_path)
    asked = ("card", "ANCHOR", "ROPE", "--mixtures", "--scale", "0.01")
    refused = tool(*asked)
    assert refused.status == 2 and "can judge mixtures" in refused.err and "--anyway" in refused.err
    assert tool(*asked, "--anyway").status == 0
