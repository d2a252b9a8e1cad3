"""The page of a release: whole, alone, escaped, the same every time, and true to the tables."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.display import srgb
from tintladder.database.demo.demo import make_demo
from tintladder.database.mixing.ladder import ladder
from tintladder.database.mixing.strengths import rank
from tintladder.database.paper.report.fits import unpack
from tintladder.database.paper.report.page import report
from tintladder.database.pictures.swatch import FILM_UM, films
from tintladder.database.releases.load import load_release
from tintladder.database.releases.model_choice import tried
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import WHEN, fill

VOID = {"meta", "input", "br", "link", "img", "hr"}


class Page(HTMLParser):
    """Reads a page strictly: every element closed where it must be, in order."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.ids, self.links, self.words = [], [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        assert len(said) == len(attrs), f"an attribute twice in {tag}"
        self.tags.append((tag, said))
        self.ids += [said["id"]] if "id" in said else []
        self.links += [said["href"]] if "href" in said else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "script" not in self.open and "style" not in self.open:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())

    def all(self, tag):
        return [said for name, said in self.tags if name == tag]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return make_demo(tmp_path_factory.mktemp("report") / "demo")


@pytest.fixture(scope="module")
def release(demo):
    return load_release(demo.release.archive)


@pytest.fixture(scope="module")
def text(release):
    return report(release, "ab" * 32)


@pytest.fixture(scope="module")
def page(text):
    return Page(text)


def test_page_is_well_formed_and_its_links_lead_somewhere(page):
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    inside = [link.removeprefix("#") for link in page.links]
    assert all(link.startswith("#") for link in page.links)
    assert set(inside) <= set(page.ids)
    for said in page.all("label") + page.all("output"):
        assert said.get("for", "find") in page.ids


def test_page_needs_nothing_else(text, page):
    assert "//" not in re.sub(r"<script>.*?</script>", "", text, flags=re.S)
    assert "url(" not in text and "@import" not in text
    for tag, said in page.tags:
        assert not {"src", "srcset", "action", "style"} & set(said), tag
        assert not any(name.startswith("on") for name in said), tag
    policy = next(s["content"] for s in page.all("meta") if "http-equiv" in s)
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_every_paint_stands_on_the_wall_in_the_table_and_by_itself(release, page):
    paints = release.tables["paints"]
    names = sorted(paints["name"], key=str.casefold)
    articles = [said for said in page.all("article")]
    assert len(articles) == len(paints)
    for name in names:
        assert page.text.count(name) >= 4
    alone = [i for i in page.ids if i.startswith("paint-") and not i.endswith("-head")]
    assert len(alone) == len(paints)
    reasons = release.by_transport.tables["paints"]["reasons"]
    for words in (*reasons.str.split("; ").str[-1], *paints["pigments"]):
        assert words[1:] in page.text  # a sentence begins with a capital


def test_pictures_have_words_and_tables_captions(page):
    for said in page.all("svg"):
        assert said.get("aria-hidden") == "true" or said["aria-label"]
    assert len(page.all("table")) == len(page.all("caption"))
    assert [said.get("lang") for said in page.all("html")] == ["en"]
    parts = page.all("section") + page.all("article")
    parts += [said for said in page.all("div") if said.get("role") == "region"]
    called = [said.get("aria-label") or said["aria-labelledby"] for said in parts]
    assert len(called) == len(set(called))
    heads = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert heads[0] == 1 and heads.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(heads))


def test_colours_are_those_of_a_film_worked_out_by_hand(release):
    """Kubelka 1948 over a ground, by its hyperbolic form; Saunderson 1942 outside."""
    text = report(replace(release, beside=None))
    c = release.coefficients
    i = c.index("ANCHOR")
    a = 1 + c.k[i] / c.s[i]
    b = np.sqrt(a**2 - 1)
    over = 0.86
    # As thick a film as its own films say that its K and S need.
    quality = release.tables["quality"]
    own = quality[(quality["paint"] == "ANCHOR") & (quality["quantity"] == "film ratio")]
    thick = FILM_UM / float(own["value"].iloc[0])
    coth = 1 / np.tanh(b * c.s[i] * thick * 1e-3)
    inside = (1 - over * (a - b * coth)) / (a - over + b * coth)
    k1, k2 = c.surface.k1, c.surface.k2
    # The eye moves out of a glossy film's mirror reflection, which the sphere has read.
    seen = (1 - k1) * (1 - k2) * inside / (1 - k2 * inside)
    np.testing.assert_allclose(films(c, [{"ANCHOR": 1.0}], thick, "white")[0], seen, atol=1e-9)
    rgb, _ = srgb(seen[None], c.wavelengths)
    assert "#" + "".join(f"{round(255 * x):02x}" for x in rgb[0].tolist()) in text


def test_held_out_figures_are_those_published(demo, release, page):
    assert tried(release).nearer == "transport"
    said = release.by_transport.tables["checks"]["de00"]
    assert f"off by CIEDE2000 {said.mean():.2f} on average" in page.text
    assert f"the worst by {said.max():.2f}" in page.text
    assert "tubes alone by the radiative-transfer model" in page.text
    packed = unpack(release)
    readings = [r for found in packed.readings.values() for r in found]
    for each in (release, release.by_transport):
        off = each.tables["checks"]["de00"]
        assert off.mean() >= said.mean()
        again = check_mixtures(each.coefficients, readings).patches["de00"]
        np.testing.assert_allclose(np.sort(again), np.sort(off), atol=1e-9)


def test_it_says_how_each_model_fared_and_shows_the_nearer(release, page, text):
    rows = re.findall(r'<tr><th scope="row">(The two|The radiative)(.*?)</tr>', text, flags=re.S)
    assert len(rows) == 2
    for (_, row), each in zip(rows, (release, release.by_transport), strict=True):
        off = each.tables["checks"]["de00"]
        quality = each.tables["quality"]
        steps = quality[quality["quantity"] == "difference of a step left out"]
        typical = steps.groupby("paint")["value"].median().mean()
        figures = [off.mean(), np.percentile(off, 95), off.max(), typical]
        assert re.findall(r'number">([\d.]+)<', row) == [f"{x:.2f}" for x in figures]
    assert [("mixes are calculated by it" in row) for _, row in rows] == [False, True]
    assert page.text.count("by the radiative-transfer model,") == 10
    assert "μₐ absorbs, μₛ′ scatters" in page.text and "K absorbs" not in page.text
    dusk = release.by_transport.tables["paints"].set_index("paint").loc["DUSK"]
    surface = f"its own surface reflects {abs(dusk['surface_offset']):.4f} "
    assert (surface in page.text) == (abs(dusk["surface_offset"]) > 5e-5)


def test_a_release_without_patches_by_transport_is_shown_by_two_fluxes():
    """As every release of the second layout."""
    zipped = Path(__file__).parent / "data" / "releases" / "second-layout.zip"
    made = Page(report(load_release(zipped)))
    assert "K absorbs, S scatters" in made.text and "μₐ absorbs" not in made.text


def test_strips_show_what_was_read(demo, release):
    packed = unpack(release)
    with Store.open(demo.folder) as store:
        mine = ladder(store.fits.of("ROPE"), store.cards.all())
    cards = [r.card for r in packed.of_paint("ROPE")]
    found = ladder(packed.fits["ROPE"], cards)
    assert found.labels == mine.labels
    for over in mine.substrates:
        np.testing.assert_allclose(found.measured[over], mine.measured[over], atol=1e-12)


def test_reflectance_is_drawn_of_every_step_that_was_read(text, release):
    for paint in release.tables["paints"]["name"]:
        mark = f'aria-label="Reflectance of the steps of {paint} over white"'
        picture = text[text.index(mark) :].partition("</svg>")[0]
        assert picture.count("line-path") >= 2, paint


def test_pairs_and_a_triangle_stand_among_the_plates(text):
    for title in ("Pairs", "Triangle"):
        assert f"<figcaption>{title}<" in text


def test_strengths_rank_and_refer(release):
    paints = release.tables["paints"]
    whites = {p: w for p, w in paints[["paint", "white"]].to_numpy() if w}
    ranked, unsaid = rank(release.coefficients, whites)
    assert not unsaid and {s.paint for s in ranked} == set(whites)
    ratios = [s.ratio for s in ranked]
    assert ratios == sorted(ratios, reverse=True)
    assert ranked[len(ranked) // 2].ratio == pytest.approx(1.0)
    other, _ = rank(release.coefficients, whites, "ROPE")
    assert [s.paint for s in other] == [s.paint for s in ranked]
    with pytest.raises(InputError, match="let down with white"):
        rank(release.coefficients, whites, "HULL")


def test_same_release_gives_the_same_bytes(release, text, demo):
    assert report(release, "ab" * 32) == text
    assert report(load_release(demo.release.folder), "ab" * 32) == text


NASTY = "</title><script>alert(1)</script>'\"&{{ 7 * 7 }}"


def test_what_was_typed_stays_text(release):
    tables = {name: table.copy() for name, table in release.tables.items()}
    for column in ("name", "maker", "range", "pigments", "binder", "caution", "lot", "reasons"):
        tables["paints"].loc[0, column] = NASTY
    tables["sessions"].loc[0, ["device", "serial", "file", "date"]] = NASTY
    tables["cards"].loc[0, ["date", "note"]] = NASTY
    tables["patches"].loc[0, "flag"] = NASTY
    gates = {"forced": NASTY, "excluded": [NASTY], "findings": [{"stops": True, "line": NASTY}]}
    bad = replace(release, name=NASTY, tables=tables, descriptor={"gates": gates})
    made = Page(report(bad, NASTY))
    assert made.open == []
    assert len(made.all("script")) == 1 and len(made.all("title")) == 1
    assert made.text.count("alert(1)") >= 10
    assert "49" not in NASTY and "{{ 7 * 7 }}" in made.text


@pytest.fixture
def plain(tmp_path):
    """A release of random numbers: a wavelength unread, satin, 45:0, a doubled name."""
    with Store.open(tmp_path / "studio") as store:
        made = publish(fill(store), note="invented", created=WHEN, force="a test")
    return made


def test_a_release_of_odd_numbers_still_makes_a_page(plain):
    loaded = load_release(plain.archive)
    made = Page(report(loaded))
    assert "Keel Blue" in made.text and "▲" in made.text
    scans = replace(
        loaded, tables={**loaded.tables, "paints": loaded.tables["paints"].assign(scan_made=True)}
    )
    page = Page(report(scans)).text
    assert "from a scan" in page and "tube paints, scanned, as they look" in page
    assert "tube paints, measured, as they look" in made.text
    assert "Published" not in made.text


def test_no_mixtures_no_readings_no_claims(release):
    tables, beside = dict(release.tables), dict(release.beside)
    for name in ("checks", "sessions", "readings"):
        tables[name], beside[name] = tables[name].iloc[:0], beside[name].iloc[:0]
    made = Page(report(replace(release, tables=tables, beside=beside)))
    assert "No mixtures were held out" in made.text
    assert "not packed here" in made.text
    assert len(made.all("article")) == len(tables["paints"])


def test_tables_that_do_not_hang_together_are_refused(release):
    for spoilt in (
        {"paints": release.tables["paints"].iloc[:0]},
        {"wavelengths": release.tables["wavelengths"].iloc[1:]},
    ):
        with pytest.raises(InputError, match="hang together"):
            report(replace(release, tables={**release.tables, **spoilt}))


def test_relative_numbers_say_nothing_of_films(release):
    c = replace(release.coefficients, scale="relative to HULL")
    tables = {**release.tables, "paints": release.tables["paints"].assign(scale=c.scale)}
    made = Page(report(replace(release, tables=tables)))
    assert "in a film that hides" in made.text and "left over white" not in made.text
    assert "Hides black at" not in made.text


def test_size_of_two_hundred_paints_stays_within_five_megabytes(release, text):
    """By what a page of ten takes beyond its head; the benchmark makes all two hundred."""
    paints = len(release.tables["paints"])
    one = max(len(part.encode()) for part in re.findall(r"<article.*?</article>", text, flags=re.S))
    rest = len(text.encode()) - paints * one
    assert 200 * (one + 1500) + max(rest, 0) < 5e6


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: run(monkeypatch, capsys, *arguments)


def test_command_writes_the_last_release_a_version_a_folder_or_a_zip(tool, demo, tmp_path):
    done = tool("report", "--studio", demo.folder)
    assert done.status == 0, done.err
    made = tmp_path / "reports" / "paints-1.0.0.html"
    assert str(made.relative_to(tmp_path)) in done.out
    whole = made.read_bytes()
    for asked in ("1.0.0", demo.release.folder, demo.release.archive):
        done = tool("report", asked, "--out", "x.html", "--studio", demo.folder, "--json")
        assert done.json["paints"] == 10
        assert (tmp_path / "x.html").read_bytes() == whole
    assert demo.release.digest in whole.decode()


def test_command_refuses_in_one_line_and_writes_nothing(tool, demo, tmp_path):
    Store.open(tmp_path / "empty", create=True).close()
    (tmp_path / "no.zip").write_bytes(b"no zip at all")
    (tmp_path / "folder").mkdir()
    for arguments, words in (
        (("nowhere.zip",), "no such release"),
        (("no.zip",), "expected the zip of a release"),
        (("folder",), "datapackage.json"),
        (("9.9.9", "--studio", demo.folder), "no such release"),
        (("--studio", tmp_path / "empty"), "nothing was published here yet"),
        (("--studio", demo.folder, "--out", "page.pdf"), ".html"),
        (("--studio", demo.folder, "--out", "no.zip/page.html"), "can't be written"),
    ):
        done = tool("report", *arguments)
        assert done.status == 2, (arguments, done.out, done.err)
        assert words in done.err and done.err.count("\n") == 1
    assert sorted(p.name for p in tmp_path.iterdir()) == ["empty", "folder", "no.zip"]


def test_two_paints_of_one_name_are_told_apart(release):
    paints = release.tables["paints"].copy()
    paints.loc[paints["paint"].isin(["RESIN", "LANTERN"]), "name"] = "Mast Yellow"
    made = Page(report(replace(release, tables={**release.tables, "paints": paints})))
    mixes = " ".join(release.tables["drawdowns"]["masses"])
    assert "LANTERN" in mixes
    assert "Mast Yellow (RESIN)" in made.text and "Mast Yellow (LANTERN)" in made.text
