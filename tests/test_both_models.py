"""What commands, gates and releases say of paints that two models were fitted to, or one alone."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.judging.quality import LOOK_AT_STEP
from tintladder.database.fits.out_of_date import outdated_in_use
from tintladder.database.releases.compare import compare, of_release, of_store
from tintladder.database.releases.load import load_release
from tintladder.database.releases.lookup import load_paint
from tintladder.database.releases.publish import plan, publish
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import fill, joint_fit, ladder
from .test_model_choice import by_transport, checked, newest
from .test_store import assert_same

RELEASES = Path(__file__).parent / "data" / "releases"
SECOND = RELEASES / "second-layout.zip"


def record(store, two_flux=None, transport=None):
    """Fits by both models, as a run leaves them."""
    store.fits.record(two_flux or joint_fit(), store.readings.all())
    store.fits.record(transport or by_transport(joint_fit()), store.readings.all())
    return store


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "both") as opened:
        yield record(fill(opened))


@pytest.fixture
def plain(tmp_path):
    """A studio without a fit by transport."""
    with Store.open(tmp_path / "plain") as opened:
        yield fill(opened)


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return partial(run, monkeypatch, capsys)


def more_absorbing(fit, factor, offset=0.0):
    """The same with KEEL absorbing more, and its surface reflecting so much more."""
    c = fit.coefficients
    k, own = c.k.copy(), c.surface_offset.copy()
    k[1] *= factor
    own[1] = offset
    whole = replace(c, k=k, surface_offset=own)
    return replace(
        fit,
        coefficients=whole,
        paints={p: replace(f, coefficients=whole.select(f.coefficients.paints))
                for p, f in fit.paints.items()},
    )  # fmt: skip


def test_a_fit_is_that_of_the_model_its_mixes_are_calculated_by(store):
    assert store.fits.of("KEEL").coefficients.model == "transport"
    assert store.fits.of("KEEL", "two-flux").coefficients.model == "two-flux"
    two_flux, transport = newest(store)
    checked(store, two_flux, 0.1)
    checked(store, transport, 0.2)
    assert store.fits.of("KEEL").coefficients.model == "two-flux"


def test_trace_names_what_it_traces(store, tool):
    store.fits.record(by_transport(more_absorbing(joint_fit(), 1.0, -0.002)), store.readings.all())
    place = publish(store).archive
    for at in (("--studio", store.studio.folder), ("--release", place)):
        said = tool("trace", "keel", 550, *at)
        assert (
            "radiative-transfer" in said.out and "mu_s' =" in said.out and "  K =" not in said.out
        )
        assert "surface reflects 0.0020 less" in said.out
        assert "two-flux" in tool("trace", "keel", 550, "--model", "two-flux", *at).out
        value = tool("trace", "keel", 550, "--json", *at).json["coefficient"]
        assert (value["model"], value["surface_offset"]) == ("transport", -0.002)


@pytest.mark.parametrize(
    "command",
    ["trace KEEL 550", "plot KEEL", "plot --show reach", "export csv", "export cgats KEEL",
     "compare now now"],
)  # fmt: skip
def test_without_a_fit_by_transport_one_line_says_so(plain, tool, tmp_path, command):
    said = tool(*command.split(), "--model", "transport", "--studio", plain.studio.folder)
    assert said.status == 2 and said.out == ""
    (line,) = said.err.strip().splitlines()
    assert "fit by the radiative-transfer model" in line and "leave the model out" in line
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plain"]


@pytest.mark.parametrize("command", ["trace KEEL 550", "plot KEEL", "export csv", "compare now"])
def test_a_model_that_isnt_known_is_refused(plain, tool, command):
    said = tool(*command.split(), "--model", "three", "--studio", plain.studio.folder)
    assert said.status == 2 and "two-flux" in said.err


def test_a_release_of_one_model_is_traced_and_compared_by_it(tool, tmp_path):
    first = RELEASES / "first-layout.zip"
    assert "by the two-flux model" in tool("trace", "KEEL", 550, "--release", first).out
    lacks = tool("trace", "KEEL", 550, "--release", first, "--model", "transport")
    assert lacks.status == 2 and "no fit by the radiative-transfer" in lacks.err
    lacks = tool("compare", first, first, "--model", "transport")
    assert lacks.status == 2 and "no paint in it has a fit by the radiative-transfer" in lacks.err
    old, new = (of_release(load_release(place)) for place in (first, SECOND))
    assert new.calculated_by == "transport" and compare(old, new).model == "two-flux"
    assert compare(new, new).model == "transport"


def test_older_releases_tell_their_quality_by_two_fluxes():
    release = load_release(SECOND)
    assert not release.tables["quality"].empty and not release.tables["residuals"].empty
    beside = release.by_transport
    assert all(beside.tables[name].empty for name in ("quality", "residuals", "patches"))
    assert not beside.coefficients.surface_offset.any()


def test_compare_goes_by_the_model_that_mixes_are_calculated_by(store, tool):
    made = publish(store)
    record(store, more_absorbing(joint_fit(), 1.1), by_transport(more_absorbing(joint_fit(), 3.0)))
    now, then = of_store(store), of_release(load_release(made.folder))
    moved = {model: compare(then, now, model).table for model in ("two-flux", "transport")}
    far = {model: table.set_index("paint")["tint_de00"]["KEEL"] for model, table in moved.items()}
    assert far["transport"] > 2 * far["two-flux"] > 0
    pd.testing.assert_frame_equal(compare(then, now).table, moved["transport"])
    at = ("--studio", store.studio.folder)
    said = tool("compare", "1.0.0", *at)
    assert "mu_a moved" in said.out and f"{far['transport']:.2f}" in said.out
    said = tool("compare", "1.0.0", "--model", "two-flux", *at)
    assert "K moved" in said.out and "Calculated by the two-flux model" in said.out


def test_paints_without_a_fit_by_the_model_asked_for_are_named(store, tool):
    publish(store)
    store.fits.record(joint_fit(("KEEL",), 9), store.readings.all())
    said = tool("compare", "1.0.0", "--model", "transport", "--studio", store.studio.folder)
    assert "Nothing is said of KEEL" in said.out and "Removed" not in said.out
    said = tool("compare", "1.0.0", "--studio", store.studio.folder)
    assert "Calculated by the two-flux model" in said.out


def test_export_writes_what_other_programs_calculate_with(store, tool):
    store.fits.record(by_transport(more_absorbing(joint_fit(), 1.0, -0.002)), store.readings.all())
    made, at = publish(store), ("--studio", store.studio.folder)
    assert tool("export", "csv", "--out", "ks.csv", *at).status == 0
    assert {"K", "S"} <= set(pd.read_csv("ks.csv").columns)
    for source in ("now", made.archive):
        ask = ("export", "csv", "KEEL", "--model", "transport", "--from", source)
        said = tool(*ask, "--out", "mu.csv", "--json", *at).json
        table = pd.read_csv("mu.csv")
        assert said["model"] == "transport" and not {"K", "S"} & set(table.columns)
        mine = table[table["paint"] == "KEEL"]
        kept = store.fits.coefficients(["KEEL"], "transport")
        np.testing.assert_array_equal(mine["mu_a"], kept.k[0])
        np.testing.assert_array_equal(mine["mu_s_prime"], kept.s[0])
        assert set(mine["surface_offset"]) == {-0.002}
        Path("mu.csv").unlink()
    assert tool("export", "cgats", "--out", "l.txt", "--json", *at).json["model"] == "transport"
    assert "by the radiative-transfer model" in Path("l.txt").read_text()
    refused = tool("export", "csv", "--readings", "keel-1", "--model", "transport", *at)
    assert refused.status == 2 and "readings are of no model" in refused.err


def judged(fit, verdict):
    paints = {**fit.paints, "KEEL": replace(fit.paints["KEEL"], verdict=verdict)}
    return replace(fit, paints=paints)


def told(store):
    return [(gate.gate, gate.stops, gate.words) for gate in plan(store).gates]


def test_the_verdict_that_stops_is_of_the_model_in_use(store):
    record(store, two_flux=judged(joint_fit(), LOOK_AT_STEP))
    (two_flux,) = [gate for gate in told(store) if gate[0] == "verdict"]
    assert not two_flux[1] and "by the two-flux model, which mixes aren't calculated" in two_flux[2]
    record(store, transport=by_transport(judged(joint_fit(), LOOK_AT_STEP)))
    (transport,) = [gate for gate in told(store) if gate[0] == "verdict"]
    assert transport[1] and transport[2].startswith("its fit is judged")


@pytest.mark.parametrize(
    "two_flux, transport, stops",
    [(2.5, 0.6, [False]), (0.6, 2.5, [False]), (2.6, 2.5, [True, False])],
)
def test_held_out_mixtures_stop_by_the_model_in_use(store, two_flux, transport, stops):
    for fit, off in zip(newest(store), (two_flux, transport), strict=True):
        checked(store, fit, off, off)
    found = [gate for gate in told(store) if gate[0] == "held-out"]
    assert [gate[1] for gate in found] == stops
    assert " by the two-flux model by " in found[-1][2] or two_flux < transport


def test_drift_is_told_by_the_model_that_moved_most(store):
    publish(store)
    record(store, transport=by_transport(more_absorbing(joint_fit(), 3.0)))
    (drift,) = [gate for gate in told(store) if gate[0] == "drift"]
    assert drift[1] and "radiative-transfer" in drift[2]
    made = publish(store, force="for the test")
    assert len(load_release(made.folder).by_transport.tables["fits"]) == 1


def test_what_is_out_of_date_is_said_once(store):
    store.cards.add(replace(ladder(), note="weighed again"), "other text")
    with store.snapshot() as session:
        (old,) = outdated_in_use(session)
    assert "a card that was corrected since" in old.why
    known = store.fits.coefficients(["HULL"], "transport")
    store.fits.record(joint_fit(), store.readings.all())
    store.fits.record(by_transport(joint_fit(("HULL",))), store.readings.all())
    keel = by_transport(joint_fit(("KEEL",)))
    store.fits.record(keel, store.readings.all(), known=known)
    store.fits.record(by_transport(joint_fit(("HULL",))), store.readings.all())
    with store.snapshot() as session:
        (old,) = outdated_in_use(session)
    assert "was fitted against HULL before that was fitted anew" in old.why


def test_the_words_beside_a_picture_say_which_model_it_is_of(store, tool):
    ask = ("plot", "KEEL", "HULL", "--show", "tint", "--out", "keel.svg", "--json")
    at = ("--studio", store.studio.folder)
    for model in ("transport", "two-flux"):
        said = tool(*ask, "--model", model, *at).json
        assert said["model"] == model and said["calculated"].endswith("as you asked.")
    assert tool(*ask, *at).json["calculated"].endswith("radiative-transfer model.")


def test_current_coefficients_refuse_a_model_that_a_paint_lacks(plain):
    with pytest.raises(InputError, match="KEEL: has no fit by the radiative-transfer model"):
        plain.fits.coefficients(["KEEL"], "transport")
    with pytest.raises(InputError, match="BRASS: has no fit yet"):
        plain.fits.coefficients(["BRASS"], "transport")


def test_one_paint_is_looked_up_by_either_model(store, plain):
    store.fits.record(by_transport(more_absorbing(joint_fit(), 1.5, -0.002)), store.readings.all())
    made = publish(store)
    release = load_release(made.folder)
    for model, whole in (("two-flux", release), ("transport", release.by_transport)):
        for paint in ("HULL", "KEEL"):
            assert_same(load_paint(made.folder, paint, model), whole.select([paint]))
    with pytest.raises(InputError, match="KEEL: has no fit by the radiative-transfer"):
        load_paint(publish(plain).folder, "KEEL", "transport")
