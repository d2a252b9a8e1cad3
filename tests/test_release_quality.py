"""What a release says of how good each paint is: as the fit found it, and read back the same."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from importlib.resources import as_file, files

import numpy as np
import pandas as pd
import pytest
from jsonschema import Draft202012Validator
from tintladder.calibrate.fit.judging import quality_figures
from tintladder.calibrate.fit.judging.hiding import PAINT_VIEW, contrast_ratio, hiding_thickness
from tintladder.calibrate.fit.judging.own_films import anchor, own_films
from tintladder.database.cards.intake import take_in
from tintladder.database.commands.fit import show_fit
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.paper.report.figures import figures_of
from tintladder.database.paper.report.page import report
from tintladder.database.pictures.films import plot_contrasts
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.tables.descriptor import json_schema
from tintladder.database.releases.tables.layouts import tables_of
from tintladder.database.releases.tables.schema import SPECTRUM
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

from .command import run
from .forgeries import seal
from .studio_fixtures import fill

CARDS = ("hull-white", "anchor-blue", "dusk-violet")


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """Some of the boatyard's paints (invented), fitted and published."""
    folder = tmp_path_factory.mktemp("studio")
    boatyard = files("tintladder.measurements") / "boatyard"
    with as_file(boatyard) as place, Store.open(folder) as store:
        cards = [place / "cards" / f"{name}.toml" for name in CARDS]
        read = [path for path in sorted((place / "readings").iterdir()) if path.stem in CARDS]
        take_in(store, [place / "paints.toml", *cards, *read])
        done = fit_studio(store)
        made = publish(store)
    return folder, done, made


@pytest.fixture(scope="module")
def release(studio):
    return load_release(studio[2].archive)


MODELS = pytest.mark.parametrize("model", ["two-flux", "transport"])


def of_model(studio, release, model):
    """A fit by a model and what it says of its paints, and the release as that model has it."""
    done = studio[1]
    if model == "transport":
        return done.transport.fit, done.transport.quality, release.by_transport
    return done.fit, done.by_two_fluxes, replace(release, beside=None)


@MODELS
def test_the_release_has_the_figures_of_the_fit(studio, release, model):
    _, said, found = of_model(studio, release, model)
    quality = found.tables["quality"]
    assert set(quality["paint"]) == set(said) and set(quality["model"]) == {model}
    for paint, of_paint in said.items():
        mine = quality[quality["paint"] == paint].reset_index(drop=True)
        pd.testing.assert_frame_equal(
            mine.drop(columns="model"), quality_figures.figures(of_paint), check_dtype=False
        )
    assert set(quality["quantity"]) <= set(quality_figures.QUANTITIES)
    dusk = quality[quality["paint"] == "DUSK"].set_index("quantity")
    assert dusk.loc["hiding thickness", "criterion"] == "one CIELAB unit"
    assert "D65/10°" in dusk.loc["contrast ratio", "conditions"]
    strengths = dusk.loc[["tinting strength"]]
    assert list(strengths["criterion"]) == ["absorption maximum", "equal depth"]
    assert set(strengths["white"]) == {"HULL"} and set(strengths["parts"]) == {9.0}
    assert "not said" not in quality["quantity"].tolist()


def test_without_check_cards_fit_says_what_chose_the_model(studio, capsys):
    done = studio[1]
    assert done.trial.by_steps and done.model == "transport"
    show_fit(done)
    said = capsys.readouterr().out
    two_flux, transport = (done.trial.off[model] for model in ("two-flux", "transport"))
    assert f"come out CIEDE2000 {transport:.2f} off, by the two-flux model {two_flux:.2f}." in said


def test_both_models_state_strengths_against_one_paint(release):
    against = [
        set(found.tables["quality"].query("quantity == 'tinting strength'")["against"])
        for found in (release, release.by_transport)
    ]
    assert against[0] == against[1] and len(against[0]) == 1


@MODELS
def test_every_step_says_how_the_others_predict_it(studio, release, model):
    fit, _, found = of_model(studio, release, model)
    patches = found.tables["patches"]
    left = fit.left_out.set_index(["card", "patch"])["de00"]
    mine = patches.set_index(["card", "patch"])["left_out"]
    np.testing.assert_allclose(mine, left.loc[mine.index])


@MODELS
def test_residuals_are_what_was_read_less_what_was_fitted(studio, release, model):
    made, _, found = of_model(studio, release, model)
    table = found.tables["residuals"]
    assert len(table) == len(found.tables["patches"])
    for paint, fit in made.paints.items():
        left = (fit.residuals["measured"] - fit.residuals["fitted"]).to_numpy()
        mine = table.loc[table["paint"] == paint, list(SPECTRUM)].to_numpy().ravel()
        np.testing.assert_allclose(mine, left, atol=0.51e-6)


def test_rows_obey_the_json_schema(release):
    schema = json_schema()
    for table in ("quality", "residuals"):
        rows = json.loads(release.tables[table].to_json(orient="records"))
        check = Draft202012Validator({"$ref": f"#/$defs/{table}", "$defs": schema["$defs"]})
        assert not [e.message for row in rows[:40] for e in check.iter_errors(row)]


@MODELS
def test_every_picture_and_page_hides_by_the_paints_own_films(
    studio, release, tmp_path, monkeypatch, capsys, model
):
    """Dusk Violet is the paint whose films and whose ladder disagree the most by two fluxes."""
    folder, done, _ = studio
    made, _, found = of_model(studio, release, model)
    c = made.coefficients
    own = anchor(own_films(c, "DUSK", done.readings, PAINT_VIEW), model)
    expected = hiding_thickness(c, "DUSK", films=own).thickness_um
    alone = hiding_thickness(c, "DUSK").thickness_um
    assert expected > 1.5 * alone if model == "two-flux" else expected == alone
    said = figures_of(found.tables["quality"].query("paint == 'DUSK'"), {})
    assert said.hides_um == pytest.approx(expected, rel=1e-5)
    assert said.films == pytest.approx(math.exp(own.shift) if own else 1.0, rel=1e-5)
    at = ("--out", tmp_path / "a.png", "--studio", folder, "--model", model)
    one = run(monkeypatch, capsys, "plot", "DUSK", "--show", "hiding", *at)
    assert f"hides black at {expected:.0f} µm" in one.out
    assert f"{expected:.0f} µm, about" in report(found)
    ax = plot_contrasts(c, ["DUSK"], {}, anchors={"DUSK": own} if own else {})
    line = next(x for x in ax.lines if x.get_gid() == "contrast/DUSK")
    x, y = line.get_data()
    assert y[20] == pytest.approx(contrast_ratio(c, "DUSK", float(x[20]), films=own).ratio)


def test_a_paint_that_never_hides_has_words_for_it(studio):
    _, done, _ = studio
    quality = done.quality["DUSK"]
    never = replace(quality.hiding, thickness_um=np.inf, relative_uncertainty=np.inf, spreading=0.0)
    rows = quality_figures.figures(replace(quality, hiding=never))
    assert not np.isinf(rows["value"]).any()
    said = figures_of(rows, {})
    assert said.hides_um == math.inf
    assert said.hides.startswith("doesn't hide black at any thickness")


def older(folder):
    """Make a release what one of the first layout was."""
    descriptor = json.loads((folder / "datapackage.json").read_text())
    kept = {table.name: table for table in tables_of(1)}
    resources = []
    for resource in descriptor["resources"]:
        path = folder / resource["path"]
        table = kept.get(resource["name"])
        if table is None:
            path.unlink()
            continue
        columns = [column.name for column in table.columns]
        frame = pd.read_csv(path, dtype=str, keep_default_na=False)
        # Of one model, and its fit was the only one.
        if "model" in frame:
            frame = frame[frame["model"] == "two-flux"]
        if table.name in ("nuisances", "patches", "checks"):
            frame = frame[frame["fit"] == "1"]
        frame[columns].to_csv(path, index=False, lineterminator="\n")
        resource["schema"] |= {
            "fields": [f for f in resource["schema"]["fields"] if f["name"] in columns],
            "primaryKey": list(table.key),
        }
        if not table.key:
            del resource["schema"]["primaryKey"]
        resources.append(resource)
    descriptor |= {"layout": 1, "resources": resources}
    (folder / "datapackage.json").write_text(json.dumps(descriptor))
    schema = json.dumps(json_schema(1), indent=1, ensure_ascii=False) + "\n"
    (folder / "schema.json").write_text(schema)
    seal(folder)


def test_a_release_of_the_first_layout_is_read_and_verified(studio, tmp_path):
    folder = tmp_path / studio[2].name
    shutil.copytree(studio[2].folder, folder)
    older(folder)
    assert not (folder / "quality.csv").exists()
    assert verify_release(folder) == []
    found = load_release(folder)
    assert found.tables["quality"].empty and found.tables["residuals"].empty
    assert found.tables["patches"]["left_out"].isna().all()
    page = report(found)
    assert "hides black at" in page


def test_an_adopted_paint_keeps_its_figures(studio, release, tmp_path):
    with Store.open(tmp_path / "other") as store:
        adopt(store, studio[2].archive, rename={"HULL": "MAST", "ANCHOR": "PIER"})
        made = publish(store, force="adopted, for the test")
    found = load_release(made.archive).tables["quality"].set_index(["paint", "quantity"])
    theirs = release.tables["quality"].set_index(["paint", "quantity"])
    for quantity in ("hiding thickness", "hue turn", "contrast ratio"):
        mine, own = found.loc[[("PIER", quantity)]], theirs.loc[[("ANCHOR", quantity)]]
        assert mine["value"].iloc[0] == own["value"].iloc[0]
        assert mine["words"].iloc[0] == own["words"].iloc[0]
    strength = found.loc[[("DUSK", "tinting strength")]].iloc[0]
    assert (strength["against"], strength["white"]) in {("PIER", "MAST"), ("DUSK", "MAST")}
    assert "9 parts of MAST" in strength["words"] and "HULL" not in strength["words"]


def test_fits_from_before_have_no_figures(tmp_path):
    with Store.open(tmp_path) as store:
        made = publish(fill(store))
    found = load_release(made.folder)
    assert found.tables["quality"].empty
    assert len(found.tables["residuals"]) == 2
    assert verify_release(made.folder) == []
