"""Two models of the same paints, weighted together: one prediction, one band."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.predict import predict
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.film import Film, FilmPalette
from tintladder.database.mixing.medium import MEDIUM, with_medium
from tintladder.database.mixing.model_choice import LEAST_SHARE, Trial, shares_of, trial_of, words
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.viewing import AS_SEEN

from .invented_palette import by_transport, invented_coefficients

SHARE = 0.7


def weighted(count: int = 5, apart: float = 1.2) -> Coefficients:
    """Transport of some invented paints, and beside it two fluxes that absorb more."""
    c = invented_coefficients(count)
    rng = np.random.default_rng(1)
    c = replace(
        c,
        own=np.stack([c.k, c.s], axis=1)[:, None] * rng.normal(0, 0.02, (count, 2, 2, 1)),
        model_error=np.full(GRID.size, 0.003),
        part_error=np.full(count, 0.05),
        surface_error=np.full(count, 0.002),
    )
    beside = replace(c, k=c.k * apart)
    return replace(by_transport(c), share=SHARE, beside=beside)


def mixes(count: int = 5) -> np.ndarray:
    return np.random.default_rng(2).dirichlet(np.ones(count), 6)


def test_a_prediction_is_the_mean_and_unsure_of_what_parts_the_models():
    """The law of total variance, by drawing models and readings."""
    c, shares = weighted(), mixes()
    both = predict(c, shares)
    (_, first), (_, second) = c.by_model
    one, other = predict(first, shares), predict(second, shares)
    np.testing.assert_allclose(
        both.reflectance, SHARE * one.reflectance + (1 - SHARE) * other.reflectance, rtol=1e-12
    )
    rng, n = np.random.default_rng(4), 40_000
    which = rng.random(n) < SHARE
    drawn = np.where(
        which,
        one.reflectance[0, 20] + one.uncertainty[0, 20] * rng.standard_normal(n),
        other.reflectance[0, 20] + other.uncertainty[0, 20] * rng.standard_normal(n),
    )
    assert both.uncertainty[0, 20] == pytest.approx(drawn.std(), rel=0.02)
    assert (both.band() > SHARE * one.band()).all()


def test_two_alike_are_as_sure_as_one():
    c, shares = weighted(apart=1.0), mixes()
    one = predict(c.by_model[1][1], shares)
    alike = replace(c.by_model[1][1], share=SHARE, beside=c.by_model[1][1])
    np.testing.assert_allclose(predict(alike, shares).uncertainty, one.uncertainty)


def test_a_search_calculates_with_both_and_their_slopes():
    palette, shares = Palette(weighted()), mixes()
    said = predict(palette.coefficients, shares).reflectance
    np.testing.assert_allclose(palette.reflectance(shares), said, atol=1e-12)
    # By transport the search has a polynomial for the table.
    np.testing.assert_allclose(palette.lab(shares), lab(said), atol=3e-3)
    optics, counted = palette.optics[np.float64], shares * palette.strength
    x, slopes = optics.xyz_and_slopes(counted)
    np.testing.assert_allclose(x, optics.xyz(counted))
    for p in range(5):
        step = np.zeros(5)
        step[p] = 1e-6 * palette.strength[p]
        numeric = (optics.xyz(counted + step) - optics.xyz(counted - step)) / (2 * step[p])
        np.testing.assert_allclose(slopes[:, :, p], numeric, rtol=1e-5, atol=1e-9)


def test_films_and_other_viewing_conditions_are_of_both():
    c, shares = AS_SEEN.of(weighted()), mixes()
    assert [each.surface for _, each in c.by_model] == [c.surface, c.surface]
    film = FilmPalette.of(c, Film(40.0, "black"))
    parts = [FilmPalette.of(each, Film(40.0, "black")) for _, each in c.by_model]
    mean = SHARE * parts[0].reflectance(shares) + (1 - SHARE) * parts[1].reflectance(shares)
    np.testing.assert_allclose(film.reflectance(shares), mean, rtol=1e-12)


def test_paints_are_chosen_joined_and_thinned_in_both():
    c = with_medium(weighted())
    assert c.paints[-1] == MEDIUM and c.beside.paints == c.paints
    few = c.select([c.paints[1], MEDIUM])
    assert few.beside.paints == few.paints and few.share == SHARE
    with pytest.raises(InputError, match="second model"):
        Coefficients.concat([c.select([c.paints[0]]), by_transport(invented_coefficients(2))])


def test_what_is_clearly_nearer_counts_alone():
    paints = {f"P{i}" for i in range(8)}
    off = {"two-flux": dict.fromkeys(paints, 1.0), "transport": dict.fromkeys(paints, 0.2)}
    assert trial_of({}, off).shares == {"transport": 1.0}
    swapped = {"two-flux": off["transport"], "transport": off["two-flux"]}
    assert trial_of({}, swapped).shares == {"two-flux": 1.0}
    assert trial_of(swapped, off).shares == {"two-flux": 1.0}, "mixtures go before steps"


def test_where_neither_is_both_count():
    rng = np.random.default_rng(5)
    off = {m: {(f"card {i}", f"mix {i}/white"): x for i, x in enumerate(rng.uniform(1, 3, 10))}
           for m in ("two-flux", "transport")}  # fmt: skip
    found = trial_of(off, {})
    assert sum(found.shares.values()) == pytest.approx(1) and len(found.shares) == 2
    assert next(iter(found.shares)) == found.nearer and min(found.shares.values()) >= LEAST_SHARE
    # Black and white of a mixture are one look: read twice, nothing more is known.
    twice = {m: of | {(card, at.replace("white", "black")): x for (card, at), x in of.items()}
             for m, of in off.items()}  # fmt: skip
    assert trial_of(twice, {}).shares == pytest.approx(found.shares)
    said = words("transport", ["A"], {"A": 1}, found, share=0.58)
    assert "both models" in said and "58%" in said and "check mixtures" in said
    assert shares_of(["A", "SCANNED"], {"A": 1}, found) == {"two-flux": 1.0}
    assert Trial({}).shares == {"transport": 1.0}
