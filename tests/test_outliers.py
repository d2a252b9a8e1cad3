"""Patches and steps that don't belong are found, named and set aside; sound ones are left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.trust import trust
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.finding import Finding
from tintladder.calibrate.fit.problem.result import JointFit, PaintFit
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.spectra import Array, Spectra

from tests import synthetic
from tests.bench.robust import KINDS, accused, judged, trial


def with_values(sound: CardReadings, values: Array) -> CardReadings:
    return replace(sound, spectra=replace(sound.spectra, values=values))


def exchanged(sound: CardReadings, one: Sequence[str], other: Sequence[str]) -> CardReadings:
    """The readings with patches' labels exchanged."""
    values = sound.spectra.values.copy()
    for a, b in zip(one, other, strict=True):
        values[sound.rows(a)], values[sound.rows(b)] = sound.read(b), sound.read(a)
    return with_values(sound, values)


def bubbled(sound: CardReadings, patch: str, share: float) -> CardReadings:
    """The readings with a share of bare card showing in one patch."""
    values = sound.spectra.values.copy()
    bare = sound.read(f"bare/{patch.split('/')[1]}").mean(axis=0)
    values[sound.rows(patch)] += share * (bare - values[sound.rows(patch)])
    return with_values(sound, values)


def over_both(step: str) -> list[str]:
    return [f"{step}/black", f"{step}/white"]


@pytest.fixture(scope="module")
def sound() -> dict[str, CardReadings]:
    return {r.card.name: r for r in synthetic.ladders(seed=4)}


def fitted(sound: dict[str, CardReadings], *wrong: CardReadings) -> JointFit:
    used = sound | {r.card.name: r for r in wrong}
    names = ["W", *(r.card.name for r in wrong)] if wrong else ["W", "R", "E"]
    return fit_paints([used[name] for name in names], synthetic.TUBES)


def aside(fit: PaintFit) -> set[str]:
    return set(fit.patches["patch"][fit.patches["weight"] < 1])


def test_sound_ladders_are_left_alone(sound: dict[str, CardReadings]) -> None:
    fit = fitted(sound)
    assert not accused(fit)
    assert all((p.patches["weight"] == 1).all() for p in fit.paints.values())


@pytest.mark.parametrize("steps", [("3:1", "7:1"), ("1:1", "15:1"), ("masstone", "1:1")])
def test_two_swapped_steps_are_suspected_by_name(
    sound: dict[str, CardReadings], steps: tuple[str, str]
) -> None:
    wrong = exchanged(sound["R"], *(over_both(step) for step in steps))
    fit = fitted(sound, wrong).paints["R"]
    assert fit.verdict == "look at this step"
    said = f"steps {steps[0]} and {steps[1]} of card R look swapped"
    assert any(said in reason for reason in fit.reasons)
    assert aside(fit) == {label for step in steps for label in over_both(step)}
    flags = fit.patches["flag"][fit.patches["weight"] < 1]
    assert set(flags) == {f"{steps[0]} and {steps[1]} look swapped"}


def test_nothing_is_dropped_and_the_fit_is_done_again_without_its_pull(
    sound: dict[str, CardReadings],
) -> None:
    right = fitted(sound, sound["R"])
    wrong = exchanged(sound["R"], over_both("3:1"), over_both("7:1"))
    again = fitted(sound, wrong)
    assert len(again.paints["R"].patches) == len(right.paints["R"].patches)
    k = right.coefficients.k[1], again.coefficients.k[1]
    sd = again.coefficients.uncertainty[0][1]
    # Without the two steps K is a little less sure, but no other than it was.
    assert float(np.sqrt(np.mean(((k[1] - k[0]) / sd) ** 2))) < 1.0


def test_black_and_white_swapped(sound: dict[str, CardReadings]) -> None:
    wrong = exchanged(sound["B"], ["3:1/black"], ["3:1/white"])
    fit = fitted(sound, wrong).paints["B"]
    assert any("step 3:1 of card B is lighter over black than over white" in r for r in fit.reasons)
    assert aside(fit) == set(over_both("3:1"))


@pytest.mark.parametrize("patch", ["1:1/black", "7:1/white", "masstone/white"])
def test_a_bubble_is_told_from_a_wrong_step(sound: dict[str, CardReadings], patch: str) -> None:
    fit = fitted(sound, bubbled(sound["Y"], patch, 0.3))
    assert accused(fit) == {("Y", patch, "doesn't fit its ladder")}


def test_a_wrong_step_of_one_ladder_is_not_blamed_on_the_white_of_all(
    sound: dict[str, CardReadings],
) -> None:
    wrong = bubbled(sound["B"], "masstone/white", 0.3)
    fit = fitted(sound, sound["R"], sound["E"], wrong)
    assert {(card, patch) for card, patch, _ in accused(fit)} == {("B", "masstone/white")}


def test_a_white_that_every_ladder_contradicts_is_blamed(sound: dict[str, CardReadings]) -> None:
    wrong = bubbled(sound["W"], "masstone/white", 0.5)
    fit = fit_paints([wrong, sound["R"], sound["B"], sound["E"]], synthetic.TUBES)
    assert {card for card, _, _ in accused(fit)} == {"W"}


def test_a_paint_is_never_left_without_a_reading(sound: dict[str, CardReadings]) -> None:
    problem = build([sound["W"], sound["R"]], synthetic.TUBES, FitSettings(noise=synthetic.NOISE))
    all_of_w = tuple(range(len(problem.patches)))
    everything = Finding("wrong step", "R", ("masstone",), all_of_w, "all", "all", 99.0)
    assert (trust(problem, [everything]) == 1).all()
    one = replace(everything, rows=(2,))
    assert trust(problem, [one])[2] == 0


@pytest.mark.parametrize("number", range(4, 4 + len(KINDS)))
def test_paint_that_two_fluxes_bend_for(number: int) -> None:
    """One trial of each kind on the virtual lab, whose ladders two fluxes don't quite hold for."""
    outcome = judged(trial("lab", number))
    assert outcome.named or outcome.moved < 3, outcome.what


def test_a_lone_masstone_with_black_and_white_swapped_is_named_but_kept(
    sound: dict[str, CardReadings],
) -> None:
    ladder = sound["B"]
    labels = ladder.spectra.labels
    rows = [i for i, label in enumerate(labels) if label.split("/")[0] in ("bare", "masstone")]
    spectra = Spectra.from_values(
        ladder.spectra.wavelengths, ladder.spectra.values[rows], [labels[i] for i in rows]
    )
    card = replace(ladder.card, drawdowns=ladder.card.drawdowns[:1])
    alone = replace(ladder, card=card, spectra=spectra)
    wrong = exchanged(alone, ["masstone/black"], ["masstone/white"])
    fit = fit_paints([wrong], synthetic.TUBES).paints["B"]
    assert fit.verdict == "look at this step"
    assert any("lighter over black" in r and "it is kept" in r for r in fit.reasons)
    assert (fit.patches["weight"] == 1).all()


def test_opaque_ladders_are_looked_at_too() -> None:
    white, red = synthetic.ladders(("W", "R"), seed=3, opaque_films=True)
    assert not accused(fit_paints([white, red], synthetic.TUBES))
    wrong = exchanged(red, over_both("3:1"), over_both("7:1"))
    fit = fit_paints([white, wrong], synthetic.TUBES)
    assert {flag for _, _, flag in accused(fit)} == {"3:1 and 7:1 look swapped"}
