"""Another studio's release: conflicts shown, provenance kept, scale and surface checked."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.care import trace as tracing
from tintladder.database.care.integrity import check_studio
from tintladder.database.releases import adopt as adopting
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import PAINTS_TOML, fill, joint_fit, ladder, session

# What is drawn at random follows from no reading.
adopt = partial(adopting.adopt, unproven=True)


@pytest.fixture(scope="module")
def theirs(tmp_path_factory):
    with Store.open(tmp_path_factory.mktemp("theirs")) as store:
        return publish(fill(store))


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "ours") as opened:
        yield opened


def fitted(store, *paints, **changes):
    """A studio of the same paints, with a fit of its own."""
    store.paints.add_file(PAINTS_TOML)
    fit = joint_fit(paints, 7)
    store.fits.record(replace(fit, coefficients=replace(fit.coefficients, **changes)), [])


def test_an_empty_studio_takes_all_with_its_uncertainty(store, theirs):
    made = adopt(store, theirs.archive, digest=theirs.digest)
    assert made.paints == {"HULL": "HULL", "KEEL": "KEEL"} and made.fit == 1
    ours, published = store.fits.coefficients(), load_release(theirs.folder).coefficients
    for name in ("k", "s", "local", "own", "factors", "dry_volume", "model_error"):
        np.testing.assert_array_equal(getattr(ours, name), getattr(published, name))
    assert ours.factor_names[0] == "fit 1: paints-1.0.0, fit 1: white"
    keel = store.paints.find("KEEL")
    assert (keel.name, keel.pigments) == ("Keel Blue", ["PB29"])
    assert not keel.on_hand, "to know a paint isn't to have its tube"
    assert check_studio(store) == []


def test_provenance_goes_along(store, theirs):
    adopt(store, theirs.archive)
    origin = tracing.of_store(store, "KEEL")
    assert origin.fit["adopted"]["digest"] == theirs.digest
    again = publish(store)
    assert verify_release(again.archive, again.digest) == []
    inputs = load_release(again.folder).tables["fits"]["inputs"][0]
    assert theirs.digest in inputs and session(ladder()).sha256 in inputs


def test_a_fit_of_both_is_a_conflict_until_said(store, theirs):
    fitted(store, "KEEL")
    seen = adopt(store, theirs.archive, preview=True)
    assert [(c.paint, c.same) for c in seen.conflicts] == [("KEEL", True)] and seen.fit is None
    with pytest.raises(InputError, match=r"KEEL: .*has a fit here too; use their fit of KEEL"):
        adopt(store, theirs.archive)
    assert store.fits.current() == {"KEEL": 1}
    assert adopt(store, theirs.archive, take=["KEEL"]).taken == ("KEEL",)
    assert store.fits.current() == {"HULL": 2, "KEEL": 2}
    assert store.fits.joint(1).coefficients.paints == ("KEEL",), "ours stays in the history"


def test_a_nickname_of_another_paint_is_a_conflict_until_renamed(store, theirs):
    other = PAINTS_TOML.replace('name = "Keel Blue"', 'name = "Kelp Blue"')
    store.paints.add_file(other)
    with pytest.raises(InputError, match=r"KEEL: Keel Blue .* nickname of your Kelp Blue"):
        adopt(store, theirs.archive, take=["KEEL"])
    adopt(store, theirs.archive, rename={"KEEL": "KEEL-2"})
    assert store.fits.coefficients().paints == ("HULL", "KEEL-2")
    assert store.paints.find("KEEL-2").name == "Keel Blue"
    assert store.fits.of("KEEL-2").coefficients.paints == ("KEEL-2", "HULL")


def test_two_may_not_come_to_one_nickname(store, theirs):
    with pytest.raises(InputError, match="would have the nickname of HULL"):
        adopt(store, theirs.archive, rename={"KEEL": "hull"})
    with pytest.raises(InputError, match="expected a nickname"):
        adopt(store, theirs.archive, rename={"KEEL": "a keel"})


def test_some_may_be_left(store, theirs):
    adopt(store, theirs.archive, skip=["HULL"])
    assert store.fits.coefficients().paints == ("KEEL",)
    with pytest.raises(InputError, match="nothing is left"):
        adopt(store, theirs.archive, skip=["HULL", "KEEL"])
    with pytest.raises(InputError, match="isn't in the release"):
        adopt(store, theirs.archive, skip=["RUDDER"])


def test_other_scales_and_surfaces_are_refused(store, theirs, tmp_path):
    fitted(store, "KEEL-T", scale="relative to HULL")
    with pytest.raises(InputError, match=r"differ in scale \(relative to HULL; absolute\)") as said:
        adopt(store, theirs.archive)
    assert said.value.do == "adopt it into an empty studio of its own"
    with Store.open(tmp_path / "other") as other:
        surface = replace(joint_fit().coefficients.surface, k2=0.61)
        fitted(other, "KEEL-T", surface=surface)
        with pytest.raises(InputError, match="differ in surface record"):
            adopt(other, theirs.archive)
        assert other.fits.current() == {"KEEL-T": 1}


@pytest.mark.parametrize("lot, fits", [("W1", True), ("W2", False)])
def test_relative_numbers_need_one_lot_of_white(store, tmp_path, lot, fits):
    with Store.open(tmp_path / "theirs") as other:
        other.paints.add_file(PAINTS_TOML.replace('"W1"', f'"{lot}"'))
        fit = joint_fit()
        relative = replace(fit.coefficients, scale="relative to HULL")
        card = ladder()
        of_lot = tuple(replace(d, lots={"HULL": lot}) for d in card.drawdowns)
        other.cards.add(replace(card, drawdowns=of_lot), "text")
        other.readings.add("keel-1", session(ladder()))
        other.fits.record(replace(fit, coefficients=relative), other.readings.all())
        theirs = publish(other)
    fitted(store, "HULL", "KEEL-T", scale="relative to HULL")
    if fits:
        adopt(store, theirs.archive, skip=["HULL"])
        assert store.fits.coefficients().paints == ("HULL", "KEEL", "KEEL-T")
    else:
        with pytest.raises(InputError, match="relative to lot W2 of that white, yours to lot W1"):
            adopt(store, theirs.archive, skip=["HULL"])


def test_an_unsound_release_is_not_adopted(store, theirs, tmp_path):
    short = tmp_path / "short.zip"
    short.write_bytes(theirs.archive.read_bytes()[:4000])
    with pytest.raises(InputError, match="expected the zip"):
        adopt(store, short)
    with pytest.raises(InputError, match="isn't the one that was published"):
        adopt(store, theirs.archive, digest="0" * 64)
    assert store.paints.all() == []


def test_adopt_from_the_command_line(monkeypatch, capsys, tmp_path, theirs):
    tool = partial(run, monkeypatch, capsys)
    at = ("--studio", tmp_path / "ours")
    seen = tool("adopt", theirs.archive, "--preview", *at)
    assert seen.status == 0 and "Would adopt" in seen.out and "Nothing was changed" in seen.out
    done = tool("adopt", theirs.archive, "--rename", "KEEL=KEEL-2", "--unproven", *at)
    assert done.status == 0 and "KEEL-2 (there KEEL)" in done.out
    assert tool("adopt", theirs.archive, *at).status == 2
    assert tool("adopt", theirs.archive, "--rename", "KEEL", *at).status == 2
    said = tool("trace", "KEEL-2", 550, *at)
    assert said.status == 0 and theirs.digest in said.out
