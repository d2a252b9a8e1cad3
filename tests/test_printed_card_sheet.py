"""What a weighing sheet asks for: sure enough with what there is, and in a painter's words."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product

import numpy as np
import pymupdf
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.card_file import parse_card
from tintladder.calibrate.cards.card_plan import CardPlan, LadderToPaint, plan_card, seats
from tintladder.calibrate.cards.card_text import card_text
from tintladder.calibrate.cards.label_strength import STRENGTHS, is_white, strength_of, tint_ratios
from tintladder.calibrate.cards.layout import layout_names, read_layout
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.cards.sureness import LARGEST_ERROR, NEAR, fraction_errors
from tintladder.calibrate.cards.weighing_sheet import TubeWords, amounts, print_sheet, used_words
from tintladder.calibrate.errors import InputError

# Invented paints, with and without a stated density.
DENSITIES = {"KEEL": 1.05, "HULL": 1.5}
LAYOUTS = [name for name in layout_names() if read_layout(name).tubes]
MEASURES = ("0.01", "0.1", "syringe", "spoons")


def planned(layout="quick-a5", strength="ordinary", scale="0.1", with_white=True, paints=("KEEL",)):
    return plan_card(
        "keel-1",
        read_layout(layout),
        [LadderToPaint(paint, strength) for paint in paints],
        "HULL",
        measure_of(scale),
        densities=DENSITIES,
        lots={"HULL": "W1"},
        with_white=with_white,
    )


# How sure a step is


def test_the_worked_ladder_of_a_kitchen_scale():
    """At 0.1 g: 2.0 g + 2.0 g, then 0.8 g of that + 3.2 g is sure enough; 0.05 g isn't."""
    chain = (
        Drawdown("1:1", "KEEL", {"KEEL": 2.0, "HULL": 2.0}),
        Drawdown("9:1", "KEEL", {"HULL": 3.2}, taken_from="1:1", taken_g=0.8),
    )
    scale = measure_of("0.1")
    assert max(fraction_errors(Card("c", "", chain), scale, {}).values()) < LARGEST_ERROR
    fresh = (Drawdown("9:1", "KEEL", {"KEEL": 0.05, "HULL": 0.45}),)
    assert fraction_errors(Card("c", "", fresh), scale, {})["9:1"] > 10 * LARGEST_ERROR


@pytest.mark.parametrize(
    ("layout", "strength", "scale"), list(product(LAYOUTS, STRENGTHS, MEASURES))
)
def test_every_step_is_sure_enough(layout, strength, scale):
    plan = planned(layout, strength, scale)
    assert max(plan.errors.values()) < LARGEST_ERROR
    ratios = tint_ratios(strength, read_layout(layout).steps_each - 1)
    fractions = made(plan.card, {d.step: None for d in plan.card.drawdowns})
    for ratio in ratios:
        step = next(s for s in fractions if s.split()[-1] == f"{ratio:g}:1")
        if scale.startswith("0"):
            # Weights are rounded to what is easily read off, so a ratio is met nearly.
            assert 1 / fractions[step] - 1 == pytest.approx(ratio, rel=NEAR)


def made(card: Card, wrong) -> dict[str, float]:
    """Fraction of the colour in each step, mixed by hand; `wrong` gives the errors of a step."""
    colour = {"HULL": 0.0}
    held: dict[str, float] = {}
    for d in card.drawdowns:
        error = wrong[d.step]
        errors = iter(error if error is not None else [0.0] * 3)
        total = own = 0.0
        if d.taken_from is not None:
            total = d.taken_g + next(errors)
            own = total * held[d.taken_from]
        for paint, grams in d.masses.items():
            weight = grams + next(errors)
            total += weight
            own += weight * colour.get(paint, 1.0)
        held[d.step] = own / total
    return held


@pytest.mark.parametrize("scale", ["0.01", "0.1"])
def test_errors_are_those_of_a_scale_that_rounds_twice(scale):
    """Monte Carlo (JCGM 101): the display rounds at zero and at the reading."""
    plan = planned(strength="strong", scale=scale)
    rng = np.random.default_rng(5)
    step = float(scale)
    trials = [
        made(
            plan.card,
            {d.step: np.diff(rng.uniform(-step / 2, step / 2, (2, 3)), axis=0)[0]
             for d in plan.card.drawdowns},
        )
        for _ in range(3000)
    ]  # fmt: skip
    for d in plan.card.drawdowns:
        each = np.array([trial[d.step] for trial in trials])
        if plan.errors[d.step] > 1e-9:
            assert each.std() / each.mean() == pytest.approx(plan.errors[d.step], rel=0.06)


def test_nothing_is_taken_that_is_not_there():
    for layout, strength, scale in product(LAYOUTS, STRENGTHS, MEASURES):
        card = planned(layout, strength, scale).card
        # The reader of card files refuses a chain that takes too much, or an unsound one.
        text = card_text(card)
        assert parse_card(text, "c.toml").drawdowns == card.drawdowns


def test_amounts_are_easily_read_off():
    for scale, step in (("0.1", 0.2), ("0.01", 0.05)):
        for d in planned(scale=scale).card.drawdowns:
            for grams in (*d.masses.values(), *([d.taken_g] if d.taken_g else [])):
                assert grams / step == pytest.approx(round(grams / step), abs=1e-6)
    whole = planned(scale="spoons")
    for d in whole.card.drawdowns:
        for amount, _ in amounts(whole, d):
            assert re.fullmatch(r"([1-9]\d* ?)?[¼½¾]? ?spoons?", amount), amount


def test_the_card_says_how_sure_a_weighing_is():
    assert planned(scale="0.1").card.balance_g == pytest.approx(0.1 / 6**0.5, rel=0.01)
    # 5 % of a level quarter of a spoon, 1.25 ml, of paint of 1.3 g/ml.
    assert planned(scale="spoons").card.balance_g == pytest.approx(0.05 * 1.25 * 1.3, rel=0.01)


def test_volumes_become_grams_by_each_density():
    plan = planned(scale="syringe")
    masstone, even = plan.card.drawdowns[:2]
    assert masstone.masses["KEEL"] == pytest.approx(1.05 * float(amounts(plan, masstone)[0][0][:3]))
    assert even.masses["HULL"] / even.masses["KEEL"] == pytest.approx(1.5 / 1.05, rel=1e-3)
    # A ml of the 1:1 mix by volume weighs the mean of both densities.
    third = plan.card.drawdowns[2]
    taken = amounts(plan, third)[0]
    assert taken[1] == "of 1:1"
    assert third.taken_g == pytest.approx(float(taken[0].split()[0]) * (1.05 + 1.5) / 2, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1", "up to 0.5"),
        ("0", "up to 0.5"),
        ("-0.1", "last digit"),
        ("cups", "syringe or spoons"),
        ("", "last digit"),
    ],
)
def test_measures_that_are_none(text, words):
    with pytest.raises(InputError, match=words):
        measure_of(text)


@pytest.mark.parametrize("text", ["0.1", "0,1", ".1", "0.1 g", " 0.10g "])
def test_a_scale_by_any_spelling(text):
    assert measure_of(text).resolution_g == pytest.approx(0.1)


# How strong a paint may be (the lists are common practice, no source)


@pytest.mark.parametrize(
    ("pigments", "strength"),
    [
        (["PB15:3"], "strong"),
        (["pb 15:1"], "strong"),
        (["PG7"], "strong"),
        (["PB29"], "ordinary"),
        (["PBr7"], "ordinary"),
        (["PB29", "PW6"], "weak"),
        (["PB15", "PW6"], "ordinary"),
        (["PG23"], "weak"),
        (["PB28", "PB29"], "ordinary"),
        (["PBk7"], "strong"),
        ([], "ordinary"),
        (["chalk"], "ordinary"),
    ],
)
def test_a_label_suggests_a_ladder(pigments, strength):
    assert strength_of(pigments) == strength


def test_whites():
    assert is_white(["PW6"]) and is_white(["PW 6", "PW4"])
    assert not is_white([]) and not is_white(["PW6", "PB29"])


@pytest.mark.parametrize(("strength", "tints"), list(product(STRENGTHS, range(8))))
def test_ratios_rise(strength, tints):
    ratios = tint_ratios(strength, tints)
    assert list(ratios) == sorted(set(ratios)) and len(ratios) == tints


def test_a_stronger_paint_gets_more_white():
    weak, ordinary, strong = (tint_ratios(strength, 4) for strength in STRENGTHS)
    assert all(a <= b <= c for a, b, c in zip(weak, ordinary, strong, strict=True))


# Where a step goes


def test_seats_of_a_six_tube_sheet():
    layout = read_layout("six-tube-a4")
    plan = planned("six-tube-a4", paints=("KEEL", "ROPE"))
    at = seats(layout, plan.card)
    assert [at[f"KEEL {step}"] for step in ("masstone", "1:1", "6:1", "32:1")] == [1, 2, 3, 4]
    assert [at[f"ROPE {step}"] for step in ("masstone", "1:1", "6:1", "32:1")] == [5, 6, 7, 8]
    assert at["white"] == layout.white_step == 25


def test_seats_of_mixtures_and_of_too_many_steps():
    layout = read_layout("mixtures-a4")
    free = [Drawdown(f"mix {i}", None, {"KEEL": 1.0, "HULL": 2.0}) for i in range(13)]
    card = Card("c", "c.toml", tuple(free[:12]), purpose="check")
    assert list(seats(layout, card).values()) == list(range(1, 13))
    with pytest.raises(InputError, match="mix 12: layout mixtures-a4 has no room"):
        seats(layout, replace(card, drawdowns=tuple(free)))
    quick = read_layout("quick-a5")
    more = [Drawdown(f"{i}:1", "KEEL", {"KEEL": 1.0, "HULL": i}) for i in range(1, 7)]
    with pytest.raises(InputError, match="6:1: layout quick-a5 has no room"):
        seats(quick, Card("c", "c.toml", tuple(more)))


def test_layouts_that_take_no_such_card():
    with pytest.raises(InputError, match="for mixtures"):
        planned("mixtures-a4")
    with pytest.raises(InputError, match="takes 1 tube, got 2"):
        planned("quick-a5", paints=("KEEL", "ROPE"))


# The sheet


def words_of(plan: CardPlan, layout: str) -> tuple[str, list[tuple[float, float]]]:
    tubes = [
        TubeWords("KEEL", "Keel Blue", ": an ordinary ladder, as you asked", 0.1, "holds cobalt"),
        TubeWords("HULL", "Hull White & Co", price_per_g=0.02),
    ]
    pdf = print_sheet(plan, read_layout(layout), tubes, 3)
    with pymupdf.open(stream=pdf, filetype="pdf") as document:
        sizes = [(p.rect.width * 25.4 / 72, p.rect.height * 25.4 / 72) for p in document]
        return " ".join(" ".join(page.get_text() for page in document).split()), sizes


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_sheet_says_what_to_do(layout):
    plan = planned(layout)
    text, sizes = words_of(plan, layout)
    paper = (215.9, 279.4) if "letter" in layout else (210, 297)
    assert all(size == pytest.approx(paper, abs=1e-3) for size in sizes)
    for words in (
        "Weighing sheet",
        "no. 3",
        "white to colour, by weight",
        "mix; wipe knife and palette; spread on the card; scrape back what is left; weigh the next",
        "overnight",
        "If a fingertip drags, don't scan",
        "dry before you rinse",
        "harden and bin",
        "out of the sink",
        "Gloves",
        "Hull White & Co, the white.",
        "Caution: holds cobalt.",
        "Say what differed from card 3, by its number",
        "0.1 g scale",
        "a bought target with its data file",
        "stand in, and everything comes out less sure",
        "never hides is to be expected" if plan.card.drawdowns[0].opaque else "300 µm wet",
    ):
        assert words in text
    for d in plan.card.drawdowns:
        for amount, what in amounts(plan, d):
            assert f"{amount} {what}" in text


def test_a_long_sheet_goes_on_with_its_head_repeated():
    plan = planned("six-tube-a4", paints=("KEEL", "A", "B", "C", "D", "E"))
    text, sizes = words_of(plan, "six-tube-a4")
    assert len(sizes) >= 2
    assert text.count("sure to") >= len(sizes)


def test_what_a_card_costs():
    plan = planned()
    grams = {"KEEL": 0.0, "HULL": 0.0}
    for d in plan.card.drawdowns:
        for paint, each in d.masses.items():
            grams[paint] += each
    tubes = [TubeWords("KEEL", "k", price_per_g=0.1), TubeWords("HULL", "h", price_per_g=0.02)]
    said = used_words(plan, tubes)
    assert f"KEEL {grams['KEEL']:.1f} g ({grams['KEEL'] * 0.1:.2f})" in said
    assert f"that is {grams['KEEL'] * 0.1 + grams['HULL'] * 0.02:.2f}" in said
    assert "(" not in used_words(plan, [TubeWords("KEEL", "k"), TubeWords("HULL", "h")])
    assert "known price" in used_words(plan, [tubes[0], TubeWords("HULL", "h")])


# The card's text


def test_a_card_is_read_back_as_it_was_written():
    odd = Card(
        name='a "card" \\ of ours',
        file="c.toml",
        drawdowns=(
            Drawdown(
                "1:1", "Ö-KER", {"Ö-KER": 1.25, "HULL": 1e-5}, white="HULL", lots={"Ö-KER": "x"}
            ),
            Drawdown(
                "9:1",
                "Ö-KER",
                {"HULL": 123456.5},
                taken_from="1:1",
                taken_g=0.5,
                white="HULL",
                lots={"Ö-KER": "x"},
                over=("white",),
                gap_um=150.0,
                thickness_um=33.0,
                surface="satin",
                coats=2,
                hours_dried=0.0,
                opaque=True,
            ),
        ),
        date="2026-05-04",
        balance_g=0.001,
        sealed=False,
        note="tab\tand  line\nbreak",
    )
    assert parse_card(card_text(odd, ["why"]), "c.toml") == odd
    # What no name or note needs is taken out on the way in.
    strange = replace(odd, note="tab\tand \x7f line\nbreak")
    assert parse_card(card_text(strange, ["why"]), "c.toml") == odd
    assert card_text(odd, ["why"]).startswith("# why\n")
