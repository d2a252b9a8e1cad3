"""A plan is weighable, expects what befalls, and beats an even ladder."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.card_file import parse_card
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.cards.weighing_out import LEAST_STEPS, Step, weigh_out, weighed
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.planning.guess import PEAK_K, Guess
from tintladder.calibrate.fit.planning.information import DRIFT, TARGETS
from tintladder.calibrate.fit.planning.next_step import (
    RATIOS,
    LadderPlan,
    choose,
    next_drawdown,
    plan_ladder,
)
from tintladder.calibrate.fit.problem.noise import TYPICAL
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.surface import Surface

from tests.bench.next_step import EVEN, HALVING, differences, lab_trials, made_trials, make, targets
from tests.synthetic import KS, TUBES, ladder, read

GAP = 300.0
SETTINGS = FitSettings(noise=TYPICAL, roughness=(1.0, 1.0), surface_error=0.002)
RED = Guess.typical(Tube("R", 1.3, 0.4))
WHITE = Guess.typical_white(Tube("W", 1.5, 0.45))


def steps(ratios: tuple[float, ...], gap_um: float | None = GAP) -> list[Step]:
    return [Step(r, gap_um=gap_um) for r in ratios]


def as_card_file(drawdowns: tuple[Drawdown, ...], balance_g: float) -> str:
    """The card file that a painter would write of a plan."""
    lines = ['card = "planned"', 'white = "W"', f"balance_g = {balance_g}"]
    for d in drawdowns:
        grams = ", ".join(f"{p} = {g}" for p, g in d.masses.items())
        lines += ["[[drawdown]]", f'step = "{d.step}"', f'paint = "{d.paint}"']
        lines += [f"gap_um = {d.gap_um}" if d.gap_um else f"opaque = true\ncoats = {d.coats}"]
        lines += [f"over = {json.dumps(d.over)}"]
        if d.taken_from is None:
            lines += [f"masses = {{{grams}}}"]
        else:
            lines += [f'from = "{d.taken_from}"', f"grams = {d.taken_g}"]
            lines += [f"additions = {{{grams}}}"]
    return "\n".join(lines)


@pytest.mark.parametrize("balance_g", [0.01, 0.1])
@pytest.mark.parametrize("ratios", [EVEN, HALVING, (0.0, 2.0, 4.0, 16.0, 128.0, np.inf)])
def test_a_ladder_is_weighed_to_the_balances_step_and_makes_a_sound_card(
    ratios: tuple[float, ...], balance_g: float
) -> None:
    wanted = steps(ratios)
    drawdowns = weigh_out("R", "W", wanted, balance_g)
    made = composition(Card("c", "c.toml", drawdowns, balance_g=balance_g))
    colour = made.fractions[:, made.paints.index("R")]
    sure = np.abs(made.by_weighing[:, :, made.paints.index("R")]) * balance_g
    left = {d.step: sum(d.masses.values()) + (d.taken_g or 0.0) for d in drawdowns}
    for d in drawdowns:
        for grams in [*d.masses.values(), *([d.taken_g] if d.taken_g else [])]:
            assert grams / balance_g == pytest.approx(round(grams / balance_g))
        if d.taken_from:
            left[d.taken_from] -= d.taken_g or 0.0
    by_ratio = {step.name: step for step in wanted}
    for d, share, spread in zip(drawdowns, colour, sure, strict=True):
        step = by_ratio[d.step]
        assert share == pytest.approx(1 / (1 + step.ratio), rel=0.02)
        assert left[d.step] >= step.grams - 2 * balance_g
        # Down a chain of up to five weighings, each as sure as the least that is weighed.
        assert np.sqrt((spread**2).sum()) <= 2.5 / LEAST_STEPS * max(share, 1e-12)
    card = parse_card(as_card_file(drawdowns, balance_g), "planned.toml", {"R", "W"})
    for ours, theirs in zip(drawdowns, card.drawdowns, strict=True):
        assert replace(theirs, lots={}) == ours


def test_a_weak_tint_is_taken_from_a_stronger_one_only_where_it_must_be() -> None:
    """Worked by hand: 3.34 g of 15:1 needs 0.21 g of colour, which 0.01 g can't weigh to 2.5 %."""
    strong, weak = weigh_out("R", "W", steps((1.0, 15.0)), 0.01)
    assert weak.taken_from == "1:1"
    assert weak.taken_g == pytest.approx(0.42)  # 3.34 / 8, rounded up
    assert weak.masses == {"W": pytest.approx(2.94)}  # seven times as much
    assert strong.masses == {"R": pytest.approx(1.88), "W": pytest.approx(1.88)}  # 3.34 + 0.42
    fresh = weigh_out("R", "W", steps((1.0, 15.0)), 0.001)[1]
    assert fresh.taken_from is None
    assert fresh.masses["R"] == pytest.approx(0.209)


def test_expected_uncertainty_of_k_and_s_is_what_the_fit_reports() -> None:
    """The fit sums its information block by block; here it is summed step by step."""
    cards = [ladder("W", gap_um=GAP), Card("l", "l.toml", weigh_out("R", "W", steps(EVEN), 0.01))]
    later = targets("R", "W", GAP)
    white, painted, true = make(cards, later, {p: KS[p] for p in "RW"}, "R", None, SETTINGS)
    fit = fit_paints([white, painted, true], {p: TUBES[p] for p in "RW"}, SETTINGS)
    i = fit.coefficients.index("R")
    k, s = (u[i] for u in fit.coefficients.uncertainty)
    k, s = k / fit.coefficients.k[i], s / fit.coefficients.s[i]
    # What the slopes are depends on where K and S lie, and the fit's prior moved them a little.
    guesses = [Guess.like(TUBES[p], fit.coefficients, p) for p in "RW"]
    plan = LadderPlan(guesses[0], guesses[1], (white,), GAP, 0.01, settings=SETTINGS)
    expected = plan.expect(cards[1].drawdowns)
    assert expected.k == pytest.approx(np.sqrt(np.mean(k**2)), rel=0.03)
    assert expected.s == pytest.approx(np.sqrt(np.mean(s**2)), rel=0.03)


def test_expected_difference_is_the_simulated_one_and_the_planned_ladder_beats_the_even() -> None:
    found = made_trials("B", range(10))
    for expected, simulated in found.values():
        assert simulated == pytest.approx(expected, rel=0.2)
    assert found["planned"][1] < 0.95 * found["even"][1]


def test_the_planned_ladder_beats_the_even_one_in_the_lab() -> None:
    """Radiative transfer, not the model: seeded errors of weighing, thickness and reading."""
    found = lab_trials("ANCHOR", (1,))
    assert found["planned"][1] < 0.75 * found["even"][1]
    assert found["planned"][1] < 1.05 * found["halving"][1]


def test_a_plan_takes_each_ratio_once_and_is_the_same_each_time() -> None:
    first, again = (plan_ladder(RED, WHITE, balance_g=0.1) for _ in range(2))
    assert first == again
    names = [d.step for d in first.drawdowns]
    assert len(set(names)) == len(names) == 7
    assert {"masstone", "white"} <= set(names)
    assert first.grams == weighed(first.drawdowns)
    assert all(f"{d.step}: " in first.words for d in first.drawdowns)
    assert f"{first.grams['R']:.3g} g R" in first.words


def test_the_choice_is_the_best_of_all_and_each_set_is_judged_alone() -> None:
    plan = LadderPlan(RED, WHITE)
    scenes = plan.scenes(plan.apart(steps((0.0, 1.0, 4.0, 8.0, 32.0, 128.0))))
    pairs = [(i, j) for i in range(1, 6) for j in range(i + 1, 6)]
    worth = [np.mean([s.square(np.array([[0, *pair]])).mean() for s in scenes]) for pair in pairs]
    assert choose(scenes, 1, 3) == (0, *pairs[int(np.argmin(worth))])
    together = scenes[0].square(np.array([(0, *pair) for pair in pairs]))
    assert together[3] == pytest.approx(scenes[0].square(np.array([[0, *pairs[3]]]))[0])
    # The order of a set says nothing.
    assert scenes[0].square(np.array([[5, 0, 1]])) == pytest.approx(together[3:4])


def test_what_a_drawdown_tells_adds_up() -> None:
    """More steps never leave K and S less sure (the fit's own account, without drift)."""
    plan = LadderPlan(RED, WHITE)
    scene = plan.scenes(plan.apart(steps((0.0, 1.0, 8.0, 64.0))))[0]
    spread = [np.diag(scene.covariance(range(n))) for n in range(5)]
    assert all((b <= a * (1 + 1e-9)).all() for a, b in pairwise(spread))
    assert (spread[-1] < spread[0]).all()


def test_a_wanted_uncertainty_is_reached_with_less_paint_than_six_steps_take() -> None:
    six = plan_ladder(RED, WHITE)
    wanted = 1.3 * six.expected.de00
    lean = plan_ladder(RED, WHITE, wanted_de00=wanted)
    assert lean.expected.de00 <= wanted
    assert sum(lean.grams.values()) < 0.75 * sum(six.grams.values())
    assert {d.over for d in lean.drawdowns if d.step in ("masstone", "white")} == {SUBSTRATES}
    dear = [d for d in lean.drawdowns if len(d.over) == 1]
    assert all(f"over {d.over[0]} alone" in lean.words for d in dear)
    with pytest.raises(InputError, match=r"R comes to .* and 0\.01 was wanted; allow"):
        plan_ladder(RED, WHITE, wanted_de00=0.01)


@pytest.mark.parametrize("balance_g", [0.01, 0.1])
def test_no_ladder_over_both_substrates_reaches_what_is_wanted_with_less_paint(
    balance_g: float,
) -> None:
    """On a coarse balance more tints may take less: each is taken from a stronger one."""
    plan = LadderPlan(RED, WHITE, balance_g=balance_g)
    lean = plan_ladder(RED, WHITE, wanted_de00=0.85, balance_g=balance_g)
    assert lean.expected.de00 <= 0.85
    tints = [ratio for ratio in RATIOS if ratio > 0]
    for some in [*combinations(tints, 1), *combinations(tints, 2)]:
        drawn = plan.weigh([Step(ratio, gap_um=300.0) for ratio in (0.0, *some, np.inf)])
        if sum(weighed(drawn).values()) < sum(lean.grams.values()) - 1e-6:
            assert plan.expect(drawn).de00 > 0.85


@pytest.mark.parametrize("count", [1, 10])
def test_a_count_of_steps_that_cannot_be_is_refused(count: int) -> None:
    with pytest.raises(InputError, match=f"steps: expected 2 to 9, got {count}"):
        plan_ladder(RED, WHITE, steps=count)


def test_without_an_applicator_every_step_is_opaque() -> None:
    found = plan_ladder(RED, WHITE, gap_um=None, steps=4)
    assert all(d.opaque and d.coats == 3 and d.gap_um is None for d in found.drawdowns)
    assert 0 < found.expected.de00 < 3
    assert "painted until the black no longer shows" in found.words


def test_a_coarser_balance_leaves_a_paint_less_sure() -> None:
    fine, coarse = (
        LadderPlan(RED, WHITE, balance_g=b)
        .expect(weigh_out("R", "W", steps((0.0, 4.0)), 0.01))
        .de00
        for b in (0.01, 0.1)
    )
    assert coarse > 1.05 * fine


def test_one_more_step_after_masstone_and_one_deep_tint_is_a_light_tint_and_helps() -> None:
    """Counted beforehand, then painted: half of what was hoped for at least, on average."""
    drawn = weigh_out("R", "W", steps((0.0, 1.0)), 0.01)
    cards = [ladder("W", gap_um=GAP), Card("l", "l.toml", drawn, balance_g=0.01)]
    later, truth = targets("R", "W", GAP), {p: KS[p] for p in "RW"}
    tubes = {p: TUBES[p] for p in "RW"}
    before, after = [], []
    for seed in range(6):
        readings = make(cards, later, truth, "R", seed, SETTINGS)
        fit = fit_paints(readings, tubes, SETTINGS)
        more = next_drawdown("R", "W", readings, tubes, fit, gap_um=GAP)
        assert 8 <= more.table["ratio"][0] <= 64
        assert more.then.de00 < 0.9 * more.now.de00
        extra = Card("extra", "extra.toml", (more.drawdown,), balance_g=0.01)
        painted = make([*cards, extra], later, truth, "R", seed, SETTINGS)
        before.append(differences(readings, tubes, SETTINGS))
        after.append(differences(painted, tubes, SETTINGS))
    hoped = 1 - more.then.de00 / more.now.de00
    fell = 1 - np.sqrt(np.mean(np.square(after)) / np.mean(np.square(before)))
    assert fell > hoped / 2
    assert more.words.startswith(f"One more drawdown of R is {more.drawdown.step}: ")
    assert (more.table["bits"] > 0).all()
    assert more.table["de00"].is_monotonic_increasing


def test_one_more_step_of_a_good_ladder_is_said_to_be_hardly_worth_it() -> None:
    readings = [read(ladder(p), seed=7) for p in ("W", "R")]
    fit = fit_paints(readings, TUBES)
    more = next_drawdown("R", "W", readings, TUBES, fit, gap_um=280.0)
    assert more.words.startswith("No one drawdown tells much more of R; the best is")
    assert 0 < more.then.de00 < more.now.de00 < 1.2


def test_one_more_step_of_a_paint_without_a_fit_or_a_card_is_refused() -> None:
    readings = [read(ladder(p), seed=7) for p in ("W", "R")]
    fit = fit_paints(readings, TUBES)
    with pytest.raises(InputError, match="paint B: expected a fitted paint; fit it first"):
        next_drawdown("B", "W", readings, TUBES, fit)
    with pytest.raises(InputError, match="expected a card of R and W alone; plan a ladder"):
        next_drawdown("R", "W", readings[:1], TUBES, fit)


def test_one_more_step_dries_as_the_paint_does() -> None:
    readings = [read(ladder(p, surface="satin"), Surface.of("45:0"), seed=7) for p in ("W", "R")]
    more = next_drawdown("R", "W", readings, TUBES, fit_paints(readings, TUBES), gap_um=280.0)
    assert more.drawdown.surface == "satin"
    assert 0 < more.then.de00 < more.now.de00 < 2
    assert {d.surface for d in plan_ladder(RED, WHITE, gloss="matt").drawdowns} == {"matt"}


def test_guesses_hold_what_they_say() -> None:
    for strength, peak in PEAK_K.items():
        guess = Guess.typical(Tube("X"), strength)
        # The grid's 10 nm hit each invented band on its centre.
        assert guess.k.max(axis=1) == pytest.approx(np.full(3, peak))
        assert (guess.s > 0).all()
    fit = fit_paints([read(ladder(p)) for p in ("W", "R")], TUBES).coefficients
    gap = replace(fit, k=np.where(np.arange(fit.k.shape[1]) < 2, np.nan, fit.k))
    like = Guess.like(TUBES["R"], gap, "R")
    assert like.k[0, 2:] == pytest.approx(fit.k[fit.index("R"), 2:])
    assert like.k[0, :2] == pytest.approx(np.full(2, like.k[0, 2]))
    with pytest.raises(ValueError, match="1/mm"):
        Guess.like(TUBES["R"], replace(fit, scale="relative to W"), "R")


def test_the_drift_assumed_is_the_labs() -> None:
    """Between neighbouring tints of a ladder without errors, as the fit sees their strength."""
    from tests.lab.drawdown import Lab
    from tests.lab.plan import ladders

    lab = Lab(points=12)
    cards = lab.read([c for c in ladders() if c.name in ("hull-white", "pitch-black", "buoy-red")])
    loose = FitSettings(
        noise=TYPICAL,
        roughness=(1.0, 1.0),
        two_flux_spread=1.0,
        model_spread=0.02,
        drawdown_spread=0.002,
        session_spread=0.002,
        transfer_spread=0.002,
    )
    table = fit_paints(cards, lab.tubes, loose).nuisances.set_index("name")["value"]
    squares: list[float] = []
    for r in cards[1:]:
        tints = r.card.drawdowns[1:]
        strength = np.array([table[f"{r.card.name} {d.step}: two fluxes"] for d in tints])
        level = np.log2([1 + float(d.step.split(":")[0]) for d in tints])
        squares += list(np.diff(strength) ** 2 / np.diff(level))
    assert np.sqrt(np.mean(squares)) == pytest.approx(
        DRIFT * FitSettings().two_flux_spread, rel=0.3
    )
    assert len(TARGETS) == 8
