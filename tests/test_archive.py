"""What any version so far left behind still opens, migrates, fits, publishes and verifies."""

from __future__ import annotations

import zipfile

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.care.integrity import check_studio
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.refit import refit_release
from tintladder.database.releases.tables.schema import LAYOUT
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.schema import HEAD
from tintladder.database.store.store import Store

from .archive import RELEASES, STUDIOS

UNSETTLED = "release-1a"
"""A row a wavelength, as nothing published since has it."""


def test_every_schema_and_every_layout_is_kept():
    """A new one is added by ``python -m tests.archive``."""
    assert [path.stem for path in STUDIOS] == [f"studio-{n:04}" for n in range(1, int(HEAD) + 1)]
    assert {int(path.stem[8:-1]) for path in RELEASES} == set(range(1, LAYOUT + 1))
    assert max(path.stat().st_size for path in (*STUDIOS, *RELEASES)) < 100_000


@pytest.mark.parametrize("kept", STUDIOS, ids=lambda path: path.stem)
def test_a_studio_of_any_schema_goes_on(kept, tmp_path):
    with zipfile.ZipFile(kept) as packed:
        packed.extractall(tmp_path)
    with Store.open(tmp_path) as store:
        assert [found.words for found in check_studio(store) if found.broken] == []
        before = releases(store)
        fit_studio(store)
        made = publish(store, force="two cards alone")
        assert [row.version for row in before] == ["1.0.0"] and made.version == "1.1.0"
        assert verify_release(made.archive, made.digest) == []
        assert all(fit.same for fit in refit_release(load_release(made.archive)))
        assert [found.words for found in check_studio(store) if found.broken] == []


@pytest.mark.parametrize(
    "kept", [p for p in RELEASES if p.stem != UNSETTLED], ids=lambda path: path.stem
)
def test_a_release_of_any_layout_verifies(kept):
    assert verify_release(kept) == []
    release = load_release(kept)
    assert str(release.descriptor["layout"]) == kept.stem[8:-1]
    assert release.coefficients.paints == ("ANCHOR", "HULL")
    assert all(not fit.why_not for fit in refit_release(release))


@pytest.mark.parametrize("act", [verify_release, load_release])
def test_a_form_that_is_read_no_more_is_refused_in_one_line(act):
    (kept,) = [path for path in RELEASES if path.stem == UNSETTLED]
    try:
        (said,) = act(kept)
    except InputError as error:
        said = f"{error.where}: {error.expected}"
    assert said == "datapackage.json: paints.csv isn't a table of layout 1 as described"
