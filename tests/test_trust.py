"""Who signed a release, whether it follows from its readings, and what can't be checked."""

from __future__ import annotations

import shutil
import subprocess
from functools import partial

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.cards.intake import take_in
from tintladder.database.common import made_with as making
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.releases import refit
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.publish import publish
from tintladder.database.releases.trust import judge
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store
from tintladder.database.store.studio import SIGNING_KEY

from .archive import CARD
from .command import run
from .forgeries import BY_WORD, FORGER, KINDS, Forged, seal


@pytest.fixture(scope="module")
def maker(tmp_path_factory):
    """A studio that published twice."""
    folder = tmp_path_factory.mktemp("maker")
    with Store.open(folder) as store:
        take_in(store, CARD)
        fit_studio(store)
        first = publish(store, force="two cards alone")
        fit_studio(store)
        second = publish(store, force="two cards alone")
    return folder, first, second


@pytest.fixture
def store(tmp_path, maker):
    """A studio that adopted the maker's first release."""
    with Store.open(tmp_path / "ours") as opened:
        adopt(opened, maker[1].archive)
        yield opened


@pytest.fixture
def copy(tmp_path, maker):
    shutil.copytree(maker[2].folder, tmp_path / maker[2].name)
    return Forged(tmp_path / maker[2].name)


def said(trust):
    return " ".join(trust.lines)


def test_three_verdicts_of_three_kinds(maker, store, tmp_path):
    folder, first, second = maker
    with Store.open(folder) as theirs:
        assert judge(first.archive, None, theirs.keys, True).signature.signer == "own"
    with Store.open(tmp_path / "stranger") as stranger:
        new = judge(second.archive, None, stranger.keys)
    known = judge(second.archive, None, store.keys)
    assert (new.signature.signer, known.signature.signer) == ("new", "known")
    for trust in (new, known):
        assert not trust.doubts and [fit.outcome for fit in trust.refits] == ["follows"] * 2
        assert [line.split(":")[0] for line in trust.lines] == [
            "Signed", *["Follows from its readings"] * 2, "Can't be checked",
        ]  # fmt: skip
        assert "sound" not in said(trust)
    assert "unproven" in said(new) and "isn't known here" in said(new)
    assert "unproven" not in said(known) and "that you know since" in said(known)
    assert "not fitted anew" in said(judge(second.archive, None, store.keys, quick=True))


def test_it_follows_from_its_own_readings_but_nobody_stands_for_them(store, tmp_path):
    """Invented readings, fitted as they should be, under a key of their own."""
    with Store.open(tmp_path / "inventor") as other:
        card = [tmp_path / path.name for path in CARD]
        for path, mine in zip(CARD, card, strict=True):
            mine.write_text(path.read_text().replace('"PB29"', '"PB28"'))
        take_in(other, card)
        fit_studio(other)
        made = publish(other, force="invented")
    trust = judge(made.archive, None, store.keys)
    assert trust.signature.signer == "new" and trust.fits("follows") and not trust.doubts
    assert "unproven" in said(trust) and "sound" not in said(trust)


@pytest.mark.parametrize("kind", KINDS)
def test_a_forgery_hashed_and_signed_anew_is_told_by_the_key(copy, store, kind):
    KINDS[kind](copy, np.random.default_rng(1))
    seal(copy.folder)
    trust = judge(copy.folder, None, store.keys, quick=True)
    if not trust.problems:
        assert trust.signature.signer == "other" and "unproven" in said(trust)
    with pytest.raises(InputError):
        adopt(store, copy.folder, trust=trust, rename={"HULL": "HULL-2", "ANCHOR": "ANCHOR-2"})


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in BY_WORD])
def test_what_its_readings_do_not_give_is_told_without_any_key(copy, tmp_path, kind):
    KINDS[kind](copy, np.random.default_rng(2))
    copy.describe(studio="0123456789abcdef")
    seal(copy.folder)
    with Store.open(tmp_path / "stranger") as stranger:
        with pytest.raises(InputError, match=r"other numbers|unproven|doesn't follow|datapackage"):
            adopt(stranger, copy.folder)
        assert stranger.paints.all() == []


def test_without_a_signature_a_known_studio_is_missed(copy, store):
    seal(copy.folder, None)
    trust = judge(copy.folder, None, store.keys, quick=True)
    assert trust.signature.signer == "missing"
    with pytest.raises(InputError, match="not signed, though its studio signed"):
        adopt(store, copy.folder, trust=trust, take=["HULL", "ANCHOR"])
    made = adopt(store, copy.folder, trust=trust, take=["HULL", "ANCHOR"], unproven=True)
    assert made.fit is not None and "unproven" in " ".join(made.verdicts)


def test_a_signature_that_does_not_hold_is_damage(copy):
    (copy.folder / "SHA256SUMS.sig").write_bytes(FORGER.sign(b"something else"))
    assert verify_release(copy.folder) == ["SHA256SUMS.sig: it doesn't sign this SHA256SUMS"]
    (copy.folder / "SHA256SUMS.sig").unlink()
    assert verify_release(copy.folder) == ["SHA256SUMS.sig: SHA256SUMS.sig is missing"]


@pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl on this machine")
def test_another_program_checks_the_signature(maker):
    """By openssl, as the README of a release says."""
    words = "pkeyutl -verify -pubin -inkey PUBLIC-KEY.pem -rawin -in SHA256SUMS -sigfile"
    command = ["openssl", *words.split(), "SHA256SUMS.sig"]
    done = subprocess.run(command, cwd=maker[1].folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_lost_key_loses_no_release(maker, tmp_path):
    folder, first, _ = maker
    shutil.copytree(folder, tmp_path / "again")
    key = tmp_path / "again" / SIGNING_KEY
    assert key.stat().st_mode & 0o777 == 0o600
    key.unlink()
    with Store.open(tmp_path / "again") as store:
        fit_studio(store)
        made = publish(store, force="with a new key")
        assert judge(first.archive, None, store.keys, True).signature.signer == "own"
        assert judge(made.archive, None, store.keys, True).signature.signer == "own"
    with Store.open(tmp_path / "friend") as friend:
        adopt(friend, first.archive)
        assert judge(made.archive, None, friend.keys, True).signature.signer == "other"
    key.write_text("no key")
    with Store.open(tmp_path / "again") as store:
        fit_studio(store)
        with pytest.raises(InputError, match="expected the key that this studio signs with"):
            publish(store, force="with a broken key")


def test_tolerance_follows_from_what_a_fit_was_made_with(maker, monkeypatch):
    (fit, _) = judge(maker[1].archive).refits
    assert (fit.tolerance, fit.by_another) == (refit.CLOSE, False)
    mine = dict(making.made_with())
    for changed, tolerance in (("scipy", refit.NEAR), ("code", refit.AKIN)):
        other = {**mine, changed: "another"}
        assert refit.replace(fit, made_with=other).tolerance == tolerance
    assert refit.replace(fit, made_with=None).tolerance == refit.AKIN


def test_verify_and_adopt_say_so_on_the_command_line(monkeypatch, capsys, maker, copy, tmp_path):
    tool, at = partial(run, monkeypatch, capsys), ("--studio", tmp_path / "mine")
    assert "unproven" in tool("adopt", maker[1].archive, *at).out
    good = tool("verify", maker[2].archive, *at)
    assert good.status == 0 and "that you know since" in good.out and "Follows" in good.out
    KINDS["pigments"](copy, np.random.default_rng(1))
    seal(copy.folder)
    bad = tool("verify", copy.folder, *at)
    assert bad.status == 2 and "another key" in bad.err and "Follows" in bad.out
    refused = tool("adopt", copy.folder, "--take", "HULL", "--take", "ANCHOR", *at)
    assert refused.status == 2 and "--unproven" in refused.err
