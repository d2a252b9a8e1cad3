"""A shade, a paint let down with black: weighed surely, planned by what it tells, and fitted."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.card_file import parse_card
from tintladder.calibrate.cards.card_plan import LadderToPaint, plan_card, seats
from tintladder.calibrate.cards.card_text import card_text
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.cards.measure import measure_of, scale_of
from tintladder.calibrate.cards.shade import SHARES, Shade, weigh_shades
from tintladder.calibrate.cards.sureness import NEAR, fraction_errors
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.cards.weighing_out import Step
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.planning.guess import Guess
from tintladder.calibrate.fit.planning.information import BLACK_SPREAD, SHADES
from tintladder.calibrate.fit.planning.next_step import next_drawdown, plan_ladder
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.ladder import white_of
from tintladder.database.store.store import Store

from tests.bench import as_studio
from tests.lab.drawdown import LIKE_REAL, Lab
from tests.lab.plan import ladders

from .command import run
from .synthetic import GAP_UM, KS, TUBES, ladder, read

K_BLACK = np.full(GRID.size, 150.0), np.full(GRID.size, 4.0)
"""A black in 1/mm; invented."""
TUBES_TOO = TUBES | {"K": replace(TUBES["R"], paint="K")}


@pytest.mark.parametrize("gap_um", [300.0, None])
@pytest.mark.parametrize(
    ("scale", "share"),
    [*product(("0.001", "0.01", "0.1"), SHARES), *product(("syringe",), SHARES[1:])],
)
def test_the_black_of_a_shade_is_sure_to_a_twentieth(scale, gap_um, share):
    measure, steps = measure_of(scale), {p: Step(0.0, gap_um=gap_um) for p in ("ANCHOR", "BUOY")}
    densities = {"PITCH": 1.1, "HULL": 1.5}
    down, *shades = weigh_shades(steps, "HULL", Shade("PITCH", share), measure, densities)
    card = Card("c", "c.toml", (down, *shades))
    made = composition(card)
    held = dict(zip(made.paints, made.fractions[1:].T, strict=True))
    # By volume the share is one by volume.
    called = share * (1.1 / 1.3 if measure.unit_ml else 1.0)
    assert held["PITCH"] == pytest.approx(np.full(2, called), rel=NEAR + 0.01)
    assert (held["HULL"] <= (0.15 if measure.unit_ml else 0.13)).all()
    # By hand: each weighing's error, added in squares, reaches the black of the shade.
    each = np.array(
        [measure.error_g(densities.get(n[-5:].strip(": "), 1.3)) for n in made.weighings]
    )
    black = np.linalg.norm(made.by_weighing[1:, :, made.paints.index("PITCH")] * each, axis=1)
    assert (black / held["PITCH"] < 0.0505).all()
    assert max(fraction_errors(card, measure, densities)[d.step] for d in shades) < 0.0505
    assert sum(d.taken_g for d in shades) <= sum(down.masses.values()) + 1e-9
    assert all(sum(d.masses.values()) + d.taken_g >= steps["BUOY"].grams * 0.97 for d in shades)
    assert down.over == () and all(d.over == SUBSTRATES for d in shades)


def test_what_cannot_be_weighed_is_refused_with_what_can():
    step = {"ANCHOR": Step(0.0, gap_um=None)}
    with pytest.raises(InputError, match=r"can't keep 0\.5 % of PITCH to 5%.*more black"):
        weigh_shades(step, "HULL", Shade("PITCH", 0.005), scale_of(0.5), {})


def planned(name="six-tube-a4", shade: Shade | None = None, ratios: tuple[float, ...] = ()):
    shade = shade or Shade("PITCH", 0.02)
    ladders_ = [LadderToPaint(p, "ordinary", ratios) for p in ("ANCHOR", "PITCH")]
    return plan_card(
        "c", read_layout(name), ladders_, "HULL", measure_of("0.01"), densities={}, lots={},
        with_white=False, shade=shade,
    )  # fmt: skip


def test_a_shade_takes_a_tints_place_and_what_is_only_mixed_takes_none():
    plan = planned()
    card = parse_card(card_text(plan.card), "c.toml", ["ANCHOR", "PITCH", "HULL"])
    assert [replace(d, lots={}) for d in card.drawdowns] == list(plan.card.drawdowns)
    only_mixed = [d.step for d in card.drawdowns if not d.over]
    assert only_mixed == [f"PITCH {only_mixed[0].split()[1]}"]
    assert not any(label.startswith(only_mixed[0]) for label in card.patches)
    at = seats(read_layout("six-tube-a4"), card)
    # Three steps and a shade; the black has its own four, and no shade of itself.
    assert [s for s, seat in at.items() if seat <= 4][-1] == "shade 2%" and len(at) == 8
    with pytest.raises(InputError, match="room for 2 tints of a tube beside a shade, got 3"):
        planned(ratios=(1.0, 2.0, 4.0))


def test_a_step_that_is_neither_painted_nor_taken_from_is_refused():
    text = """card = "c"
white = "W"
opaque = true
[[drawdown]]
step = "K 4:1"
masses = {K = 1.0, W = 4.0}
over = []
[[drawdown]]
step = "shade"
paint = "R"
from = "K 4:1"
grams = 0.5
additions = {R = 9.5}
"""
    first, second = parse_card(text, "c.toml").drawdowns
    assert first.over == () and second.over == SUBSTRATES and first.paint is None
    with pytest.raises(InputError, match=r"K 4:1 is painted over nothing, and no step is taken"):
        parse_card(text.replace('from = "K 4:1"\ngrams = 0.5\nadditions', "masses"), "c.toml")


# What it tells.


def shade_card(name: str, shares: tuple[float, ...], purpose: str = "fit") -> Card:
    steps = [
        Drawdown(f"{s:g}", "R", {"R": 10 * (1 - s), "K": 10 * s}, white="W", gap_um=GAP_UM)
        for s in shares
    ]
    return Card(name, f"{name}.toml", tuple(steps), balance_g=0.001, purpose=purpose)  # type: ignore[arg-type]


@pytest.fixture
def a_black(monkeypatch):
    """A black among the invented paints, that acts otherwise on R than white tints of it say."""
    monkeypatch.setitem(KS, "K", K_BLACK)

    def acting(factor: float):
        monkeypatch.setitem(KS, "K", (K_BLACK[0] * factor, K_BLACK[1]))

    return acting


def test_a_shade_is_expected_to_bring_what_it_brings(a_black):
    """The black is made to act otherwise, and all shades are predicted before and after one."""
    settings = FitSettings()
    own = [read(ladder(p, gap_um=GAP_UM), seed=3) for p in ("W", "R")]
    black = read(ladder("K", gap_um=GAP_UM), seed=3)
    fit = fit_paints([*own, black], TUBES_TOO, settings)
    guess = Guess.of_fit(TUBES_TOO["K"], fit.coefficients, "K")
    more = next_drawdown("R", "W", own, TUBES_TOO, fit, gap_um=GAP_UM, black=guess)
    assert more.drawdown.step.startswith("shade ") and more.before[0].step.startswith("K ")
    assert more.then.shades < more.now.shades and "shades falls from" in more.words
    off = {"before": [], "after": []}
    for sign in (-1, 1):
        a_black(float(np.exp(sign * BLACK_SPREAD)))
        truth = read(shade_card("truth", SHADES, "check"))
        painted = read(Card("s", "s.toml", (*more.before, more.drawdown), balance_g=0.002), seed=4)
        for when, cards in (("before", []), ("after", [painted])):
            found = fit_paints([*own, black, *cards], TUBES_TOO, settings).coefficients
            off[when] += check_mixtures(found, [truth]).patches["de00"].tolist()
    before, after = (float(np.sqrt(np.mean(np.square(off[w])))) for w in ("before", "after"))
    assert before == pytest.approx(more.now.shades, rel=0.5)
    assert after < 0.75 * before
    assert after == pytest.approx(more.then.shades, rel=0.7)


def test_a_shade_that_was_painted_is_not_asked_for_again(a_black):
    own = [read(ladder(p, gap_um=GAP_UM), seed=3) for p in ("W", "R")]
    black = read(ladder("K", gap_um=GAP_UM), seed=3)
    fit = fit_paints([*own, black], TUBES_TOO)
    guess = Guess.of_fit(TUBES_TOO["K"], fit.coefficients, "K")
    first = next_drawdown("R", "W", own, TUBES_TOO, fit, gap_um=GAP_UM, black=guess)
    more = [*own, read(shade_card("shade", (0.02,)), seed=5)]
    again = next_drawdown("R", "W", more, TUBES_TOO, fit, gap_um=GAP_UM, black=guess)
    assert again.now.shades < first.now.shades
    assert again.now.de00 - again.then.de00 < 0.5 * (first.now.de00 - first.then.de00)


def test_a_ladder_is_the_same_with_a_shade_beside_it_and_none_is_offered_that_cannot_be_weighed():
    red, white = Guess.typical(TUBES["R"]), Guess.typical_white(TUBES["W"])
    black = Guess(TUBES_TOO["K"], K_BLACK[0][None], K_BLACK[1][None])
    plain, beside = plan_ladder(red, white), plan_ladder(red, white, black=black)
    assert beside.drawdowns == plain.drawdowns and beside.expected.de00 == plain.expected.de00
    assert plain.shade is None and beside.shade is not None
    assert beside.shade.then.de00 < beside.shade.now.de00
    assert "how K acts on R" in beside.shade.words and "mixed and not painted" in beside.shade.words
    assert plan_ladder(red, white, black=black, balance_g=0.5, gap_um=None).shade is None


# Read back.


def test_a_ladder_with_its_shade_fits_and_its_white_stays_its_white():
    """In the virtual lab, in a world whose black acts by partner."""
    lab_ = Lab(LIKE_REAL["black by partner"], points=12)
    names = ("hull-white", "pitch-black", "lantern-yellow", "buoy-red", "rope-earth")
    own = [c for c in ladders() if c.name in names]
    shade = Shade("PITCH", 0.02)
    cards = []
    for paint in ("LANTERN", "BUOY", "ROPE"):
        steps = weigh_shades(
            {paint: Step(0.0, gap_um=300.0)}, "HULL", shade, measure_of("0.01"), {}
        )
        name = f"{paint.lower()}-shade"
        cards.append(Card(name, f"{name}.toml", steps, balance_g=0.004))
    shares = (0.01, 0.05)
    steps = tuple(
        Drawdown(f"{p} {s:g}", None, {p: 10 * (1 - s), "PITCH": 10 * s}, gap_um=300.0)
        for p in ("LANTERN", "BUOY", "ROPE") for s in shares
    )  # fmt: skip
    truth = lab_.mixtures(Card("t", "t.toml", steps, purpose="check"), 5).readings
    off = {}
    for taught, more in ((False, []), (True, cards)):
        made = as_studio.of_cards(lab_.read([*own, *more], 5), lab_.tubes)
        off[taught] = check_mixtures(made.used[as_studio.AS_USED], [truth]).patches["de00"].mean()
        for fit in made.fits.values():
            assert {white_of(fit.paints[p]) for p in ("LANTERN", "BUOY", "ROPE")} == {"HULL"}
            assert all((p.patches["weight"] == 1).all() for p in fit.paints.values())
    assert off[True] < 0.9 * off[False]


def test_a_black_that_only_shades_tell_of_is_a_first_guess(a_black):
    cards = [read(ladder(p, gap_um=GAP_UM), seed=3) for p in ("W", "R")]
    fit = fit_paints([*cards, read(shade_card("shade", (0.02,)), seed=4)], TUBES_TOO)
    black = fit.paints["K"]
    assert black.verdict == "a first guess"
    assert any("no step read holds more than 2 % of it" in reason for reason in black.reasons)
    k, k_sd = fit.coefficients.s[fit.coefficients.index("K")], fit.coefficients.uncertainty[1]
    assert np.median(k_sd[fit.coefficients.index("K")] / k) > 0.3
    assert fit.paints["R"].verdict == "good to mix by"


# From the command line.


@pytest.fixture
def tool(monkeypatch, capsys, own_demo):
    """The demo's studio."""
    monkeypatch.chdir(own_demo)
    return partial(run, monkeypatch, capsys)


def test_a_shade_is_offered_printed_filled_in_and_asked_for_next(tool, own_demo):
    said = tool("plan", "LANTERN", "--scale", "0.01")
    assert said.status == 0, said.err
    assert "A shade step shows how PITCH acts on LANTERN." in said.out
    command = said.out.strip().rpartition("tintladder ")[2].split()
    printed = tool(*command, "--scale", "0.01", "--json")
    assert printed.status == 0, printed.err
    *_, down, shade = printed.json["steps"]
    assert down["painted"] is False and shade["from"] == down["step"]
    assert set(down["masses"]) == {"PITCH", "HULL"} and shade["relative_error"] < 0.0505
    assert "(mixed, not painted)" in tool(*command, "--scale", "0.01").out
    filled = tool("card", "fill", str(printed.json["number"]), "--as-printed", "--json")
    assert filled.status == 0, filled.err
    text = (own_demo / "cards" / f"{printed.json['card']}.toml").read_text(encoding="utf-8")
    assert "over = []" in text
    found = tool("plan", "LANTERN", "--next", "--json").json
    assert found["no_shade"] is None and found["before"][0]["over"] == []
    assert found["considered"][0]["step"].startswith("shade ")
    assert found["considered"][0]["white_to_colour"] is None


def test_without_a_black_that_is_known_one_line_says_what_cannot_be_offered(tool):
    assert tool("plan", "PITCH", "--json").json["no_shade"] is None
    assert tool("plan", "PITCH", "--json").json["shade"] is None
    assert tool("tubes", "out", "PITCH").status == 0
    said = tool("plan", "LANTERN")
    lines = [line for line in said.out.splitlines() if line.startswith("No shade step")]
    assert lines and "there is no black on hand; add it: tintladder tubes add" in lines[0]
    assert "--shade" not in said.out.splitlines()[-1]
    add = ("tubes", "add", "--maker", "Slipway Colours", "--pigments", "PBk9")
    assert tool(*add, "--name", "Soot", "--nickname", "SOOT").status == 0
    said = tool("plan", "LANTERN", "--next", "--json")
    assert said.json["no_shade"].startswith("SOOT has no fit yet; paint its ladder first")
    assert not any(row["step"].startswith("shade") for row in said.json["considered"])
    # A black without a lot, and never fitted: its card is printed, and says what it is worth.
    card = tool("card", "LANTERN", "--shade", "SOOT", "--scale", "0.01")
    assert card.status == 0, card.err
    assert "SOOT has no fit yet: a shade tells something only once its own" in card.out
    assert tool(*add, "--name", "Tar", "--nickname", "TAR").status == 0
    why = tool("plan", "LANTERN", "--json").json["no_shade"]
    assert why == "there are SOOT or TAR; say which with --shade"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("plan", "LANTERN", "--shade", "HULL"), "a white makes no shades"),
        (("plan", "PITCH", "--shade", "PITCH"), "it makes no shades of itself"),
        (("plan", "LANTERN", "--shade", "NOBODY"), "NOBODY"),
        (("card", "LANTERN", "--shade", "HULL"), "a white makes no shades"),
        (("card", "PITCH", "--shade", "PITCH"), "it makes no shades of itself"),
        (("card", "HULL", "--shade", "PITCH"), "the white alone has no shades"),
        (("card", "LANTERN", "--shade", "PITCH=40"), "expected 0.1 to 10 percent of black"),
        (("card", "LANTERN", "--shade", "PITCH=some"), "expected 0.1 to 10 percent of black"),
        (("card", "LANTERN", "--shade", "PITCH=0.1"), "take a finer one, or more black"),
        (("card", "--shade", "PITCH"), "expected the tubes to paint"),
        (("card", "--mixtures", "--shade", "PITCH"), "it doesn't go with --shade"),
    ],
)
def test_refusals(tool, own_demo, arguments, words):
    scale = ("--scale", "0.1") if arguments[0] == "card" else ()
    before = sorted(Path(own_demo, "cards").iterdir())
    said = tool(*arguments, *scale)
    assert said.status == 2 and words in said.err and said.err.count("\n") == 1
    assert sorted(Path(own_demo, "cards").iterdir()) == before


# On the page.


def test_a_shade_is_chosen_on_the_page_and_asked_for_next(own_page):
    visitor, folder = own_page
    assert '<option value="PITCH">' in visitor.ask("GET", "/cards/new").text
    asked = [("tube", "LANTERN"), ("white", "HULL"), ("shade", "PITCH"), ("scale", "0.01")]
    printed = visitor.send("/cards", asked)
    assert printed.status == 200, printed.text
    with Store.open(folder) as store:
        (card,) = [each for each in store.cards.all() if each.name == "lantern-1"]
    assert [d.step for d in card.drawdowns if not d.over] == ["PITCH 2:1"]
    assert card.drawdowns[-1].step == "shade 2%"
    shown = visitor.ask("GET", printed.json["path"].partition("#")[0]).text
    assert "PITCH 2:1" in shown and "shade 2%" in shown
    more = visitor.ask("GET", "/paints/LANTERN/next").text
    assert "masstone, tints and shades" in more and "shade 5%" in more
    refused = visitor.send("/cards", [("tube", "PITCH"), ("white", "HULL"), ("shade", "PITCH")])
    assert refused.status == 400 and "it makes no shades of itself" in refused.text


def test_the_page_offers_to_learn_from_mixtures(demo_page):
    text = demo_page.get("/fits").text
    assert 'name="learn" value="all"' in text
    assert "each predicted by a fit that had not seen it" in text
