"""Which model a studio mixes by, and what it says of it."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial

import pandas as pd
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.quality_report import quality_report
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.database.mixing.model_choice import Trial, choose, trial_of, words
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.load import load_release
from tintladder.database.releases.model_choice import model_of
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from . import synthetic
from .command import run
from .studio_fixtures import joint_fit
from .test_release import fill


def by_transport(fit):
    """The same numbers under the other model's name: only the choice is tried here."""
    return replace(
        fit,
        coefficients=replace(fit.coefficients, model="transport"),
        paints={
            name: replace(paint, coefficients=replace(paint.coefficients, model="transport"))
            for name, paint in fit.paints.items()
        },
    )


@pytest.fixture
def store(tmp_path):
    """A studio whose paints have a fit of either model."""
    with Store.open(tmp_path) as store:
        fill(store)
        store.fits.record(joint_fit(), store.readings.all())
        store.fits.record(by_transport(joint_fit()), store.readings.all())
        yield store


def checked(store, fit, *off):
    card = store.cards.all()[0].name
    rows = [(card, f"step {i}", "white", de00) for i, de00 in enumerate(off)]
    store.fits.record_checks(fit, pd.DataFrame(rows, columns=["card", "step", "over", "de00"]))


def newest(store):
    return (
        max(store.fits.current().values()),
        max(store.fits.current("transport").values()),
    )


def test_the_nearer_on_mixtures_that_both_were_tried_on(store):
    two_flux, transport = newest(store)
    assert store.fits.model_for(["KEEL"]) == "transport", "none was tried"
    checked(store, two_flux, 0.5, 0.6, 0.5, 0.6, 0.1)
    checked(store, transport, 1.6, 1.8, 1.4, 1.7)
    assert store.fits.model_for(["KEEL"]) == "two-flux"
    assert store.fits.coefficients(["KEEL"]).model == "two-flux"
    assert store.fits.coefficients(["KEEL"], "transport").model == "transport"
    assert "nearer on your check mixtures" in store.fits.model_words(store.fits.coefficients())


def test_a_newer_fit_by_two_fluxes_leaves_no_older_one_beside_it(store):
    store.fits.record(joint_fit(("KEEL",), 9), store.readings.all())
    assert "KEEL" not in store.fits.current("transport")
    assert store.fits.model_for(["KEEL", "HULL"]) == "two-flux"
    assert store.fits.model_for(["HULL"]) == "transport"
    mixed = store.fits.coefficients(["KEEL", "HULL"])
    assert mixed.model == "two-flux"
    assert store.fits.model_words(mixed).endswith("there is no other fit of KEEL.")


def test_the_choice_and_its_words():
    fits = {"A": 2, "B": 2}
    none = Trial({})
    assert choose(["A", "B"], fits, none) == "transport"
    assert choose(["A", "C"], fits, Trial({"two-flux": 1.0, "transport": 0.2})) == "two-flux"
    assert choose(["A"], fits, Trial({"two-flux": 0.1, "transport": 0.2})) == "two-flux"
    assert words("two-flux", ["X", "Y"], {}, none) == "Calculated by the two-flux model."
    said = words("two-flux", ["A", "P", "Q", "R", "S", "MEDIUM"], fits, none)
    assert said.endswith("no other fit of P, Q, R and 1 more.")
    assert words("two-flux", ["A"], fits, none, asked=True).endswith("as you asked.")


def test_steps_left_out_tell_where_no_mixture_does():
    """And a mixture that both were tried on goes before."""
    steps = {"two-flux": {1: 0.85, 2: 0.8, 3: 9.0}, "transport": {1: 1.0, 2: 1.0}}
    found = trial_of({}, steps)
    assert found.by_steps and found.off == pytest.approx({"two-flux": 0.825, "transport": 1.0})
    assert found.nearer == "two-flux"
    assert "steps of your ladders" in words("two-flux", ["A"], {"A": 1}, found)
    assert trial_of({}, steps | {"transport": {1: 0.8, 2: 0.8}}).nearer == "transport"
    one = {"two-flux": {"m": 0.4, "n": 0.1}, "transport": {"m": 0.3}}
    found = trial_of(one, steps)
    assert found.off == {"two-flux": 0.4, "transport": 0.3} and not found.by_steps
    assert trial_of({"two-flux": {"m": 0.1}}, {"two-flux": {1: 0.1}}).nearer == "transport"


def test_scanned_mixtures_choose_only_where_they_can_tell():
    mixtures = {"two-flux": {"m": 1.0, "n": 1.2}, "transport": {"m": 2.0, "n": 2.4}}
    assert trial_of(mixtures, {}, {"m": 0.5, "n": 0.5}).nearer == "two-flux"
    # Not below the scan's own error, nor where it is too dark to be sure of anything.
    assert trial_of(mixtures, {}, {"m": 1.5, "n": 1.5}).off == {}
    assert trial_of(mixtures, {}, {"m": 9.0, "n": 9.0}).off == {}
    # What was measured goes before what was scanned.
    found = trial_of(mixtures, {}, {"m": 0.5})
    assert found.off == {"two-flux": 1.2, "transport": 2.4}
    steps = {"two-flux": {1: 2.0}, "transport": {1: 1.0}}
    assert trial_of(mixtures, steps, {"m": 1.5, "n": 1.5}).by_steps


def test_a_world_of_two_fluxes_is_told_from_its_ladders():
    """Ladders made with two fluxes themselves; the lab's, by transport, are in test_transport."""
    cards = synthetic.ladders(("W", "R", "B"), seed=4)
    steps = {}
    for model in ("two-flux", "transport"):
        found = fit_paints(cards, synthetic.TUBES, FitSettings(model=model), leave_out=True)
        steps[model] = {
            name: quality_report(fit, left_out=found.left_out).left_out.median()
            for name, fit in found.paints.items()
        }
    assert trial_of({}, steps).nearer == "two-flux"


def test_a_studio_keeps_how_steps_predict_each_other(store):
    card = joint_fit().paints["KEEL"].patches
    for model, off in (("two-flux", 0.2), ("transport", 0.4)):
        fit = joint_fit() if model == "two-flux" else by_transport(joint_fit())
        left = card[["card", "patch", "step"]].assign(de00=off)
        quality = {name: quality_report(p, left_out=left) for name, p in fit.paints.items()}
        store.fits.record(fit, store.readings.all(), quality=quality)
    assert store.fits.model_for(["KEEL"]) == "two-flux"
    assert "steps of your ladders" in store.fits.model_words(store.fits.coefficients())
    found = load_release(publish(store).folder)
    assert model_of(found, ["KEEL", "HULL"]) == "two-flux"
    with Store.open(store.studio.folder / "other") as other:
        adopt(other, store.studio.releases / found.name, unproven=True)
        assert other.fits.model_for(["KEEL"]) == "two-flux"
    two_flux, transport = newest(store)
    checked(store, two_flux, 0.5)
    checked(store, transport, 0.4)
    assert store.fits.model_for(["KEEL"]) == "transport", "a mixture tells more than any ladder"


def test_commands_say_which(store, monkeypatch, capsys):
    folder = store.studio.folder
    store.close()
    tool = partial(run, monkeypatch, capsys, "predict", "KEEL=1,HULL=2", "--studio", folder)
    said = json.loads(tool("--json").out)
    assert said["model"] == "transport"
    assert "radiative-transfer" in tool().out
