"""What a program imports from tintladder.calibrate, and what it is refused in one sentence."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tintladder.calibrate as door
from tintladder.calibrate import (
    CardReadings,
    FitSettings,
    InputError,
    Spectra,
    Surface,
    film_reflectance,
    fit_ladder,
    lab,
    opaque_reflectance,
    predict_mixes,
    to_grid,
    to_inside,
    to_measured,
)

HOUSE = Path(__file__).parent.parent
WAVELENGTHS = np.arange(400.0, 701.0, 10.0)
SPHERE = Surface.of("di:8")
GRAMS = {"RUST": [1, 1, 1, 0], "WHITE": [0, 2, 8, 1]}
SHARE = np.array([[1, 0], [1 / 3, 2 / 3], [1 / 9, 8 / 9], [0, 1]])
# Invented: K falls with wavelength, S hardly.
K = np.stack([12 * np.exp(-(WAVELENGTHS - 400) / 120), np.full(31, 0.05)])
S = np.stack([np.linspace(4, 3, 31), np.linspace(90, 80, 31)])
BARE = np.stack([np.full(31, 0.05), np.full(31, 0.86)])


def opaque():
    return to_measured(opaque_reflectance(SHARE @ K, SHARE @ S), SPHERE)


def over_black_and_white(thickness):
    ground = to_inside(BARE, SPHERE)
    films = film_reflectance((SHARE @ K)[:, None], (SHARE @ S)[:, None], thickness, ground)
    return to_measured(films, SPHERE)


def test_names_are_loaded_when_used():
    code = (
        "import sys, tintladder.calibrate as door; assert 'numpy' not in sys.modules; "
        "door.lab; assert 'pandas' not in sys.modules; assert 'scipy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_every_name_is_there_and_listed():
    assert 25 <= len(door.__all__) <= 35
    assert set(door.__all__) <= set(dir(door))
    for name in door.__all__:
        assert getattr(door, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = door.nothing
    found = {}
    exec("from tintladder.calibrate import *", found)
    assert set(door.__all__) <= set(found)


def test_a_type_checker_sees_the_same_names():
    # PEP 561 and PEP 484: a stub exports what it imports under the same name.
    assert (HOUSE / "calibrate/py.typed").exists()
    stub = ast.parse((HOUSE / "calibrate/__init__.pyi").read_text(encoding="utf-8"))
    said = [alias for node in stub.body for alias in node.names]
    assert all(alias.asname == alias.name for alias in said)
    assert sorted(alias.name for alias in said) == door.__all__


@pytest.mark.parametrize("name", sorted(set(door.__all__) - {"GRID"}))
def test_what_the_door_exports_explains_itself(name):
    exported = getattr(door, name)
    said = inspect.getdoc(exported)
    if inspect.isfunction(exported):
        assert "Parameters\n---" in said and "Returns\n---" in said
    assert "Examples\n---" in said


def test_sixty_examples_are_run():
    finder, found = doctest.DocTestFinder(exclude_empty=True), 0
    for path in (HOUSE / "calibrate").rglob("*.py"):
        if ">>> " in path.read_text(encoding="utf-8"):
            parts = path.relative_to(HOUSE).with_suffix("").parts
            module = importlib.import_module(".".join(["tintladder", *parts]))
            found += sum(bool(case.examples) for case in finder.find(module))
    assert found >= 60


def test_an_opaque_ladder_gives_k_and_s_relative_to_its_white():
    found = fit_ladder(GRAMS, opaque(), WAVELENGTHS, SPHERE, white="WHITE").coefficients
    seen = np.isin(found.wavelengths, WAVELENGTHS)
    assert found.scale == "relative to WHITE"
    # Duncan's mixing and Kubelka and Munk's reflectance made the readings: both are exact here, and
    # what is left is the prior on smooth K and S, most at the ends (0.6 % at 700 nm).
    np.testing.assert_allclose(found.k[:, seen], K / S[1], rtol=1e-2)
    np.testing.assert_allclose(found.s[:, seen], S / S[1], rtol=1e-2)
    assert np.isnan(found.k[:, ~seen]).all()
    assert found.covariance.shape == (2, 2, 2, 36)


def test_films_of_known_thickness_give_k_and_s_in_1_mm():
    thick = np.array([30.0, 30.0, 25.0, np.inf])
    read = over_black_and_white(1e-3 * np.where(np.isinf(thick), 1e6, thick)[:, None, None])
    fit = fit_ladder(GRAMS, read, WAVELENGTHS, SPHERE, white="WHITE", thickness_um=thick, bare=BARE)
    found, seen = fit.coefficients, np.isin(fit.coefficients.wavelengths, WAVELENGTHS)
    assert found.scale == "absolute"
    np.testing.assert_allclose(found.k[0, seen], K[0], rtol=0.02)
    np.testing.assert_allclose(found.s[1, seen], S[1], rtol=0.02)
    ground = to_grid(Spectra.from_values(WAVELENGTHS, BARE, ["black", "white"])).values
    mixes = [{"RUST": 1, "WHITE": 2}, {"RUST": 1, "WHITE": 8}]
    made = predict_mixes(found, mixes, [30, 25], ground[1])
    # The readings that it was fitted to.
    np.testing.assert_allclose(made.reflectance[:, seen], read[1:3, 1], atol=2e-3)
    assert (made.band() > 0).all()


def test_a_geometry_is_enough_of_a_surface():
    one, other = (
        fit_ladder(GRAMS, opaque(), WAVELENGTHS, said, white="WHITE").coefficients
        for said in ("di:8", SPHERE)
    )
    np.testing.assert_array_equal(one.k, other.k)


READ = opaque()
REFUSED = {
    "percent": (lambda: fit(reflectance=100 * READ), "is in percent"),
    "steps": (lambda: fit(reflectance=READ[:3]), r"4 steps and 31 wavelengths"),
    "wavelengths": (lambda: fit(wavelengths=WAVELENGTHS[:-1]), r"not \(4, 31\)"),
    "falling": (lambda: fit(wavelengths=WAVELENGTHS[::-1]), "must increase"),
    "geometry": (lambda: fit(surface="45/0"), "di:8, 8:di, 45:0"),
    "no white": (lambda: fit(white=None), "name it in white"),
    "strange white": (lambda: fit(white="CHALK"), "CHALK isn't among the paints RUST, WHITE"),
    "ragged": (lambda: fit(masses=GRAMS | {"RUST": [1, 2]}), "one for each step"),
    "negative": (lambda: fit(masses=GRAMS | {"RUST": [1, 1, 1, -1]}), "none negative"),
    "no thickness": (lambda: fit(reflectance=np.stack([READ, READ], 1)), "thickness_um and bare"),
    "no film": (lambda: fit(thickness_um=30.0), "thickness_um and bare"),
    "bare": (
        lambda: fit(reflectance=np.stack([READ, READ], 1), thickness_um=30, bare=BARE[0]),
        r"\(2, 31\), not \(31,\)",
    ),
    "flat": (
        lambda: fit(reflectance=np.stack([READ, READ], 1), thickness_um=0, bare=BARE),
        "above zero",
    ),
    "model": (lambda: FitSettings(model="turbid"), "two-flux or transport"),
    "no grid": (lambda: lab(READ), "give the wavelengths"),
    "readings": (
        lambda: CardReadings(None, Spectra.from_values(WAVELENGTHS, READ, "abcd"), SPHERE, ""),
        "to_grid",
    ),
    "paint": (lambda: predict_mixes(FOUND, {"CHALK": 1}), "no K and S of CHALK"),
    "nothing": (lambda: predict_mixes(FOUND, {}), "some above zero"),
    "relative": (lambda: predict_mixes(FOUND, {"RUST": 1}, 30, BARE[1]), "relative to WHITE"),
    "substrate": (lambda: predict_mixes(FILMS, {"RUST": 1}, 30), "its substrate"),
    "other grid": (lambda: predict_mixes(FILMS, {"RUST": 1}, 30, BARE[1]), "31 values"),
    "bare percent": (lambda: predict_mixes(FILMS, {"RUST": 1}, 30, 86.0), "in percent"),
    "bare dark": (lambda: predict_mixes(FILMS, {"RUST": 1}, 30, 0.01), "darker"),
}


def fit(**other):
    given = {"masses": GRAMS, "reflectance": READ, "wavelengths": WAVELENGTHS, "surface": SPHERE}
    return fit_ladder(**given | {"white": "WHITE"} | other)


FOUND = fit().coefficients
FILMS = replace(FOUND, scale="absolute")


@pytest.mark.parametrize("what", REFUSED)
def test_what_does_not_fit_is_refused_in_one_sentence(what):
    call, says = REFUSED[what]
    with pytest.raises(ValueError, match=says) as refused:
        call()
    assert "\n" not in str(refused.value) and "broadcast" not in str(refused.value)


def test_readings_that_tell_nothing_are_refused_in_one_line():
    with pytest.raises(InputError, match="no ladder"):
        fit(masses={"RUST": [1], "WHITE": [0]}, reflectance=READ[:1])
