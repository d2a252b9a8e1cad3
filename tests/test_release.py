"""Releases: whole, never changed, read back to the last digit, and caught when tampered with."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import zipfile

import jsonschema
import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database import release as release_module
from tintladder.database.release import publish, releases
from tintladder.database.release_descriptor import json_schema
from tintladder.database.release_files import Archive, sums
from tintladder.database.release_load import load_release
from tintladder.database.release_schema import TABLES
from tintladder.database.store import Store
from tintladder.database.verify import verify_release

from .studio_fixtures import PAINTS_TOML, joint_fit, ladder, named_by_fit, session
from .test_store import assert_same

WHEN = "2026-03-05T10:00:00Z"
DRIFTS = "drawn at random, so it can't but drift"


def fill(store):
    """A studio with a fit of two paints and a mixture that it never saw."""
    store.import_paints(PAINTS_TOML)
    store.add_card(ladder(), "the card's own text")
    store.add_session("keel-1", session(ladder()))
    store.add_card(ladder("held-out", purpose="check"), "another card")
    store.add_session("held-out", session(ladder("held-out"), 2))
    fit = store.record_fit(joint_fit(), store.card_readings())
    store.record_checks(
        fit,
        pd.DataFrame({"card": ["held-out"], "step": ["half"], "over": ["black"], "de00": [0.7]}),
    )
    return store


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        yield fill(opened)


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    with Store.open(tmp_path_factory.mktemp("published")) as store:
        return publish(fill(store), note="first, of invented paints", created=WHEN)


@pytest.fixture
def copy(published, tmp_path):
    """A release that a test may spoil."""
    folder = tmp_path / published.name
    shutil.copytree(published.folder, folder)
    return folder


def seal(folder):
    """Make the hashes right again, as a careful forger would."""
    files = {path.name: path.read_bytes() for path in folder.iterdir()}
    descriptor = json.loads(files["datapackage.json"])
    for resource in descriptor["resources"]:
        data = files[resource["path"]]
        resource["bytes"] = len(data)
        resource["hash"] = f"sha256:{hashlib.sha256(data).hexdigest()}"
    files["datapackage.json"] = (json.dumps(descriptor, indent=1) + "\n").encode()
    (folder / "datapackage.json").write_bytes(files["datapackage.json"])
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    (folder / "SHA256SUMS").write_bytes(sums(hashes))


# Publishing


def test_a_release_is_the_same_folder_and_zip(published):
    with zipfile.ZipFile(published.archive) as archive:
        inside = {info.filename: archive.read(info) for info in archive.infolist()}
    files = {f"{published.name}/{p.name}": p.read_bytes() for p in published.folder.iterdir()}
    assert inside == files
    assert len(inside) == len({name.casefold() for name in inside})
    for info in zipfile.ZipFile(published.archive).infolist():
        assert info.date_time == (1980, 1, 1, 0, 0, 0)
        assert info.external_attr >> 16 == 0o100644


def test_hashes_hold_outside_of_us(published):
    """GNU coreutils checks the release and its zip."""
    if shutil.which("sha256sum") is None:
        pytest.skip("sha256sum isn't installed")
    for folder, sums_file in (
        (published.folder, "SHA256SUMS"),
        (published.folder.parent, f"{published.name}.zip.sha256"),
    ):
        subprocess.run(["sha256sum", "--strict", "-c", sums_file], cwd=folder, check=True)


def test_same_studio_same_bytes(published, tmp_path, monkeypatch):
    at = "tintladder.database.{}_store.now"
    for room in ("card", "fit"):
        monkeypatch.setattr(at.format(room), lambda: WHEN)
    archives = []
    for name in ("one", "two"):
        with Store.open(tmp_path / name) as store:
            archives.append(publish(fill(store), created=WHEN).archive.read_bytes())
    assert archives[0] == archives[1]


def test_the_digest_stands_in_the_studio(store):
    made = publish(store)
    (row,) = releases(store)
    sums_file = (made.folder / "SHA256SUMS").read_bytes()
    assert row.digest == made.digest == hashlib.sha256(sums_file).hexdigest()
    assert verify_release(made.folder, row.digest) == []
    assert verify_release(made.archive, row.digest) == []


def test_versions_follow_what_changed(store):
    assert publish(store).version == "1.0.0"
    with pytest.raises(InputError, match=r"nothing has changed since 1\.0\.0"):
        publish(store)
    store.record_fit(joint_fit(("KEEL-T",), 3), [])
    second = publish(store, note="a second blue")
    assert (second.version, second.changes.added) == ("1.1.0", ("KEEL-T",))
    store.record_fit(joint_fit(("KEEL",), 4), store.card_readings())
    assert publish(store, force=DRIFTS).version == "1.2.0"
    reworded = PAINTS_TOML.replace('range = "Sign acrylic"', 'range = "Sign"')
    store.import_paints(reworded)
    third = publish(store)
    assert (third.version, third.changes.reworded) == ("1.2.1", ("HULL",))
    text = (third.folder / "CHANGELOG.md").read_text()
    assert [line.split(",")[0] for line in text.splitlines() if line.startswith("## ")] == [
        "## 1.2.1",
        "## 1.2.0",
        "## 1.1.0",
        "## 1.0.0",
    ]
    assert "- Added: KEEL-T.\n- a second blue" in text


@pytest.mark.parametrize(
    "version, said",
    [("1.0.0", "published already"), ("0.9.0", "above 1.0.0"), ("v2", "three numbers")],
)
def test_what_is_published_stays(store, version, said):
    first = publish(store)
    before = first.archive.read_bytes()
    store.record_fit(joint_fit(seed=5), store.card_readings())
    with pytest.raises(InputError, match=said):
        publish(store, version)
    assert first.archive.read_bytes() == before
    assert len(list(store.studio.releases.iterdir())) == 3


def test_no_fit_no_release(tmp_path):
    with Store.open(tmp_path) as store:
        with pytest.raises(InputError, match="no paint of this studio has a fit"):
            publish(store)
        assert not store.studio.releases.exists()


def test_a_publishing_cut_short_leaves_no_release(store, monkeypatch):
    calls = []

    def full_disk(path, pieces):
        calls.append(path)
        if len(calls) == 7:
            path.write_bytes(next(iter(pieces)))
            raise OSError(28, "No space left on device")
        return whole(path, pieces)

    whole = release_module.write_whole

    with monkeypatch.context() as patch:
        patch.setattr(release_module, "write_whole", full_disk)
        with pytest.raises(InputError, match="No space left on device"):
            publish(store)
    assert releases(store) == [] and list(store.studio.releases.iterdir()) == []
    assert publish(store).version == "1.0.0"


def test_what_was_never_confirmed_is_put_aside(store):
    stray = store.studio.releases / "paints-1.0.0"
    stray.mkdir(parents=True)
    (stray / "README.md").write_text("moved in, then the power went")
    made = publish(store)
    assert verify_release(made.folder, made.digest) == []
    aside = store.studio.releases / "unconfirmed-1-paints-1.0.0" / "README.md"
    assert aside.read_text().startswith("moved in")


# Reading back


def test_coefficients_come_back_to_the_last_digit(published):
    for path in (published.folder, published.archive):
        loaded = load_release(path)
        assert (loaded.name, loaded.version) == ("paints-1.0.0", "1.0.0")
        assert_same(loaded.coefficients, named_by_fit(joint_fit().coefficients, 1))


def test_paints_of_several_fits_come_back_joined(store):
    store.record_fit(joint_fit(("BRASS", "KEEL-T"), 8), store.card_readings())
    made = publish(store, force="a metallic paint of no pigments, for the test")
    assert verify_release(made.archive, made.digest) == []
    loaded = load_release(made.archive)
    assert loaded.coefficients.paints == ("BRASS", "HULL", "KEEL", "KEEL-T")
    assert_same(loaded.coefficients, store.current_coefficients())
    for name in ("coefficients", "covariance", "own", "factors"):
        paints = loaded.tables[name]["paint"]
        assert (paints != paints.shift()).sum() == 4, "all rows of a paint stand together"


def test_figures_are_whole_whatever_numpy_prints(store):
    """A library may set numpy to print 12 digits; colour-science 0.4.7 does."""
    with np.printoptions(legacy="1.13"):
        made = publish(store)
    expected = named_by_fit(joint_fit().coefficients, 1)
    assert_same(load_release(made.folder).coefficients, expected)


def test_pandas_alone_reads_it(published):
    """As the README of a release says, no code of ours in between."""
    table = pd.read_csv(published.folder / "coefficients.csv", dtype={"paint": "str"})
    ks = table.pivot(  # noqa: PD010
        index=["paint", "wavelength"], columns="quantity", values="value"
    )
    expected = joint_fit().coefficients
    np.testing.assert_allclose(ks.loc["KEEL", "K"], expected.k[1], rtol=1e-14)
    np.testing.assert_allclose(ks.loc["KEEL", "S"], expected.s[1], rtol=1e-14)


def test_tables_hold_what_the_studio_holds(published):
    tables = load_release(published.archive).tables
    assert set(tables) == {table.name for table in TABLES}
    assert list(tables["cards"]["card"]) == ["held-out", "keel-1"]
    assert len(tables["drawdowns"]) == 8
    masses = tables["drawdowns"].set_index(["card", "step"])["masses"]
    assert json.loads(masses["keel-1", "half"]) == {"HULL": 5.1, "KEEL": 5.0}
    read = session(ladder()).spectra
    readings = tables["readings"].query("session == 1")
    values = np.array([json.loads(text) for text in readings["reflectance"]], dtype=float)
    np.testing.assert_array_equal(values, read.values)
    assert tables["checks"][["patch", "de00"]].to_numpy().tolist() == [["half/black", 0.7]]
    assert json.loads(tables["fits"]["settings"][0]) == dict(joint_fit().settings)
    assert tables["paints"]["pigments"].tolist() == ["PW6", "PB29"]
    for word in ("gloves", "lead", "safety data sheet"):
        assert word in (published.folder / "README.md").read_text()


def test_the_schemas_are_sound(published):
    """Against JSON Schema 2020-12 itself, and rows against the schema of their table."""
    schema = json.loads((published.folder / "schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema == json_schema()
    jsonschema.validate(json.loads((published.folder / "datapackage.json").read_text()), schema)
    tables = load_release(published.folder).tables
    for table in TABLES:
        head = tables[table.name].head(20)
        for row in json.loads(head.to_json(orient="records", double_precision=15)):
            for column in table.columns:
                if column.kind in ("object", "array"):
                    row[column.name] = json.loads(row[column.name] or "null")
            jsonschema.validate(row, schema["$defs"][table.name])


def test_the_open_validator_passes_it(published):
    """By frictionless, a validator of the open Data Package form: keys, types and hashes."""
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.validate(str(published.folder / "datapackage.json"))
    assert report.valid, [error.message for task in report.tasks for error in task.errors][:5]


def test_a_nickname_that_looks_like_no_value(tmp_path):
    with Store.open(tmp_path) as store:
        store.import_paints(PAINTS_TOML.replace('"KEEL"', '"NA"'))
        store.add_card(ladder(paint="NA"), "text")
        store.add_session("keel-1", session(ladder(paint="NA")))
        store.record_fit(joint_fit(("HULL", "NA")), store.card_readings())
        made = publish(store)
    assert load_release(made.archive).coefficients.paints == ("HULL", "NA")
    assert verify_release(made.archive, made.digest) == []


# Verifying


def test_a_release_as_published_has_no_problems(published):
    assert verify_release(published.folder, published.digest) == []
    assert verify_release(published.archive, published.digest) == []


def test_any_byte_flipped_is_found_and_named(copy, published):
    rng = np.random.default_rng(20260305)
    paths = sorted(copy.iterdir())
    sizes = np.array([path.stat().st_size for path in paths], dtype=float)
    # Every file once, then by size.
    chosen = [*range(len(paths)), *rng.choice(len(paths), 10, p=sizes / sizes.sum())]
    for path in (paths[i] for i in chosen):
        good = path.read_bytes()
        bad = bytearray(good)
        bad[rng.integers(len(bad))] ^= 1 << int(rng.integers(8))
        path.write_bytes(bad)
        problems = verify_release(copy, published.digest)
        assert any(problem.startswith(f"{path.name}:") for problem in problems), path.name
        path.write_bytes(good)
    assert verify_release(copy, published.digest) == []


def test_a_byte_flipped_in_the_zip_is_found(published, tmp_path):
    rng = np.random.default_rng(7)
    archive = tmp_path / published.archive.name
    beside = published.archive.with_name(f"{published.archive.name}.sha256")
    shutil.copy(beside, tmp_path)
    good = published.archive.read_bytes()
    for _ in range(10):
        bad = bytearray(good)
        bad[rng.integers(len(bad))] ^= 1 << int(rng.integers(8))
        archive.write_bytes(bad)
        try:
            assert verify_release(archive, published.digest)
        except InputError as error:
            assert str(archive) in str(error)


def test_missing_and_extra_files_are_named(copy):
    (copy / "CITATION").unlink()
    (copy / "extra.txt").write_text("a note somebody left")
    assert verify_release(copy) == [
        "CITATION: is missing",
        "extra.txt: is not listed in SHA256SUMS",
    ]


def test_a_forged_release_needs_the_studios_digest(copy, published):
    words = (copy / "README.md").read_text()
    (copy / "README.md").write_text(words.replace("gloves", "pearls"))
    seal(copy)
    assert verify_release(copy) == []
    assert verify_release(copy, published.digest) == [
        "SHA256SUMS: isn't the one that was published"
    ]


@pytest.mark.parametrize(
    "table, change, said",
    [
        (
            "coefficients",
            lambda t: t.assign(value=-t["value"]),
            "negative K or S: HULL, K at 380 nm",
        ),
        ("coefficients", lambda t: t.assign(value=t["value"] / 0.0), "value isn't finite"),
        ("coefficients", lambda t: t.iloc[1:], "one grid"),
        ("coefficients", lambda t: t.assign(uncertainty=t["uncertainty"] * 0.5), "doesn't follow"),
        ("coefficients", lambda t: t.assign(quantity="Q"), "quantity 'Q' isn't one of K, S"),
        ("coefficients", lambda t: pd.concat([t, t.iloc[:1]]), "two rows of one paint, quantity"),
        ("coefficients", lambda t: t.drop(columns="scale"), "expected columns"),
        ("factors", lambda t: t.assign(paint="GHOST"), "paint GHOST isn't in paints.csv"),
        ("readings", lambda t: t.assign(session=99), "session 99 isn't in sessions.csv"),
        ("sessions", lambda t: t.assign(card=""), "card is empty in a row"),
        ("drawdowns", lambda t: t.assign(masses="{"), "masses isn't JSON"),
        ("paints", lambda t: t.assign(k2=[0.596, 0.6]), "different scale or surface"),
    ],
)
def test_nonsense_is_found_though_its_hashes_hold(copy, table, change, said):
    path = copy / f"{table}.csv"
    change(load_release(copy).tables[table]).to_csv(path, index=False, lineterminator="\n")
    seal(copy)
    problems = verify_release(copy)
    assert any(p.startswith(path.name) and said in p for p in problems), problems


def test_a_damaged_description_is_named(copy):
    (copy / "datapackage.json").write_text("{")
    with pytest.raises(InputError, match="expected the description of a release"):
        load_release(copy)
    assert any(p.startswith("datapackage.json:") for p in verify_release(copy))


# What must not be opened


def bad_zip(tmp_path, names):
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in names:
            archive.writestr(name, data)
    return path


@pytest.mark.parametrize(
    "name", ["../escape.txt", "/etc/escape.txt", "r/../../escape.txt", "r\\..\\escape.txt"]
)
def test_a_zip_that_climbs_out_is_refused(tmp_path, name):
    path = bad_zip(tmp_path, [("r/README.md", b"hello"), (name, b"out")])
    for read in (load_release, verify_release):
        with pytest.raises(InputError, match="climbs out"):
            read(path)


def test_a_zip_with_a_link_is_refused(tmp_path):
    info = zipfile.ZipInfo("r/link")
    info.external_attr = 0o120777 << 16
    with pytest.raises(InputError, match="climbs out"):
        load_release(bad_zip(tmp_path, [(info, b"/etc/hosts")]))


def test_a_zip_that_swells_is_refused(tmp_path):
    with pytest.raises(InputError, match="would unpack to"):
        load_release(bad_zip(tmp_path, [("r/bomb.csv", bytes(20_000_000))]))


def test_two_folders_or_none_are_refused(tmp_path):
    for names in ([("a/x", b"1"), ("b/x", b"2")], [("x", b"1")]):
        with pytest.raises(InputError, match="one folder"):
            load_release(bad_zip(tmp_path, names))


def test_what_is_no_release_is_refused(tmp_path, published):
    with pytest.raises(InputError, match="no such release"):
        load_release(tmp_path / "nothing")
    with pytest.raises(InputError, match="expected the description"):
        load_release(tmp_path)
    short = tmp_path / "short.zip"
    short.write_bytes(published.archive.read_bytes()[:5000])
    with pytest.raises(InputError, match="expected the zip of a release"):
        load_release(short)


def test_a_newer_layout_is_refused(copy):
    text = (copy / "datapackage.json").read_text().replace('"layout": 2', '"layout": 9')
    (copy / "datapackage.json").write_text(text)
    with pytest.raises(InputError, match="its layout is 9"):
        load_release(copy)


def test_the_zip_is_canonical(tmp_path):
    """The same files give the same bytes, whenever and by whom they were written."""
    packed = []
    for place, mode in (("one", 0o600), ("two", 0o644)):
        folder = tmp_path / place / "r"
        folder.mkdir(parents=True)
        with Archive(tmp_path / f"{place}.zip", "r") as archive:
            for name in "ba":
                (folder / name).write_text(name * 100_000)
                (folder / name).chmod(mode)
                archive.add(folder / name)
            digest = archive.finish()
        packed.append((tmp_path / f"{place}.zip").read_bytes())
        assert hashlib.sha256(packed[-1]).hexdigest() == digest.sha256
    assert packed[0] == packed[1]


def test_what_fails_while_packing_is_told(tmp_path):
    with pytest.raises(OSError), Archive(tmp_path / "a.zip", "r") as archive:
        archive.add(tmp_path / "nothing")
        archive.finish()
