"""Pictures of several paints: their tints, their films, how they hide, how strongly they tint."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from matplotlib.text import Text
from tintladder.calibrate.fit.judging.hiding import (
    BY_RATIO,
    BY_UNIT,
    contrast_ratio,
    hiding_thickness,
)
from tintladder.calibrate.optics.display import srgb
from tintladder.calibrate.optics.predict import predict
from tintladder.calibrate.optics.surface import Surface
from tintladder.database.demo.demo import make_demo
from tintladder.database.mixing.strengths import rank
from tintladder.database.pictures.films import THICKEST, THINNEST, plot_contrasts, plot_films
from tintladder.database.pictures.ladders import STEPS, plot_ladders, plot_strengths
from tintladder.database.pictures.style import new_figure
from tintladder.database.store.store import Store

from .command import run


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return make_demo(tmp_path_factory.mktemp("plots") / "demo")


@pytest.fixture(scope="module")
def coefficients(demo):
    return demo.fitted.fit.coefficients


@pytest.fixture(scope="module")
def whites(coefficients):
    return {paint: "HULL" for paint in coefficients.paints if paint != "HULL"}


def drawn(ax, gid):
    return ax.findobj(lambda artist: artist.get_gid() == gid)


def words(ax):
    return " ".join(text.get_text() for text in ax.findobj(Text))


def picture(figure):
    held = io.BytesIO()
    figure.savefig(held, format="png", dpi=60)
    held.seek(0)
    return imread(held)


@pytest.fixture(scope="module")
def pictures(coefficients, whites, demo):
    paints = list(coefficients.paints)
    strengths, _ = rank(coefficients, whites)
    return {
        "tints": plot_ladders(coefficients, whites, paints, demo.names),
        "films": plot_films(coefficients, paints, demo.names),
        "contrasts": plot_contrasts(coefficients, paints, demo.names),
        "strengths": plot_strengths(strengths, coefficients, demo.names),
    }


@pytest.mark.parametrize("kind", ["tints", "films", "contrasts", "strengths"])
def test_every_paint_is_named_and_no_label_leaves_or_covers(pictures, demo, kind):
    ax = pictures[kind]
    named = set(demo.names.values()) - ({"Hull White"} if kind == "strengths" else set())
    assert all(name in words(ax) for name in named)
    figure = ax.get_figure(root=True)
    figure.set_layout_engine("tight")
    pixels = picture(figure)
    assert np.ptp(pixels[..., :3]) > 0.8
    renderer = FigureCanvasAgg.get_renderer(figure.canvas)
    boxes = [
        # Without the leader line, which may cross another's.
        (text.get_text(), Text.get_window_extent(text, renderer))
        for text in ax.findobj(Text)
        if text.get_text().split(", ")[0] in named
        and Text.get_window_extent(text, renderer).width > 1
    ]
    page = figure.bbox
    for i, (one, box) in enumerate(boxes):
        assert box.x0 >= page.x0 and box.x1 <= page.x1, one
        for other, beside in boxes[:i]:
            assert one == other or not box.overlaps(beside), (one, other)


def test_strokes_and_figures_of_hiding_are_those_of_the_report(pictures, coefficients, demo):
    """ISO 6504-3's ratio for light paints, ISO 18314-2's CIELAB unit for others (as hiding.py)."""
    ax, rules = pictures["contrasts"], set()
    said = " ".join(words(ax).split())
    for paint in coefficients.paints:
        found = hiding_thickness(coefficients, paint)
        rules.add(found.criterion)
        assert f"{demo.names[paint]}, {found.thickness_um:.0f} µm" in said
        strokes = drawn(ax, f"hides/{paint}")
        assert len(strokes) == (THINNEST < found.thickness_um < THICKEST)
        for stroke in strokes:
            (x,), (y,) = stroke.get_data()
            assert x == pytest.approx(found.thickness_um)
            assert y == pytest.approx(contrast_ratio(coefficients, paint, x).ratio)
    assert rules == {BY_RATIO, BY_UNIT} and all(rule in said for rule in rules)


def test_tints_are_the_colours_of_their_mixes(pictures, coefficients):
    """Parts by weight become shares of dry volume: Duncan 1940."""
    mine = coefficients.select(["BUOY", "HULL"])
    found = [to_rgb(patch.get_facecolor()) for patch in drawn(pictures["tints"], "tint/BUOY")]
    v = mine.dry_volume
    for parts, colour in zip(STEPS, found, strict=False):
        share = v[0] / (v[0] + parts * v[1])
        surface = Surface.of("di:8", "excluded")
        seen = predict(mine, np.array([[share, 1 - share]]), surface=surface).reflectance
        np.testing.assert_allclose(colour, srgb(seen)[0][0], atol=1e-6)
    assert len(found) == len(STEPS) + 1
    assert len(drawn(pictures["tints"], "tint/HULL")) == 1


def test_films_grow_from_their_ground_to_their_masstone(pictures, coefficients):
    ax = pictures["films"]
    white, black = (
        np.asarray(drawn(ax, f"film/RESIN/{over}")[0].get_array()).reshape(-1, 3)
        for over in ("white", "black")
    )
    opaque = srgb(predict(coefficients.select(["RESIN"]), np.ones((1, 1))).reflectance)[0][0]
    assert np.abs(white[0] - black[0]).max() > 0.4
    assert np.abs(white[-1] - opaque).max() < np.abs(white[0] - opaque).max()
    thick = np.asarray(drawn(ax, "film/PITCH/white")[0].get_array()).reshape(-1, 3)
    assert np.ptp(thick[60:]) < 0.03
    assert hiding_thickness(coefficients, "PITCH").thickness_um < 10


def test_contrast_lines_pass_through_the_figure_itself(pictures, coefficients):
    line = drawn(pictures["contrasts"], "contrast/ROPE")[0]
    x, y = line.get_data()
    for at in (4, 20, 33):
        expected = contrast_ratio(coefficients, "ROPE", float(x[at])).ratio
        assert y[at] == pytest.approx(expected, abs=1e-9)
    assert (np.diff(y) > 0).all()


def test_strengths_stand_in_order_with_their_bands(pictures, coefficients, whites):
    ranked, _ = rank(coefficients, whites)
    at = [drawn(pictures["strengths"], f"strength/{s.paint}")[0].get_xydata()[0] for s in ranked]
    assert [x for x, _ in at] == [s.ratio for s in ranked]
    assert [y for _, y in at] == [-i for i in range(len(ranked))]
    band = drawn(pictures["strengths"], f"band/{ranked[0].paint}")[0].get_xdata()
    assert tuple(band) == pytest.approx(ranked[0].band)
    empty = plot_strengths([], coefficients, {})
    assert "no paint has a ladder" in words(empty)


def test_pictures_draw_on_axes_of_ones_own(coefficients, whites):
    figure = new_figure(8, 6)
    axes = figure.subplots(2, 2)
    strengths, _ = rank(coefficients, whites)
    assert plot_ladders(coefficients, whites, ["ROPE"], {}, axes[0, 0]) is axes[0, 0]
    assert plot_films(coefficients, ["ROPE"], {}, axes[0, 1]) is axes[0, 1]
    assert plot_contrasts(coefficients, ["ROPE"], {}, axes[1, 0]) is axes[1, 0]
    assert plot_strengths(strengths, coefficients, {}, axes[1, 1]) is axes[1, 1]


def test_relative_numbers_have_tints_but_no_films(coefficients, whites):
    relative = replace(coefficients, scale="relative to HULL")
    assert "Anchor" in words(plot_ladders(relative, whites, ["ANCHOR"], {"ANCHOR": "Anchor"}))
    for draw in (plot_films, plot_contrasts):
        with pytest.raises(ValueError, match="relative to HULL"):
            draw(relative, ["ANCHOR"], {})


@pytest.fixture
def tool(demo, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return lambda *said: run(monkeypatch, capsys, "plot", *said, "--studio", demo.folder)


@pytest.mark.parametrize(
    ("arguments", "stem"),
    [
        ((), "paints-tint"),
        (("anchor", "BUOY"), "paints-tint"),
        (("RESIN", "--show", "film"), "RESIN-film"),
        (("RESIN", "--show", "hiding"), "RESIN-hiding"),
        (("RESIN", "DUSK", "--show", "hiding"), "paints-hiding"),
        (("--show", "strength", "--against", "rope"), "paints-strength"),
        (("RESIN", "--show", "leftover"), "RESIN-leftover"),
        (("RESIN", "ANCHOR", "HULL", "--show", "reach"), "paints-reach"),
    ],
)
def test_command_draws_what_is_asked_the_same_each_time(tool, tmp_path, arguments, stem):
    done = tool(*arguments, "--json")
    assert done.status == 0, done.err
    assert done.json["files"] == [f"plots/{stem}.png", f"plots/{stem}.svg"]
    first = {path.name: path.read_bytes() for path in (tmp_path / "plots").iterdir()}
    assert len(first) == 2
    assert tool(*arguments).status == 0
    assert {path.name: path.read_bytes() for path in (tmp_path / "plots").iterdir()} == first
    if "strength" in arguments:
        assert done.json["strengths"]["ROPE"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("NOBODY",), "NOBODY"),
        (("ANCHOR", "BUOY", "--show", "leftover"), "one paint at a time"),
        (("ANCHOR", "--against", "ROPE"), "--show strength"),
        (("--show", "strength", "--against", "HULL"), "let down with white"),
        (("HULL", "--show", "strength"), "none of these has a ladder"),
        (("--show", "film", "--out", "film.gif"), ".svg or .pdf"),
    ],
)
def test_command_refuses_in_one_line(tool, tmp_path, arguments, said):
    done = tool(*arguments)
    assert done.status == 2, done.err
    assert said in done.err and done.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_studio_without_a_fit_is_told_what_to_do(monkeypatch, capsys, tmp_path):
    Store.open(tmp_path / "empty", create=True).close()
    done = run(monkeypatch, capsys, "plot", "--studio", tmp_path / "empty")
    assert done.status == 2 and "tintladder fit" in done.err
