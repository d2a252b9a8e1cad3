"""What changed between releases, in figures against hand-worked ones, and as a picture."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import colour
import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.surface import Surface
from tintladder.database.pictures.compared import comparison_figure, plot_comparison
from tintladder.database.releases.compare import Numbers, compare, of_release, of_store
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import coefficients, fill, joint_fit
from .test_release_gates import moved

PAIR = ("HULL", "KEEL")


def numbers(name, paints=PAIR, **changes):
    return Numbers(name, coefficients(paints, **changes), {"KEEL": "HULL"})


def test_nothing_changed():
    same = compare(numbers("1.0.0"), numbers("1.1.0"))
    assert (same.added, same.removed, same.refitted) == ((), (), ())
    assert same.table["k_change"].max() == 0 and same.table["tint_de00"].iloc[1] == 0
    assert np.isnan(same.table["tint_de00"].iloc[0]), "a white has no tint of itself"


def test_added_and_removed():
    found = compare(numbers("a"), numbers("b", ("KEEL", "ROPE")))
    assert (found.added, found.removed) == (("ROPE",), ("HULL",))
    assert np.isnan(found.table.set_index("paint")["tint_de00"]["KEEL"])


def test_the_largest_change_stands_against_the_larger_uncertainty():
    old = numbers("a")
    k, at = old.coefficients.k.copy(), 17
    k[1, at] += 3 * old.coefficients.uncertainty[0][1, at]
    k[1, 3] += 2.9 * old.coefficients.uncertainty[0][1, 3]
    found = compare(old, replace(old, coefficients=replace(old.coefficients, k=k)))
    assert found.refitted == ("KEEL",)
    row = found.table.set_index("paint").loc["KEEL"]
    assert row["k_change"] == pytest.approx(3.0)
    assert row["k_nm"] == old.coefficients.wavelengths[at] and row["s_change"] == 0


def test_colours_against_colour_science():
    """An opaque masstone and a tint of 1 part in 5, worked out by hand and with colour-science."""
    flat = {"surface": Surface.of("45:0"), "dry_volume": np.array([0.30, 0.40])}
    one, other = numbers("a", seed=1, **flat), numbers("b", seed=2, **flat)
    row = compare(one, other).table.set_index("paint").loc["KEEL"]
    labs = {"masstone_de00": [], "tint_de00": []}
    for side in (one, other):
        c = side.coefficients
        share = 0.40 / (0.40 + 4 * 0.30)
        mixes = {
            "masstone_de00": (c.k[1], c.s[1]),
            "tint_de00": [share * of[1] + (1 - share) * of[0] for of in (c.k, c.s)],
        }
        for name, (k, s) in mixes.items():
            inside = 1 + k / s - np.sqrt((k / s) ** 2 + 2 * k / s)
            surface = c.surface
            seen = surface.tau * inside / (1 - surface.k2 * inside)
            read = ~np.isnan(seen)
            sd = colour.SpectralDistribution(seen[read], c.wavelengths[read])
            xyz = colour.sd_to_XYZ(
                sd, illuminant=colour.SDS_ILLUMINANTS["D50"], method="ASTM E308"
            ) / 100  # fmt: skip
            white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
            labs[name].append(colour.XYZ_to_Lab(xyz, white))
    for name, (a, b) in labs.items():
        assert row[name] == pytest.approx(colour.delta_E(a, b, method="CIE 2000"), abs=0.05)


def test_other_scales_are_refused_and_other_surfaces_said():
    with pytest.raises(InputError, match="absolute against relative to HULL"):
        compare(numbers("a"), numbers("b", scale="relative to HULL"))
    assert compare(numbers("a"), numbers("b", surface=Surface.of("di:8"))).surface_changed


def test_release_and_studio_say_the_same(tmp_path):
    with Store.open(tmp_path) as store:
        made = publish(fill(store))
        now, then = of_store(store), of_release(load_release(made.archive))
    assert now.whites == then.whites == {"KEEL": "HULL"}
    for a, b in zip(now.coefficients.uncertainty, then.coefficients.uncertainty, strict=True):
        np.testing.assert_allclose(a, b, rtol=1e-12)
    assert compare(then, now).refitted == ()


def test_the_picture_shows_what_the_table_says():
    found = compare(numbers("1.0.0"), numbers("1.1.0", seed=2))
    ax = plot_comparison(found)
    discs = {line.get_label(): line for line in ax.get_lines()}
    expected = found.table.sort_values("masstone_de00", ascending=False)["masstone_de00"]
    np.testing.assert_allclose(sorted(discs["masstone"].get_xdata()), sorted(expected))
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert sorted(labels) == sorted(found.refitted)
    assert plot_comparison(found, ax) is ax
    nothing = plot_comparison(compare(numbers("a"), numbers("b")))
    assert "no paint was refitted" in [text.get_text() for text in nothing.texts]


def test_the_picture_says_what_it_rests_on():
    figure = comparison_figure(compare(numbers("1.0.0"), numbers("1.1.0", seed=2)))
    said = " ".join(text.get_text() for text in figure.texts)
    for fact in ("From 1.0.0 to 1.1.0", "two-flux", "films that hide", "D50/2°", "95 %"):
        assert fact in " ".join(said.split()), fact


def test_compare_from_the_command_line(monkeypatch, capsys, tmp_path):
    tool = partial(run, monkeypatch, capsys)
    monkeypatch.chdir(tmp_path)
    with Store.open(tmp_path) as store:
        made = publish(fill(store))
        store.fits.record(moved(3.0), store.readings.all())
    said = tool("compare", "1.0.0", "now", "--picture", "moved.png")
    assert said.status == 0 and "KEEL" in said.out and "HULL" not in said.out
    assert (tmp_path / "moved.png").stat().st_size > 10_000
    found = tool("compare", made.archive, "--json").json
    assert found["refitted"] == ["KEEL"] and found["paints"][0]["tint_de00"] is None
    assert tool("compare", "3.0.0", "now").status == 2
    assert tool("compare", "1.0.0", "now", "--picture", "moved.jpg").status == 2
    with Store.open(tmp_path) as store:
        store.fits.record(joint_fit(), store.readings.all())
    assert "no paint that is in both was refitted" in tool("compare", "1.0.0").out
