"""Verifying a release: what was changed is named, also where its hashes were made to hold."""

from __future__ import annotations

import json
import shutil
import socket

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.releases.load import load_release
from tintladder.database.releases.tables.schema import LAYOUT
from tintladder.database.releases.verify import verify_release

from .forgeries import seal


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
        (
            "coefficients",
            lambda t: pd.concat([t, t.iloc[:1]]),
            "two rows of one paint, model, quantity",
        ),
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


@pytest.mark.parametrize(
    "change, said",
    [
        (
            lambda d: d["resources"].pop(),
            f"checks.csv isn't described, though layout {LAYOUT} has it",
        ),
        (lambda d: d["resources"][0].pop("hash"), "'hash' is a required property"),
        (lambda d: d | {"layout": 1}, "layout"),
    ],
)
def test_a_description_of_other_tables_is_named(copy, change, said):
    path = copy / "datapackage.json"
    descriptor = json.loads(path.read_text())
    made = change(descriptor)
    path.write_text(json.dumps(made if isinstance(made, dict) and "layout" in made else descriptor))
    problems = [p for p in verify_release(copy) if p.startswith("datapackage.json: ")]
    assert any(said in problem for problem in problems[1:]), problems


def test_meanings_may_be_put_in_other_words(copy):
    """What a release says of its columns is its own: later versions may say it better."""
    for name in ("datapackage.json", "schema.json"):
        text = (copy / name).read_text()
        assert "g of each paint, as weighed" in text
        (copy / name).write_text(text.replace("g of each paint, as weighed", "grams, by paint"))
    seal(copy)
    assert verify_release(copy) == []
    for name in ("datapackage.json", "schema.json"):
        text = (copy / name).read_text()
        (copy / name).write_text(text.replace('"name": "masses"', '"name": "weights"'))
    seal(copy)
    words = f"datapackage.json: drawdowns.csv isn't a table of layout {LAYOUT} as described"
    assert words in verify_release(copy)


def test_a_schema_that_sends_elsewhere_is_named_and_nothing_is_asked_for(copy, monkeypatch):
    """No check of a release touches the network, whatever it names."""

    def asked(*_args, **_more):
        raise AssertionError("the network was touched")

    for name in ("socket", "create_connection", "getaddrinfo"):
        monkeypatch.setattr(socket, name, asked)
    schema = json.loads((copy / "schema.json").read_text())
    schema["$defs"]["paints"] = {"$ref": "http://127.0.0.1:9/paints.json"}
    schema["properties"]["name"] = {"$ref": "http://127.0.0.1:9/name.json"}
    schema["$schema"] = "http://127.0.0.1:9/schema.json"
    (copy / "schema.json").write_text(json.dumps(schema))
    seal(copy)
    assert verify_release(copy) == [f"schema.json: isn't the schema of layout {LAYOUT}"]
