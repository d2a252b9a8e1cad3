"""A fit that learns from mixtures: what taught it never judges it, and its record says which."""

from __future__ import annotations

import shutil
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.card_text import card_text
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.database.cards.intake import take_in
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.fits.learning import taught_before
from tintladder.database.paper.report.page import report
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.refit import refit_release
from tintladder.database.store import schema
from tintladder.database.store.store import Store

from tests.bench.as_studio import write_files
from tests.lab.drawdown import Lab
from tests.lab.plan import ladders

from .command import run
from .synthetic import GAP_UM, TUBES, ladder, read

MIXES = {
    "a": {"R": 5.0, "Y": 5.0}, "b": {"R": 2.0, "Y": 8.0}, "c": {"R": 3.0, "E": 7.0},
    "d": {"Y": 4.0, "E": 4.0, "W": 2.0}, "e": {"R": 1.0, "W": 5.0, "E": 4.0},
}  # fmt: skip


def mixtures(name: str = "mixtures", mixes=MIXES, purpose: str = "learn", gap: float = GAP_UM):
    steps = tuple(Drawdown(step, None, held, gap_um=gap) for step, held in mixes.items())
    return Card(name, f"{name}.toml", steps, purpose=purpose, balance_g=0.005)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def cards():
    return [read(ladder(p, (1, 7), gap_um=GAP_UM), seed=11) for p in ("W", "R", "Y", "E")]


def test_each_mixture_is_left_out_once_and_taught_nothing_to_the_fit_that_predicts_it(cards):
    """A mixture read quite wrong moves the others' predictions, and never its own."""
    sound = read(mixtures(), seed=12)
    rows = [i for i, label in enumerate(sound.spectra.labels) if label.startswith("b/")]
    values = sound.spectra.values.copy()
    values[rows] *= 0.7
    spoilt = replace(sound, spectra=sound.spectra.with_values(values))
    settings = FitSettings(roughness=(0.5, 0.2), noise=(0.0005, 0.002), model_spread=0.07)
    fits = [fit_paints([*cards, each], TUBES, settings, leave_out=True) for each in (sound, spoilt)]
    for fit in fits:
        left_out = [mix for without in fit.without for mix in without.left_out]
        assert sorted(left_out) == [("mixtures", step) for step in MIXES]
        # Of the same paints, left out together.
        assert any({("mixtures", "a"), ("mixtures", "b")} <= set(w.left_out) for w in fit.without)
    moved = [
        _moved(one.coefficients, other.coefficients)
        for one, other in zip(*(fit.without for fit in fits), strict=True)
    ]
    own = [("mixtures", "b") in without.left_out for without in fits[0].without]
    # The weights are still those of the fit that learnt it.
    assert max(m for m, mine in zip(moved, own, strict=True) if mine) < 0.1
    assert min(m for m, mine in zip(moved, own, strict=True) if not mine) > 1


def _moved(one: Coefficients, other: Coefficients) -> float:
    """Largest change of K over its standard uncertainty."""
    return float((np.abs(other.k - one.k) / one.uncertainty[0]).max())


def test_mixtures_make_the_paints_surer_and_no_ladder_is_accused(cards):
    alone = fit_paints(cards, TUBES, leave_out=True)
    taught = fit_paints([*cards, read(mixtures(), seed=12)], TUBES, leave_out=True)
    assert set(taught.paints) == set(alone.paints)
    sure = [np.mean(f.coefficients.uncertainty[0] / f.coefficients.k) for f in (alone, taught)]
    assert sure[1] < sure[0]
    assert all((p.patches["weight"] == 1).all() for p in taught.paints.values())
    assert all(set(p.patches["card"]) == {name} for name, p in taught.paints.items())
    # Ladders are left out of ladders.
    assert taught.left_out is not None and set(taught.left_out["card"]) == {"W", "R", "Y", "E"}
    assert not alone.without


def test_a_wrong_step_is_found_beside_mixtures_too(cards):
    long = [read(ladder(p, gap_um=GAP_UM), seed=11) for p in ("W", "R", "Y", "E")]
    wrong = long[1].spectra
    labels = tuple(
        {"3": "15", "15": "3"}.get(a, a) + f":1/{b}" if a in ("3", "15") else label
        for label in wrong.labels for a, b in [label.replace(":1", "").split("/")]
    )  # fmt: skip
    swapped = [long[0], replace(long[1], spectra=replace(wrong, labels=labels)), *long[2:]]
    fit = fit_paints([*swapped, read(mixtures(), seed=12)], TUBES)
    aside = fit.paints["R"].patches.query("weight == 0")
    assert set(aside["step"]) == {"3:1", "15:1"}


def test_a_new_tube_learns_against_the_known(cards):
    known = fit_paints(cards[:2], TUBES).coefficients
    only = mixtures(mixes={"a": MIXES["a"], "b": MIXES["b"]})
    fit = fit_new_tubes([cards[2], read(only, seed=13)], TUBES, known, leave_out=True)
    assert set(fit.paints) == {"Y"}
    assert [w.left_out for w in fit.without] == [(("mixtures", "a"), ("mixtures", "b"))]
    truth = read(mixtures("truth", purpose="check", mixes={"t": {"R": 1.0, "Y": 3.0}}))
    assert check_mixtures(fit.coefficients, [truth]).mean < 1.5


# A studio.

NAMES = ("hull-white", "anchor-blue", "buoy-red", "lantern-yellow")
TAUGHT = {
    "mix 1": {"HULL": 6.0, "ANCHOR": 2.0, "BUOY": 2.0}, "mix 2": {"ANCHOR": 3.0, "LANTERN": 7.0},
    "mix 3": {"HULL": 3.0, "BUOY": 2.0, "LANTERN": 5.0},
}  # fmt: skip
OTHERS = {
    "mix 1": {"HULL": 4.0, "ANCHOR": 1.0, "LANTERN": 5.0},
    "mix 2": {"ANCHOR": 5.0, "BUOY": 5.0},
}


def some(files, *names):
    """The files of some cards, or the list of paints."""
    return [file for file in files if file.stem in names]


@pytest.fixture(scope="module")
def painted(tmp_path_factory):
    """Files of four ladders of the virtual lab and of two cards of mixtures."""
    lab = Lab(points=12)
    own = [card for card in ladders() if card.name in NAMES]
    own = [replace(c, drawdowns=tuple(c.drawdowns[i] for i in (0, 1, 3, 5) if i < len(c.drawdowns)))
           for c in own]  # fmt: skip
    checks = [
        replace(mixtures(name, mixes, "check", 300.0), balance_g=0.005)
        for name, mixes in (("mixtures-1", TAUGHT), ("mixtures-2", OTHERS))
    ]
    readings: list[CardReadings] = lab.read([*own, *checks], 17)
    tubes = {p: t for p, t in lab.tubes.items() if any(p in r.card.paints for r in readings)}
    tubes["DUSK"] = lab.tubes["DUSK"]
    return write_files(tmp_path_factory.mktemp("files"), readings, tubes)


@pytest.fixture(scope="module")
def studio(painted, tmp_path_factory):
    """A studio of the ladders and of one card of mixtures, which its fit learnt from; published."""
    folder = tmp_path_factory.mktemp("studio")
    with Store.open(folder) as store:
        take_in(store, some(painted, "paints", *NAMES, "mixtures-1"))
        done = fit_studio(store, learn=["all"])
        publish(store, force="for the test")
    return folder, done


@pytest.fixture
def tool(studio, tmp_path, monkeypatch, capsys):
    folder = shutil.copytree(studio[0], tmp_path / "studio")
    monkeypatch.chdir(folder)
    return partial(run, monkeypatch, capsys)


def test_the_record_says_what_taught_and_checks_are_of_fits_that_left_them_out(studio):
    folder, done = studio
    assert done.learning.cards == ("mixtures-1",) and done.judges == ()
    assert set(done.judged.patches["step"]) == set(TAUGHT)
    assert len(done.judged.patches) == 2 * len(TAUGHT)
    assert done.transport is not None and len(done.transport.check.patches) == 2 * len(TAUGHT)
    with Store.open(folder) as store, store.snapshot() as session:
        assert taught_before(store) == ["mixtures-1"]
        for fit in session.query(schema.Fit):
            learnt = [item for item in fit.inputs["sessions"] if item.get("learnt")]
            assert len(learnt) == 1
            checks = session.query(schema.Check).filter_by(fit_id=fit.id).all()
            assert {check.patch.split("/")[0] for check in checks} == set(TAUGHT)


def test_a_release_of_it_is_fitted_anew_to_the_same_numbers(studio):
    release = load_release(studio[0] / "releases" / "paints-1.0.0.zip")
    found = refit_release(release)
    assert len(found) == 2 and all(refit.same for refit in found), [r.line for r in found]
    page = report(release)
    assert "The fits learnt from the mixtures of mixtures-1 too." in page
    assert "each predicted by a fit that had not seen it" in page


def test_another_card_judges_and_it_is_said(tool, painted):
    assert tool("read", *map(str, some(painted, "mixtures-2"))).status == 0
    said = tool("fit", "--learn", "mixtures-1")
    assert said.status == 0, said.err
    assert "Learnt from the mixtures of card mixtures-1." in said.out
    assert "Judged by the mixtures of card mixtures-2, which taught nothing." in said.out
    assert "Mixtures that the fit never saw (2 mixes, 4 patches)" in said.out
    with Store.open(".") as store, store.snapshot() as session:
        numbers = set(store.fits.current().values())
        rows = [row for row in session.query(schema.Check) if row.fit_id in numbers]
        assert {row.card.name for row in rows} == {"mixtures-2"}
    both = tool("fit", "--learn", "all", "--json").json
    assert both["learnt_from"] == ["mixtures-1", "mixtures-2"] and both["judged_by"] == []
    again = tool("fit")
    assert "The fit before learnt from the mixtures of card mixtures-1" in again.out
    assert "tintladder fit --learn mixtures-2" in again.out and "Learnt from" not in again.out


def test_left_out_mixtures_judge_where_no_other_card_can(tool):
    said = tool("fit", "--learn", "mixtures-1")
    assert said.status == 0, said.err
    assert "so these judge too: each was predicted by a fit that left it out" in said.out
    assert "Mixtures, each predicted by a fit that never saw it (3 mixes, 6 patches)" in said.out
    assert "Judged by" not in said.out


@pytest.mark.parametrize(
    ("card", "words"),
    [
        ("nobody", "nobody"),
        ("anchor-blue", "it holds a ladder, and every fit learns from that"),
        ("unread", "no instrument has read it, nor a scanner that can teach"),
    ],
)
def test_cards_that_cannot_teach_are_refused(tool, card, words):
    text = card_text(mixtures("unread", {"1": {"ANCHOR": 1.0, "HULL": 2.0}}, "check"))
    Path("unread.toml").write_text(text, encoding="utf-8")
    assert tool("read", "unread.toml").status == 0
    said = tool("fit", "--learn", card)
    assert said.status == 2 and words in said.err and said.err.count("\n") == 1


def lean(tmp_path, painted, card: Card):
    """A studio of the ladders, and of a card of mixtures read like the first."""
    store = Store.open(tmp_path / "lean", create=True)
    take_in(store, some(painted, "paints", *NAMES))
    first = next(file for file in painted if file.name == "mixtures-1.csv")
    wanted = {f"{d.step}/{over}" for d in card.drawdowns for over in d.over}
    wanted |= {"bare/black", "bare/white"}
    text = first.read_text(encoding="utf-8").splitlines()
    head = [line for line in text if line.startswith(("#", "sample"))]
    rows = [line for line in text if line.split(",")[0] in wanted]
    (tmp_path / f"{card.name}.csv").write_text("\n".join([*head, *rows, ""]), encoding="utf-8")
    (tmp_path / f"{card.name}.toml").write_text(card_text(card), encoding="utf-8")
    take_in(store, [tmp_path / f"{card.name}.toml", tmp_path / f"{card.name}.csv"])
    return store


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"masses": {"HULL": 5.0, "DUSK": 5.0}}, "DUSK has no ladder that the fit takes"),
        ({"lots": {"ANCHOR": "Z9"}}, "lot Z9"),
    ],
)
def test_mixtures_of_other_tubes_are_refused(tmp_path, painted, change, words):
    card = mixtures("other", {"mix 1": TAUGHT["mix 1"]}, "check", 300.0)
    card = replace(card, drawdowns=(replace(card.drawdowns[0], **change),))
    with lean(tmp_path, painted, card) as store:
        with pytest.raises(InputError, match=words):
            fit_studio(store, learn=["other"])
        assert not store.fits.current()
        with pytest.raises(InputError, match=f"{words}|no card of mixtures can teach"):
            fit_studio(store, learn=["all"])
