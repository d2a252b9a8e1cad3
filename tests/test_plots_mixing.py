"""Pictures of what tubes can make, and of the ways to a colour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.text import Text
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.display import lab_to_srgb
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.easel.made_words import parts_words
from tintladder.database.mixing.gamut import gamut, outline
from tintladder.database.mixing.made import as_made
from tintladder.database.mixing.measures import WEIGHED_PARTS, Tint
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.recipes import recipes
from tintladder.database.mixing.target import of_lab, of_spectrum
from tintladder.database.pictures.reach import plot_reach, reach_figure
from tintladder.database.pictures.style import new_figure, save
from tintladder.database.pictures.swatch import films
from tintladder.database.pictures.ways import plot_ways

from .invented_palette import invented_coefficients


@pytest.fixture(scope="module")
def palette():
    return Palette(invented_coefficients(6))


def drawn(ax, gid):
    return ax.findobj(lambda artist: artist.get_gid() == gid)


def words(ax):
    return " ".join(text.get_text() for text in ax.findobj(Text))


def test_every_mix_lies_within_the_outline_or_is_a_tube_of_its_own(palette):
    found = gamut(palette)
    ax = plot_reach(found, palette.paints)
    places = drawn(ax, "mixes")[0].get_offsets()
    hue = np.degrees(np.arctan2(places[:, 1], places[:, 0])) % 360
    at = (hue // (360 / len(found.hues))).astype(int)
    inside = np.abs(found.colours[:, 0] - 60) <= 40
    assert inside.any()
    assert (np.hypot(*places.T) <= found.chroma.max(axis=0)[at] + 1e-9).mean() > 0.99
    tubes = drawn(ax, "tubes")[0].get_offsets()
    np.testing.assert_allclose(tubes, palette.lab(np.eye(len(palette.paints)))[:, 1:], atol=1e-9)
    assert any(paint in words(ax) for paint in palette.paints)


@pytest.mark.parametrize("count", [3, 6])
def test_the_outline_is_one_line_that_closes(palette, count):
    """Edges meet at every corner, and from one all others are reached: there are no islands."""
    some = Palette(palette.coefficients.select(palette.paints[:count]))
    edges = outline(gamut(some)).reshape(-1, 3, 2)[:, :2]
    assert np.isfinite(edges).all()
    _, corner, times = np.unique(
        edges.reshape(-1, 2), axis=0, return_inverse=True, return_counts=True
    )
    assert (times % 2 == 0).all()
    one, other = corner.reshape(-1, 2).T
    links = coo_array((np.ones(len(one)), (one, other)), shape=(len(times),) * 2)
    assert connected_components(links, directed=False)[0] == 1


def test_a_target_far_out_is_on_the_picture(palette):
    far = np.array([50.0, 120.0, 90.0])
    figure = reach_figure(gamut(palette), palette.paints, far)
    for ax in figure.axes:
        assert ax.get_xlim()[1] >= 120 and ax.get_ylim()[1] >= 90
    assert len(figure.axes) == 5


def test_one_tube_alone_has_a_picture_too(palette, tmp_path):
    alone = Palette(palette.coefficients.select(palette.paints[:1]))
    assert save(reach_figure(gamut(alone), alone.paints), tmp_path / "one.png").stat().st_size


def test_ways_show_the_colours_that_they_say(palette):
    target = of_lab(60, 10, 20)
    answer = recipes(palette.coefficients, target, ways=2)
    ax = plot_ways(answer, palette, {})
    halves = [to_rgb(patch.get_facecolor()) for patch in drawn(ax, "way/0/0")]
    mixed = lab(answer.recipes[0].reflectance[None], GRID)
    np.testing.assert_allclose(halves[0], lab_to_srgb(target.lab)[0][0], atol=1e-6)
    np.testing.assert_allclose(halves[1], lab_to_srgb(mixed)[0][0], atol=1e-6)
    assert len(drawn(ax, "way/0/2")) == 1, "an unknown spectrum is not shown under lamplight"
    assert "spectrum is unknown" in words(ax)


def test_a_target_with_a_spectrum_is_shown_under_every_light(palette):
    paint = palette.paints[1]
    target = of_spectrum("masstone", films(palette.coefficients, [{paint: 1.0}])[0])
    without = palette.coefficients.select([p for p in palette.paints if p != paint])
    ax = plot_ways(recipes(without, target, ways=1), Palette(without), {})
    assert [len(drawn(ax, f"way/0/{i}")) for i in range(3)] == [2, 2, 2]


def test_relative_numbers_show_no_thin_film(palette):
    relative = replace(palette.coefficients, scale="relative to HULL")
    answer = recipes(relative, of_lab(60, 10, 20), ways=1)
    own = new_figure(8, 4).add_subplot()
    assert plot_ways(answer, Palette(relative), {}, own) is own
    assert not drawn(own, "way/0/3") and "film of" not in words(own)


def test_ways_say_the_parts_that_can_be_measured(palette):
    """In whole parts, as the page and the command say them; a tint is said with what it is of."""
    answer = recipes(palette.coefficients, of_lab(60, 10, 20), ways=2)
    said = words(plot_ways(answer, palette, {}))
    for recipe in answer.recipes:
        whole = as_made(palette, recipe.parts, answer.target.lab, WEIGHED_PARTS)
        assert parts_words(whole, {}).split(",")[0] in said
    tinted = replace(whole, amounts={"A": 3.0, "B": 1.0}, tints=(Tint("B", "A"),))
    assert parts_words(tinted, {"A": "Hull"}) == "3 parts Hull, 1 B tint (1 to 9 Hull)"
