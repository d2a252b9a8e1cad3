"""Which model a studio mixes by, and what it says of it."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial

import pandas as pd
import pytest
from tintladder.database.model_choice import Trial, choose, words
from tintladder.database.store import Store

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
        store.record_fit(joint_fit(), store.card_readings())
        store.record_fit(by_transport(joint_fit()), store.card_readings())
        yield store


def checked(store, fit, *off):
    card = store.cards()[0].name
    rows = [(card, f"step {i}", "white", de00) for i, de00 in enumerate(off)]
    store.record_checks(fit, pd.DataFrame(rows, columns=["card", "step", "over", "de00"]))


def newest(store):
    return (
        max(store.current_fits().values()),
        max(store.current_fits("transport").values()),
    )


def test_the_nearer_on_mixtures_that_both_were_tried_on(store):
    two_flux, transport = newest(store)
    assert store.model_for(["KEEL"]) == "transport", "none was tried"
    checked(store, two_flux, 0.5, 0.6, 0.1)
    checked(store, transport, 0.6, 0.7)
    assert store.model_for(["KEEL"]) == "two-flux"
    assert store.current_coefficients(["KEEL"]).model == "two-flux"
    assert store.current_coefficients(["KEEL"], "transport").model == "transport"
    assert "nearer on your check mixtures" in store.model_words(store.current_coefficients())


def test_a_newer_fit_by_two_fluxes_leaves_no_older_one_beside_it(store):
    store.record_fit(joint_fit(("KEEL",), 9), store.card_readings())
    assert "KEEL" not in store.current_fits("transport")
    assert store.model_for(["KEEL", "HULL"]) == "two-flux"
    assert store.model_for(["HULL"]) == "transport"
    mixed = store.current_coefficients(["KEEL", "HULL"])
    assert mixed.model == "two-flux"
    assert store.model_words(mixed).endswith("there is no other fit of KEEL.")


def test_the_choice_and_its_words():
    fits = {"A": 2, "B": 2}
    assert choose(["A", "B"], fits, {}) == "transport"
    assert choose(["A", "C"], fits, {"two-flux": 1.0, "transport": 0.2}) == "two-flux"
    assert choose(["A"], fits, {"two-flux": 0.1, "transport": 0.2}) == "two-flux"
    none = Trial({})
    assert words("two-flux", ["X", "Y"], {}, none) == "Reckoned by two fluxes of light."
    said = words("two-flux", ["A", "P", "Q", "R", "S", "MEDIUM"], fits, none)
    assert said.endswith("no other fit of P, Q, R and 1 more.")
    assert words("two-flux", ["A"], fits, none, asked=True).endswith("as you asked.")


def test_commands_say_which(store, monkeypatch, capsys):
    folder = store.studio.folder
    store.close()
    tool = partial(run, monkeypatch, capsys, "predict", "KEEL=1,HULL=2", "--studio", folder)
    said = json.loads(tool("--json").out)
    assert said["model"] == "transport"
    assert "many angles" in tool().out
