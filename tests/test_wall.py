"""The wall atlas: its colours are the tubes', its parts can be measured, its facts are printed."""

from __future__ import annotations

import numpy as np
import pymupdf
import pytest
from matplotlib.figure import Figure
from PIL import Image
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.output_intent import srgb_profile, with_output_intent
from tintladder.database.easel.atlas import wall_of
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.easel.wall import TINT_STEPS
from tintladder.database.paper.of_studio import triangle_of, wall_atlas
from tintladder.database.pictures.of_studio import drawn
from tintladder.database.pictures.style import save
from tintladder.database.store.store import Store


@pytest.fixture(scope="module")
def store(own_demo):
    with Store.open(own_demo) as opened:
        yield opened


@pytest.fixture(scope="module")
def wall(store):
    return wall_of(store)


def test_rows_are_what_predict_says_the_strongest_first(store, wall):
    ratios = [row.strength.ratio for row in wall.rows if row.strength]
    assert ratios == sorted(ratios, reverse=True) and len(wall.rows) == 10
    for row in (wall.rows[0], wall.rows[4]):
        for lab, parts in zip(row.lab[:4], TINT_STEPS, strict=False):
            mix = f"{row.paint}=1" + (f",{row.white}={parts:g}" if parts else "")
            look = predicted_mix(store, MixRequest(mix)).looks[0]
            assert ciede2000(lab, look.lab()) < 0.05
        assert row.band >= 0.05
        low, high = row.hiding.band
        assert low < row.hiding.thickness_um < high


def literal(wall, made):
    """What the amounts of a mix come to, tints taken apart by hand."""
    grams = dict.fromkeys(wall.basis.read.paints, 0.0)
    for paint, amount in made.amounts.items():
        tint = made.tint(paint)
        share = 1.0 if tint is None else 1 / (1 + tint.parts)
        grams[paint] += amount * share
        if tint is not None:
            grams[tint.into] += amount * (1 - share)
    dry = np.array(list(grams.values())) * wall.basis.read.dry_volume
    return wall.basis.palette.lab((dry / dry.sum())[None])[0]


def test_parts_of_pairs_and_triangle_are_whole_and_mix_to_their_colour(wall):
    mixes = [made for cell in wall.pairs for made in (cell.made, cell.tint) if made is not None]
    mixes += [made for _, made in wall.triangle(("ROPE", "ANCHOR", "PENNANT"))]
    assert len(wall.pairs) == 36
    for made in mixes:
        assert all(amount == round(amount) >= 1 for amount in made.amounts.values())
        assert ciede2000(literal(wall, made), made.lab) < 0.05


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_atlas_is_vectors_with_its_facts_on_every_page(store, page):
    with pymupdf.open(stream=wall_atlas(store, page=page), filetype="pdf") as document:
        assert not any(p.get_images() for p in document)
        titles = [p.get_text().strip().splitlines()[0] for p in document]
        assert titles == [
            "Ladders", "Undertone to masstone", "Hue, from masstone to white", "Pairs",
            "Triangle", "Values",
        ]  # fmt: skip
        for p in document:
            text = " ".join(p.get_text().split())
            assert "Fit 2 of " in text and "radiative-transfer model" in text
            assert "gloss finish under warm daylight (D50/2°)" in text and "95" in text
            assert "Anchor Blue (lot A1)" in text


def test_one_tube_alone_has_an_atlas_and_a_triangle_needs_three(store):
    with pymupdf.open(stream=wall_atlas(store, ["ANCHOR"]), filetype="pdf") as document:
        assert [p.get_text().split()[0] for p in document] == [
            "Ladders",
            "Undertone",
            "Hue,",
            "Values",
        ]
    for paints in (["ANCHOR"], ["ANCHOR", "ROPE", "PITCH", "DUSK"]):
        with pytest.raises(InputError, match="three"):
            triangle_of(store, paints)
    with pytest.raises(InputError, match="three"):
        drawn(store, ["ANCHOR"], "triangle")


def test_files_say_that_their_colours_are_srgb_and_what_they_rest_on(store, tmp_path):
    figure, _ = drawn(store, ["ROPE", "ANCHOR", "PENNANT"], "triangle")
    assert isinstance(figure, Figure)
    png, pdf = (save(figure, tmp_path / f"t{suffix}") for suffix in (".png", ".pdf"))
    with Image.open(png) as opened:
        assert opened.info["srgb"] == 1 and "Rope Earth (lot R1)" in opened.info["Description"]
    for data in (pdf.read_bytes(), triangle_of(store, ["ROPE", "ANCHOR", "PENNANT"])):
        with pymupdf.open(stream=data, filetype="pdf") as document:
            assert not document.is_repaired
            assert "Rope Earth (lot R1)" in document.metadata["subject"]
            kind, value = document.xref_get_key(document.pdf_catalog(), "OutputIntents")
            intent = int(value.strip("[]").split()[0])
            profile = int(document.xref_get_key(intent, "DestOutputProfile")[1].split()[0])
            assert kind == "array" and document.xref_stream(profile) == srgb_profile()
    with pytest.raises(InputError, match="plain table"):
        with_output_intent(b"%PDF-1.5 nothing")
