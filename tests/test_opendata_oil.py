"""Measured oil paints (Heritage Science 6 (2018) 17, CC0 1.0): taken in, fitted and judged."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench import oil
from tests.opendata.oil_paints import LEAD, MASSTONE, Film, films


def test_the_set_is_as_its_readme_says():
    by_role = {role: sum(film.role == role for film in films()) for role in ("fit", "shade")}
    assert by_role == {"fit": 40, "shade": 9}
    assert len(films()) == 59
    for film in films():
        assert sum(film.parts.values()) == pytest.approx(100, abs=0.5)
    masstones = [film for film in films() if film.step == MASSTONE]
    # Bone black alone was not read: its ladder in zinc white speaks for it.
    assert len({film.paint for film in masstones}) == 13
    assert {film.paint for film in films() if LEAD in film.parts and len(film.parts) == 1} == {LEAD}


def test_a_studio_takes_it_in_as_it_was_read():
    (read,) = (r for name, r in oil.all_readings("fit").items() if name == "11A")
    film = next(film for film in films() if film.sample == "11A")
    for over in ("black", "white"):
        want = np.array(film.readings[f"film/{over}"], float)
        got = read.read(f"{MASSTONE}/{over}")[0]
        np.testing.assert_allclose(got[~np.isnan(got)], want, atol=1e-9)


@pytest.fixture(scope="module")
def blue() -> oil.Trial:
    """Zinc white, bone black and cobalt blue; its shade is held out."""

    def wanted(film: Film) -> bool:
        return set(film.parts) <= {"ZINC", "BONE", "COBALT"}

    return oil.tried(lambda film: film.role == "fit", [film for film in films() if wanted(film)])


def test_a_few_paints_are_fitted_and_judged(blue: oil.Trial):
    assert [r.card.name for r in blue.aside] == ["12D"]
    for used in blue.fitted.used.values():
        check = oil.check_mixtures(used, blue.aside)
        assert check.patches["de00"].between(0, 15).all()
        off, sd = oil.offsets(check)
        assert np.isfinite(off).all()
        assert (sd > 0).all()
        assert (oil.freed(used, blue.aside) <= check.worst + 0.1).all()


def test_what_is_said_of_its_steps_is_counted(blue: oil.Trial):
    for fit in blue.fitted.fits.values():
        assert 0 <= oil.masstones_aside(fit) <= oil.accused_steps(fit) <= 10
        assert (oil.left_out(fit) >= 0).all()


def test_fifths_hold_every_mix_once_and_no_ladder_whole():
    mixes = [film for film in films() if film.step != MASSTONE]
    folds = {film.sample: oil.fold(film, mixes) for film in mixes}
    assert set(folds.values()) == set(range(oil.FOLDS))
    for paint in {film.paint for film in mixes}:
        own = [folds[film.sample] for film in mixes if film.paint == paint]
        assert len(set(own)) == min(len(own), oil.FOLDS)
