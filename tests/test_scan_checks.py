"""From a printed card of mixtures, scanned, to what a release says of its fits.

The pictures are rendered from invented paints; see `tests.lab.scans`.
"""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import select
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.spectra import GRID, Spectra
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.cards.filling import fill, filling, parse_day
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.mixtures import print_mixtures
from tintladder.database.cards.printing import WantedCard
from tintladder.database.cards.progress import cards_progress
from tintladder.database.cards.scanning import read_card_picture, take_picture
from tintladder.database.care.integrity import check_studio
from tintladder.database.fits.check_mixtures import (
    ScannedCheck,
    check_cards,
    predicted_checks,
    told_by_scan,
    unjudged,
)
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.paper.report.page import report
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import plan, publish
from tintladder.database.releases.refit import refit_release
from tintladder.database.releases.verify import verify_release
from tintladder.database.store import schema
from tintladder.database.store.store import Store

from .command import run
from .lab.render import Colours, Pose, render, save
from .lab.scans import DEMO_SCANNER, DPI, SEED, grey, painted, truth

BOATYARD = Path(__file__).parents[1] / "measurements" / "boatyard"
SCANS = BOATYARD / "scans"
CARD = "mixtures-1"


def picture(folder: Path, seed: int = SEED) -> Path:
    """Paint the printed card as it says, and scan it."""
    card = read_card(folder / "cards" / f"{CARD}.toml")
    layout = read_layout(card.layout or "")
    colours = Colours(DEMO_SCANNER, painted(card, layout, SEED), grey())
    file = folder / f"{CARD}.png"
    made = render(layout, colours, DEMO_SCANNER, Pose(DPI, turn=1.0), seed, dirt=0.5, glare=1)
    save(made, str(file), DPI)
    return file


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """A white and an earth measured, a blue scanned, and a card of their mixtures scanned."""
    folder = tmp_path_factory.mktemp("template") / "studio"
    with Store.open(folder) as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / "anchor-blue-quick.toml"])
        characterise_device(store, "flatbed", SCANS / "target.png", SCANS / "target.txt")
        take_in(store, [SCANS / "anchor-blue-quick.png"])
        for name in ("hull-white", "rope-earth"):
            take_in(store, [BOATYARD / "cards" / f"{name}.toml"])
            take_in(store, [BOATYARD / "readings" / f"{name}.txt"])
        print_mixtures(store, WantedCard(("ANCHOR", "ROPE"), measure_of("0.01"), layout="quick"))
        fill(store, filling(store, CARD), {}, parse_day("2026-05-04"))
        take_in(store, [picture(folder)])
    return folder


@pytest.fixture(scope="module")
def judged(template, tmp_path_factory):
    """The same, fitted; copied, never written."""
    folder = tmp_path_factory.mktemp("judged") / "studio"
    shutil.copytree(template, folder)
    with Store.open(folder) as store:
        return folder, fit_studio(store)


@pytest.fixture
def store(template, tmp_path):
    """Not fitted yet."""
    folder = tmp_path / "studio"
    shutil.copytree(template, folder)
    with Store.open(folder) as opened:
        yield opened


@pytest.fixture
def fitted(judged, tmp_path):
    folder = tmp_path / "studio"
    shutil.copytree(judged[0], folder)
    with Store.open(folder) as opened:
        yield opened


def checks(store):
    with store.snapshot() as session:
        return [
            (row.patch, row.de00, row.calibration_id, row.scan_error)
            for row in session.scalars(select(schema.Check).order_by(schema.Check.id))
        ]


def test_a_printed_card_that_is_scanned_judges_the_fit(judged, fitted):
    _, done = judged
    assert done.judged.patches["card"].unique().tolist() == [CARD]
    assert len(done.judged.scan_errors) == len(done.judged.patches) == 12
    kept = checks(fitted)
    assert [patch for patch, *_ in kept[:2]] == ["mix 1/black", "mix 1/white"]
    flatbed = fitted.scanners.find("flatbed")
    assert {calibration for _, _, calibration, _ in kept} == {flatbed.calibration}
    # By either model; transport, in use, is told.
    assert len(kept) == 24 and done.model == "transport"
    kept = kept[:12]
    np.testing.assert_allclose([de for _, de, _, _ in kept], done.judged.patches["de00"])
    np.testing.assert_allclose([error for *_, error in kept], done.judged.scan_errors)
    (card,) = [each for each in cards_progress(fitted) if each.name == CARD]
    assert card.fitted and card.purpose == "check"
    assert not any(CARD in finding.words for finding in check_studio(fitted))


def test_what_it_reads_of_a_mixture_is_near_what_was_painted(judged, fitted):
    """Through picture, dirt, stray light and all, within what it says of itself."""
    card = fitted.cards.find(CARD)
    layout = read_layout(card.layout or "")
    true = truth(card, layout, painted(card, layout, SEED))
    table = judged[1].judged.telling
    spectra = np.array(
        [true[f"{s}/{o}"] for s, o in zip(table["step"], table["over"], strict=True)]
    )
    off = ciede2000(table[["l", "a", "b"]].to_numpy(), lab(spectra))
    share = off / table["scan_error"].to_numpy()
    assert len(table) and np.sqrt((share**2).mean()) < 1.5


def test_most_of_its_patches_tell(judged):
    assert len(judged[1].judged.telling) >= 8


def test_no_fit_ever_sees_it(fitted):
    with fitted.snapshot() as session:
        rows = session.scalars(select(schema.Fit)).all()
        used = {item["scan"] for row in rows for item in row.inputs["scans"]}
    (scan,) = fitted.scans.all("check")
    assert used and scan.scan not in used


def test_a_release_says_that_a_scan_judged_it(fitted):
    made = publish(fitted, force="two fluxes are off without white")
    assert verify_release(made.archive) == []
    loaded = load_release(made.archive)
    table = loaded.tables["checks"]
    assert set(table["scanner"]) == {"flatbed"} and (table["scan_error"] > 0).all()
    assert CARD in set(loaded.tables["scans"]["card"])
    assert all(refit.holds for refit in refit_release(loaded))
    page = report(loaded)
    assert page.count("from a scan") >= 6
    assert "of these patches were scanned, not measured" in page and "±" in page
    assert re.search(r"scanned at 1[01]\d dpi, as 45:0", page) and "not packed here" not in page
    said = json.loads((made.folder / "datapackage.json").read_text())["gates"]["findings"]
    assert any("no difference below its own error" in finding["line"] for finding in said)


def read_by_instrument(store) -> Path:
    """The card's patches as a 45:0 instrument reads them."""
    card = store.cards.find(CARD)
    layout = read_layout(card.layout or "")
    true = truth(card, layout, painted(card, layout, SEED))
    values = np.array([true[patch] for patch in card.patches])
    session = Session(
        Spectra.from_values(GRID, values, card.patches),
        file=f"{CARD}.txt",
        sha256="",
        format="CGATS.17 text",
        unit="fraction",
        geometry="45:0",
        specular="excluded",
    )
    file = Path(store.studio.folder / f"{CARD}.txt")
    file.write_text(format_cgats(session))
    return file


def test_what_an_instrument_reads_counts_instead(store):
    (before,) = check_cards(store)
    take_in(store, [read_by_instrument(store)])
    (after,) = check_cards(store)
    assert isinstance(before, ScannedCheck) and not isinstance(after, ScannedCheck)
    done = fit_studio(store)
    assert done.judged.scan_errors == [] and len(done.judged.patches) == 12
    assert {(calibration, error) for *_, calibration, error in checks(store)} == {(None, None)}


def test_the_surest_device_tells(store):
    one = store.scanners.find("flatbed")
    sensors = one.device.sensors
    worse = replace(sensors, factors=sensors.factors * 10)
    store.scanners.add(replace(one.device, name="worse", sensors=worse), {})
    again = picture(store.studio.folder, SEED + 1)
    take_picture(store, read_card_picture(store, again, device="worse"))
    (found,) = check_cards(store)
    assert found.calibration == one.calibration
    # Two scans by one device are one check.
    take_picture(store, read_card_picture(store, again, device="flatbed"))
    (found,) = check_cards(store)
    assert len(found.scans) == 2
    assert len(predicted_checks(fitted_now(store), [found]).patches) == 12


def fitted_now(store):
    fit_studio(store)
    return store.fits.coefficients(["ANCHOR", "HULL", "ROPE"])


def test_a_scan_that_can_judge_nothing_says_why(store):
    one = store.scanners.find("flatbed")
    assert unjudged(store) == {}
    store.scanners.add(replace(one.device, misfit=(9.0, 9.0, 9.0)), {})
    read = read_card_picture(store, store.studio.folder / f"{CARD}.png")
    take_picture(store, read)
    assert check_cards(store) == []
    assert "sensitivities of its scanner" in unjudged(store)[CARD]
    done = fit_studio(store)
    assert done.judged.patches.empty and CARD in done.unfit


def test_an_undone_scan_judges_nothing(store):
    store.imports.undo()
    assert check_cards(store) == []
    assert fit_studio(store).judged.patches.empty


def test_fit_and_publish_say_how_far_a_scan_can_be_believed(judged, tmp_path, monkeypatch, capsys):
    folder = tmp_path / "studio"
    shutil.copytree(judged[0], folder)
    said = run(monkeypatch, capsys, "fit", "--studio", folder)
    assert said.status == 0, said.err
    assert "Mixtures that the fit never saw (" in said.out
    assert "scanned, not measured: a scan tells no difference below its own error" in said.out
    told = run(monkeypatch, capsys, "fit", "--json", "--studio", folder).json
    assert told["heldout_scanned"] == 12 and told["heldout_scan_error"] > 0.1
    shown = run(monkeypatch, capsys, "publish", "--preview", "--studio", folder)
    assert "its three channels don't see" in shown.out


def test_words_for_none_for_one_and_for_what_tells_nothing():
    assert told_by_scan([]) == []
    (one,) = told_by_scan([0.6])
    assert one.startswith("of held-out mixtures 1 patch was scanned") and "CIEDE2000 0.6" in one
    _, blind = told_by_scan([0.6, 0.7, MOST_SCAN_ERROR + 0.1])
    assert "1 patch was scanned less surely than CIEDE2000 2" in blind


def test_what_tells_nothing_neither_stops_a_release_nor_speaks_for_it(fitted):
    with fitted.transaction() as session:
        for row in session.scalars(select(schema.Check)):
            row.de00, row.scan_error = 30.0, 2 * MOST_SCAN_ERROR
    found = [gate for gate in plan(fitted).gates if gate.gate == "held-out"]
    assert not any(gate.stops for gate in found)
    assert any("held out was read surely enough" in gate.words for gate in found)
    page = report(load_release(publish(fitted).archive))
    assert "not known" in page and "count for nothing" in page
    assert "mixtures, each predicted by a fit that had not seen it, the difference" not in page
