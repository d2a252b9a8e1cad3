"""A glaze over any ground: a tube, a mix, a reading, and a colour that nobody read."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.surface import to_inside
from tintladder.database.easel.ground import ground_of, unsure
from tintladder.database.mixing.film import Film, FilmPalette, Ground
from tintladder.database.mixing.medium import with_medium
from tintladder.database.mixing.recipes import recipes
from tintladder.database.mixing.target import of_lab, of_spectrum
from tintladder.database.store.store import Store

from tests.command import run
from tests.invented_palette import invented_coefficients

C = with_medium(invented_coefficients(8))


def ground_from(mix):
    """Inside reflectance of a mix that hides."""
    seen = predict(C, dry_fractions(C, [mix])).reflectance[0]
    return Ground("a mix", tuple(to_inside(seen, C.surface).tolist()))


@pytest.mark.parametrize("mix", [{"ROPE": 1.0}, {"ANCHOR": 0.1, "HULL": 0.9}, {"PITCH": 1.0}])
def test_a_glaze_over_a_mix_comes_back(mix):
    """Against the film model, which other tests hold against tables."""
    ground, glaze = ground_from(mix), {"BUOY" if "BUOY" in C.paints else "LANTERN": 1, "MEDIUM": 6}
    dry = dry_fractions(C, [glaze])
    film = Film.on(15.0, ground, coats=2)
    assert film.whole_um == 30 and film.words.startswith("2 coats, each a dry film of 15")
    seen = predict(C, dry, np.array([0.03]), np.array(ground.inside)[None]).reflectance[0]
    np.testing.assert_allclose(FilmPalette.of(C, film).reflectance(dry)[0], seen, atol=1e-9)
    first = recipes(C, of_spectrum("a glaze", seen), most=3, film=film).recipes[0]
    assert first.difference < 0.5


def test_a_film_over_nothing_hides_like_the_ground_itself():
    ground = ground_from({"ROPE": 1.0})
    clear = dry_fractions(C, [{"MEDIUM": 1.0}])
    seen = FilmPalette.of(C, Film.on(1.0, ground)).reflectance(clear)[0]
    bare = predict(C, dry_fractions(C, [{"ROPE": 1.0}])).reflectance[0]
    np.testing.assert_allclose(seen, bare, atol=2e-3)


def test_where_a_ground_was_not_read_nothing_is_said():
    ground = ground_from({"ROPE": 1.0})
    short = Ground("short", (np.nan, np.nan, *ground.inside[2:]))
    palette = FilmPalette.of(C, Film.on(20.0, short))
    made = palette.reflectance(dry_fractions(C, [{"ROPE": 1, "MEDIUM": 3}]))[0]
    assert np.isnan(made[:2]).all() and np.isfinite(made[2:]).all()


def test_a_film_is_kept_with_its_ground():
    film = Film.on(20.0, ground_from({"ROPE": 1.0}), 2)
    again = Film.of_kept(film.said)
    assert again.coats == 2 and again.over == "a mix"
    np.testing.assert_allclose(again.inside, film.inside, atol=1e-6)
    assert Film.of_kept(Film(20.0, "black").said) == Film(20.0, "black")


@pytest.fixture
def said(own_demo, monkeypatch, capsys):
    def ask(*typed):
        out = run(monkeypatch, capsys, *typed, "--studio", own_demo)
        assert out.status == 0, out.err
        return out

    return ask


def test_the_answer_is_what_predict_says_of_it(said):
    for ground in ("ROPE", "ANCHOR=1,HULL=9"):
        asked = ("recipe", "50,15,25", "--over", ground, "--thickness", "30", "--finish", "gloss")
        answer = said(*asked, "--json").json
        first, film = answer["recipes"][0], answer["film"]
        mix = ",".join(f"{p}={s:.6f}" for p, s in first["parts"].items())
        whole = str(film["thickness_um"] * film["coats"])
        looks = said(
            "predict", mix, "--thickness", whole, "--over", ground, "--finish", "gloss", "--json"
        ).json["looks"]
        there = next(x for x in looks if x["over"] not in ("opaque", "black", "white"))
        assert ciede2000(np.array(there["lab"]["D50/2°"]), np.array(first["lab"])) < 0.05


def test_without_a_thickness_a_brushed_coat_is_taken(said):
    assert said("recipe", "45,20,30", "--over", "ROPE", "--json").json["film"]["thickness_um"] == 30


def test_a_glaze_is_kept_and_comes_back(said):
    first = said("recipe", "45,20,30", "--over", "ROPE", "--keep", "glow", "--json").json
    again = said("recipe", "glow", "--json").json
    assert again["film"] == first["film"]
    assert again["recipes"][0]["lab"] == pytest.approx(first["recipes"][0]["lab"], abs=0.01)


def test_more_coats_where_one_is_not_enough(said):
    """White over black: one thin coat stays dark."""
    answer = said("recipe", "85,0,2", "--over", "PITCH", "--thickness", "10", "--json").json
    assert answer["film"]["coats"] > 1
    assert (
        "coats, each a dry film of 10 µm, over Pitch Black"
        in said("recipe", "85,0,2", "--over", "PITCH", "--thickness", "10").out
    )


def test_a_ground_known_by_its_colour_alone_widens_the_band(own_demo):
    with Store.open(own_demo) as store:
        below = ground_of(store, of_lab(45.0, -20.0, -5.0))
        assert len(below.others) >= 1
        wider = FilmPalette.of(with_medium(C), Film.on(20.0, below))
        dry = dry_fractions(C, [{"ROPE": 1.0, "MEDIUM": 9.0}])[0]
        assert unsure(wider, wider.lab(dry[None])[0], dry) > 0


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("recipe", "50,0,0", "--over", "nothing-such"), "nothing-such"),
        (("predict", "ROPE=1", "--over", "ANCHOR"), "lies below a film only"),
    ],
)
def test_a_slip_is_one_line(typed, line, own_demo, monkeypatch, capsys):
    said = run(monkeypatch, capsys, *typed, "--studio", own_demo)
    assert said.status == 2 and said.err.count("\n") == 1 and line in said.err
