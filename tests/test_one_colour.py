"""One tube has one colour, wherever it is shown, and each place says how it is looked at."""

from __future__ import annotations

import re
import shutil

import numpy as np
import pymupdf
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.database.easel.additions import AdditionRequest, addition_question
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.easel.habits import habits, remember
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.easel.reach import ReachRequest, reach_question
from tintladder.database.easel.setting_out import SetOutRequest, setout_question, wanted_each
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.target import of_lab
from tintladder.database.mixing.viewing import AS_SEEN, Viewing, of_reading
from tintladder.database.paper.for_colours import handout
from tintladder.database.paper.labels import tube_labels
from tintladder.database.paper.of_studio import mixing_chart
from tintladder.database.pictures.swatch import films
from tintladder.database.store.store import Store

TUBES = ("PITCH", "DUSK", "RESIN", "HULL")
SAME = 0.3
"""CIEDE2000 that a colour may change from one command to another; printed squares: to 8 bits."""


@pytest.fixture
def store(demo, tmp_path):
    shutil.copytree(demo.folder, tmp_path / "demo")
    with Store.open(tmp_path / "demo") as opened:
        yield opened


def predicted(store, tube):
    return predicted_mix(store, MixRequest(f"{tube}=1")).looks[0].lab()


@pytest.mark.parametrize("finish", [None, "matt"])
def test_a_tube_is_one_colour_on_every_face(store, finish):
    if finish:
        remember(store, finish=finish)
    seen = Viewing(finish or "gloss")
    assert habits(store).seen == seen
    labels = {label.nickname: label for label in tube_labels(store, TUBES)}
    read = store.fits.coefficients(TUBES)
    for tube in TUBES:
        there = predicted(store, tube)
        target = parse_target(tube, store)
        assert target.viewing == seen
        shown = lab(films(read, [{tube: 1.0}], viewing=seen), read.wavelengths)[0]
        for face in (target.lab, labels[tube].masstone, shown):
            assert ciede2000(face, there) < SAME
        assert f"shown {seen.words}" in labels[tube].sayings
        # Typed back as it was printed, the tube alone is nothing off.
        typed = of_lab(*(round(float(x), 1) for x in there))
        plate = AdditionRequest(habits(store).meant(typed), ({tube: 5.0},))
        assert addition_question(store, plate).answer().found.off < SAME


def test_paper_and_handout_say_the_finish_and_show_it(store):
    remember(store, finish="satin")
    with pymupdf.open(stream=mixing_chart(store, ["PITCH", "DUSK"]), filetype="pdf") as document:
        text = document[0].get_text()
    assert "as the eye sees it in a satin finish" in " ".join(text.split())
    asked = SetOutRequest(wanted_each([parse_target("PITCH 6:1", store)]))
    assert setout_question(store, asked).basis.manner.viewing == Viewing("satin")
    _, page = handout(store, asked)
    assert "matched and shown as the eye sees it in a satin finish" in page
    chip = re.search(r'background:(#[0-9a-f]{6})"></span> <span><b>Pitch Black', page)
    assert chip
    rgb = np.array([int(chip[1][i : i + 2], 16) for i in (1, 3, 5)])
    assert ciede2000(parse_target(chip[1], store).lab, predicted(store, "PITCH")) < 0.6, rgb


def test_what_is_not_varnished_keeps_its_haze(store, monkeypatch):
    """A studio whose cards dried matt sees them so, unless somebody names a varnish."""
    glossy = predicted(store, "PITCH")
    assert store.cards.surface() == "gloss" and habits(store).seen == AS_SEEN
    monkeypatch.setattr(store.cards, "surface", lambda: "matt")
    assert habits(store).seen == Viewing("matt") == parse_target("#101010", store).viewing
    # Matt sends the surface's 4 % all about (Fresnel, n = 1.5), which lifts a black.
    assert predicted(store, "PITCH")[0] > glossy[0] + 10
    remember(store, finish="gloss")
    assert ciede2000(predicted(store, "PITCH"), glossy) < 1e-6


def test_as_read_is_asked_for(store):
    read = predicted_mix(store, MixRequest("PITCH=1", as_read=True))
    own = store.fits.coefficients(["PITCH"])
    assert read.basis.manner.viewing == of_reading(own.surface)
    assert read.looks[0].lab() == pytest.approx(Palette(own).lab(np.eye(1))[0], abs=0.01)
    with pytest.raises(InputError, match="not as it is read"):
        predicted_mix(store, MixRequest("PITCH=1", finish="gloss", as_read=True))


def test_what_tubes_reach_is_what_the_eye_sees_of_them(store):
    asked = reach_question(store, ReachRequest())
    assert asked.basis.manner.viewing == AS_SEEN
