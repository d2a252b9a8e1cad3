"""Pictures of a paint's tinting: their parts, their colours, their marks, and that labels read."""

from __future__ import annotations

import io
import itertools
import json
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from matplotlib.text import Text
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.optics.display import srgb
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.ladder import ladder, tint_path
from tintladder.database.pictures.figures import tint_figure
from tintladder.database.pictures.spectra import plot_k_and_s, plot_reflectance
from tintladder.database.pictures.style import save, spread
from tintladder.database.pictures.tint import plot_hue_path, plot_lightness_path, plot_strip
from tintladder.database.store.store import Store

from . import synthetic
from .command import run
from .studio_fixtures import PAINTS_TOML


@pytest.fixture(scope="module")
def cards():
    return [r.card for r in synthetic.ladders(("W", "R", "B", "Y"))]


@pytest.fixture(scope="module")
def fits():
    return fit_paints(synthetic.ladders(("W", "R", "B", "Y"), seed=5), synthetic.TUBES).paints


@pytest.fixture(scope="module")
def kinds(fits):
    """Fits of every kind that a picture must stand: by what is special in them."""
    short = [synthetic.ladder("W"), synthetic.ladder("R", ratios=(8,))]
    two = fit_paints([synthetic.read(c, seed=6) for c in short], synthetic.TUBES).paints
    thick = fit_paints(synthetic.ladders(("W", "B"), seed=7, opaque_films=True), synthetic.TUBES)
    flagged = fits["R"].patches.assign(flag="thinner than its ladder says, and twice as odd")
    return {
        "red": fits["R"],
        "transparent blue": fits["B"],
        "yellow": fits["Y"],
        "white": fits["W"],
        "two steps": two["R"],
        "opaque ladder": thick.paints["B"],
        "its white": thick.paints["W"],
        "all flagged": replace(fits["R"], patches=flagged),
        "white never read alone": replace(fits["W"], patches=fits["W"].patches.assign(share=0.5)),
        "part unread": _unread(fits["R"]),
    }


@pytest.fixture(scope="module")
def figures(kinds, cards):
    return {kind: tint_figure(fit, "Gale Red", cards) for kind, fit in kinds.items()}


def _unread(fit):
    """Return the same fit as if nothing below 420 nm, and nothing of one patch, had been read."""
    rows = fit.residuals
    lost = (rows["wavelength"] < 420) | (rows["patch"] == "3:1/black")
    columns = ["measured", "fitted", "sigma"]
    k, s = fit.coefficients.k.copy(), fit.coefficients.s.copy()
    k[:, GRID < 420] = s[:, GRID < 420] = np.nan
    return replace(
        fit,
        residuals=rows.assign(**{c: rows[c].mask(lost) for c in columns}),
        coefficients=replace(fit.coefficients, k=k, s=s),
    )


def marked(figure_or_axes, gid):
    return figure_or_axes.findobj(lambda artist: artist.get_gid() == gid)


def picture(figure):
    held = io.BytesIO()
    figure.savefig(held, format="png", dpi=80)
    held.seek(0)
    return imread(held)


KINDS = (
    "red", "transparent blue", "yellow", "white", "two steps", "opaque ladder", "its white",
    "all flagged", "white never read alone", "part unread",
)  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_figure_has_its_parts_and_says_what_they_are(kinds, figures, kind):
    figure = figures[kind]
    assert len(figure.axes) == 5
    said = " ".join(text.get_text() for text in figure.findobj(Text))
    if kind == "white never read alone":
        assert "no patch of it alone was read" in said
    else:
        assert "measured" in said and "predicted" in said
    for words in ("a*", "b*", "C*", "L*", "wavelength, nm", "reflectance"):
        assert words in said
    scale = kinds[kind].coefficients.scale
    assert ("1/mm" if scale == "absolute" else "relative to W") in said
    assert kinds[kind].verdict in said.lower()
    assert figure.axes[1].get_aspect() == 1.0
    pixels = picture(figure)
    for ax in figure.axes:
        box = ax.get_position()
        tall, wide = pixels.shape[:2]
        part = pixels[
            int((1 - box.y1) * tall) : int((1 - box.y0) * tall),
            int(box.x0 * wide) : int(box.x1 * wide),
        ]
        assert np.ptp(part[..., :3]) > 0.3


@pytest.mark.parametrize("kind", KINDS)
def test_no_label_touches_another_or_leaves_the_page(figures, kind):
    figure = figures[kind]
    figure.draw_without_rendering()
    renderer = FigureCanvasAgg.get_renderer(figure.canvas)
    page = figure.bbox
    # Ticks beyond the limits are texts too, but are not drawn.
    hidden = {
        id(label)
        for ax in figure.axes
        for axis in (ax.xaxis, ax.yaxis)
        for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks())
        for label in (tick.label1, tick.label2)
        if not axis.get_view_interval().min() <= tick.get_loc() <= axis.get_view_interval().max()
    }
    drawn = [
        (text.get_text(), Text.get_window_extent(text, renderer))
        for text in figure.findobj(Text)
        if text.get_text().strip() and text.get_visible() and id(text) not in hidden
    ]
    for words, box in drawn:
        assert page.x0 <= box.x0 and box.x1 <= page.x1, words
        assert page.y0 <= box.y0 and box.y1 <= page.y1, words
    for (one, a), (other, b) in itertools.combinations(drawn, 2):
        assert not a.padded(-1).overlaps(b.padded(-1)), (one, other)


@pytest.mark.parametrize("paint", ["R", "B", "Y", "W"])
def test_strip_shows_the_colours_that_a_display_would(fits, paint):
    steps = ladder(fits[paint])
    ax = plot_strip(steps, tint_path(fits[paint]))
    for over in ("white", "black"):
        for kind, spectra in (("measured", steps.measured), ("predicted", steps.fitted)):
            shown = [to_rgb(swatch.get_facecolor()) for swatch in marked(ax, f"{kind}/{over}")]
            np.testing.assert_allclose(shown, srgb(spectra[over])[0], atol=1e-9)
    assert len(marked(ax, "white")) == (paint != "W")


def test_swatch_of_the_perfect_diffuser_is_display_white(fits):
    # IEC 61966-2-1: the white of the scene, adapted, is R = G = B = 1.
    rows = fits["R"].residuals.assign(measured=1.0)
    ax = plot_strip(ladder(replace(fits["R"], residuals=rows)), None)
    shown = [to_rgb(swatch.get_facecolor()) for swatch in marked(ax, "measured/white")]
    np.testing.assert_allclose(shown, 1.0, atol=2e-3)


def test_flagged_patches_are_marked_and_named(fits, cards):
    patches = fits["R"].patches.copy()
    patches.loc[patches["patch"] == "7:1/white", "flag"] = "an outlier"
    patches.loc[patches["patch"] == "3:1/black", "weight"] = 0.3
    odd = replace(fits["R"], patches=patches)
    steps, path = ladder(odd, cards), tint_path(odd)
    strip = plot_strip(steps, path)
    before = len(marked(plot_strip(ladder(fits["R"], cards), path), "flag"))
    assert len(marked(strip, "flag")) == before + 2
    said = " ".join(text.get_text() for text in strip.texts)
    assert "an outlier: 7 : 1 over white" in said
    assert "counted for 30 %: 3 : 1 over black" in said
    for plot in (plot_hue_path, plot_lightness_path):
        assert len(marked(plot(steps, path), "flag")) == before + 2


def test_colours_beyond_the_display_are_ringed(fits):
    rows = fits["R"].residuals
    # A narrow band alone is more vivid than any display.
    narrow = rows.assign(measured=np.where(rows["wavelength"].between(500, 540), 0.9, 0.0))
    ax = plot_strip(ladder(replace(fits["R"], residuals=narrow)), None)
    assert marked(ax, "gamut")
    assert any("display can't show" in text.get_text() for text in ax.texts)


@pytest.mark.parametrize("plot", [plot_hue_path, plot_lightness_path])
def test_crosses_that_the_legend_names_are_seen_on_the_discs(fits, plot):
    ax = plot(ladder(fits["R"]), tint_path(fits["R"]))
    (cross,) = marked(ax, "as painted")
    assert cross.get_label() == "predicted over white, as painted"
    discs = [line for line in ax.lines if line.get_marker() == "o" and len(line.get_xdata())]
    assert cross.get_zorder() > max(disc.get_zorder() for disc in discs)
    with_crosses = picture(ax.get_figure(root=True))
    cross.set_visible(False)
    changed = np.abs(with_crosses - picture(ax.get_figure(root=True))).max(axis=2) > 0.2
    assert changed.sum() >= 4 * len(cross.get_xdata())


def test_unread_patch_is_left_open_not_invented(kinds):
    steps = ladder(kinds["part unread"])
    assert np.isnan(steps.measured["black"][2]).all()
    ax = plot_strip(steps, None)
    assert len(marked(ax, "measured/black")) == len(steps.labels) - 1


def test_wavelengths_of_a_known_ratio_only_are_marked(fits):
    c = fits["R"].coefficients
    hidden = np.zeros_like(c.ratio_only)
    hidden[c.index("R"), :7] = True
    fit = replace(fits["R"], coefficients=replace(c, ratio_only=hidden))
    (mark,) = marked(plot_k_and_s(fit), "ratio-only")
    np.testing.assert_array_equal(mark.get_xdata(), GRID[:7])
    assert not marked(plot_k_and_s(fits["R"]), "ratio-only")


@pytest.mark.parametrize(
    "model, title, by",
    [
        ("two-flux", "K absorbs, S scatters", "two-flux"),
        ("transport", "μₐ absorbs, μₛ′ scatters", "radiative-transfer"),
    ],
)
def test_k_and_s_are_called_what_they_are(fits, model, title, by):
    ax = plot_k_and_s(replace(fits["R"], coefficients=replace(fits["R"].coefficients, model=model)))
    assert ax.get_title("left") == title and by in ax.get_xlabel()
    k, s = (text.get_text() for text in ax.texts[:2])
    assert title == f"{k} absorbs, {s} scatters" and f"{k} and {s}" in ax.get_ylabel()


def test_scan_made_is_said(fits):
    c = fits["R"].coefficients
    made = replace(c, scan_made=np.ones(len(c.paints), dtype=bool))
    assert "scan" in plot_k_and_s(replace(fits["R"], coefficients=made)).get_title("left")


def test_parts_draw_on_axes_of_ones_own(fits):
    steps, path = ladder(fits["B"]), tint_path(fits["B"])
    figure = tint_figure(fits["B"])
    for plot in (
        partial(plot_strip, steps, path),
        partial(plot_hue_path, steps, path),
        partial(plot_lightness_path, steps, path),
        partial(plot_reflectance, steps),
        partial(plot_k_and_s, fits["B"]),
    ):
        mine = figure.add_axes((0.1, 0.1, 0.3, 0.3))
        assert plot(mine) is mine
        assert plot(None).get_figure() is not figure


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_same_fit_gives_the_same_file(fits, tmp_path, suffix):
    files = [save(tint_figure(fits["B"]), tmp_path / f"{i}{suffix}") for i in range(2)]
    one, other = (file.read_bytes() for file in files)
    assert one == other
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"0{suffix}", f"1{suffix}"]
    if suffix == ".svg":
        assert ElementTree.fromstring(one).tag.endswith("svg")
    else:
        assert imread(files[0]).shape[1] == 2190


def test_picture_is_written_whole_or_not_at_all(fits, tmp_path):
    figure = tint_figure(fits["B"])
    with pytest.raises(InputError, match=r"\.png, \.svg or \.pdf"):
        save(figure, tmp_path / "picture.jpg")
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="can't be written"):
        save(figure, tmp_path / "file" / "picture.png")
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_spread_keeps_its_distance():
    out = np.array(spread([0.5, 0.5, 0.52, 0.9, 0.95], 0.1, 0.0, 1.0))
    assert np.all(np.diff(np.sort(out)) >= 0.1 - 1e-12)
    assert out.min() >= 0 and out.max() <= 1.0


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path, fits, cards):
    monkeypatch.chdir(tmp_path)
    with Store.open(tmp_path) as store:
        text = PAINTS_TOML
        for old, new in (("KEEL-T", "X"), ("KEEL", "R"), ("HULL", "W")):
            text = text.replace(f'"{old}"', f'"{new}"')
        store.paints.add_file(text)
        wanted = {"W", "R"}
        for card in cards:
            if wanted.issuperset(card.paints):
                store.cards.add(card, card.name)
        joint = fit_paints(synthetic.ladders(("W", "R"), seed=5), synthetic.TUBES)
        store.fits.record(joint, [])
    return partial(run, monkeypatch, capsys)


def test_plot_writes_both_kinds_and_says_so(tool, tmp_path):
    done = tool("plot", "R")
    assert done.status == 0, done.err
    assert done.out.startswith("R ") and "half way to white" in done.out
    for suffix in (".png", ".svg"):
        assert (tmp_path / "plots" / f"R-tint{suffix}").stat().st_size > 10_000
        assert f"R-tint{suffix}" in done.out


def test_plot_to_a_named_file_as_json(tool, tmp_path):
    done = tool("plot", "r", "--out", "red.svg", "--json")
    result = json.loads(done.out)
    assert result["paint"] == "R" and result["files"] == ["red.svg"]
    assert sorted(p.suffix for p in tmp_path.iterdir() if p.stem == "red") == [".svg"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nonesuch",), "fits no tube"),
        (("X",), "has no fit yet"),
        (("R", "--out", "red.jpg"), ".svg or .pdf"),
    ],
)
def test_bad_input_gets_one_line(tool, tmp_path, arguments, words):
    done = tool("plot", *arguments)
    assert done.status == 2
    assert words in done.err and done.err.count("\n") == 1
    assert not (tmp_path / "plots").exists()
