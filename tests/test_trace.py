"""One number walked back, from a studio and from a release, to what was weighed and read."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.care import trace as tracing
from tintladder.database.commands.trace import _sure
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import fill, joint_fit, ladder, session


@pytest.fixture
def studio(tmp_path):
    with Store.open(tmp_path) as store:
        fill(store)
        yield store


def test_a_number_goes_back_to_its_readings(studio):
    found = tracing.trace(tracing.of_store(studio, "keel"), 550.0)
    c, read = joint_fit().coefficients, session(ladder()).spectra
    value = found["coefficient"]
    assert (value["K"], value["S"]) == (c.k[1, 17], c.s[1, 17])
    assert value["uncertainty_K"] == pytest.approx(c.uncertainty[0][1, 17])
    parts = value["uncertainty_parts"]["S"].values()
    assert sum(part**2 for part in parts) == pytest.approx(value["uncertainty_S"] ** 2)
    assert found["fit"]["number"] == 1
    rows = {row["patch"]: row for row in found["readings"]}
    assert "white/black" not in rows, "a step without the paint tells nothing of it"
    tenth = rows["tenth/black"]
    assert tenth["masses_g"] == {"HULL": 8.0}
    assert (tenth["taken_from"], tenth["taken_g"]) == ("half", 2.0)
    raw = read.values[read.labels.index("tenth/black")][read.wavelengths == 550.0]
    assert tenth["raw"] == raw.tolist() and tenth["corrected"] == raw[0]
    bare = rows["bare/black"]
    assert len(bare["raw"]) == 2 and "mean of 2" in bare["correction"]
    assert tenth["device"] == "Bench reader (invented)" and tenth["card_date"] == "2026-03-02"
    assert rows["tenth/white"]["fit_de00"] == 1.25 and rows["tenth/white"]["weight"] == 0.5


def test_studio_and_release_tell_the_same(studio):
    release = load_release(publish(studio).archive)
    here = tracing.trace(tracing.of_store(studio, "KEEL"), 400)
    there = tracing.trace(tracing.of_release(release, "keel"), 400)
    assert there["place"] == "release 1.0.0"
    here.pop("place"), there.pop("place")
    parts = [side["coefficient"].pop("uncertainty_parts") for side in (here, there)]
    assert here == there
    for name in "KS":
        np.testing.assert_allclose(*(list(part[name].values()) for part in parts), rtol=1e-12)


def test_what_cannot_be_traced(studio):
    origin = tracing.of_store(studio, "KEEL")
    for wavelength in (555.0, 900.0):
        with pytest.raises(InputError, match="a wavelength of its grid: 380 to 730 nm by 10"):
            tracing.trace(origin, wavelength)
    with pytest.raises(InputError, match="it has no paint RUDDER"):
        tracing.of_release(load_release(publish(studio).folder), "RUDDER")


def test_a_wavelength_that_was_never_read(studio):
    found = tracing.trace(tracing.of_store(studio, "KEEL"), 730)
    assert found["coefficient"]["K"] is None and found["readings"][0]["raw"][0] is not None


def test_trace_from_the_command_line(monkeypatch, capsys, studio):
    tool = partial(run, monkeypatch, capsys)
    made, at = publish(studio), ("--studio", studio.studio.folder)
    said = tool("trace", "keel", "550", *at)
    assert said.status == 0
    for word in ("KEEL at 550 nm", "fit 1", "8 HULL + 2 of half", "Bench reader", "SHA-256"):
        assert word in said.out
    packed = tool("trace", "KEEL", 550, "--release", made.archive, "--json", *at).json
    assert packed["readings"] == tool("trace", "KEEL", 550, "--json", *at).json["readings"]
    assert tool("trace", "KEEL", 551, *at).status == 2


@pytest.mark.parametrize(
    ("value", "uncertainty", "said"),
    [
        # JCGM 100:2008 (GUM), 7.2.2 and 7.2.6, has the last three; from memory.
        (73.3, 5.819, "73.3 ± 5.8"),
        (0.123456, 0.00996, "0.123 ± 0.010"),
        (12345.6, 567.8, "12350 ± 570"),
        (4.0, 0.0, "4 ± 0"),
        (10.05762, 0.027, "10.058 ± 0.027"),
        (100.02147, 0.00035, "100.02147 ± 0.00035"),
        (100.02147, 0.00079, "100.02147 ± 0.00079"),
    ],
)
def test_a_value_has_the_digits_of_its_uncertainty(value, uncertainty, said):
    assert _sure(value, uncertainty) == said
