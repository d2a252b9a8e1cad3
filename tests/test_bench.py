"""The bench: names, targets, what it keeps, and one benchmark run by name."""

import json
import re
import time

import pytest

from tests.bench.__main__ import main
from tests.bench.harness import REGISTRY, SUBJECTS, Benchmark, Skipped, Timing, chosen, keep, timed


def test_names_are_well_formed():
    for name in REGISTRY:
        assert re.fullmatch(r"[a-z]+(\.[a-z0-9_]+)+", name), name
        assert name.partition(".")[0] in SUBJECTS, name
    assert {key: b.name for key, b in REGISTRY.items()} == {name: name for name in REGISTRY}


def test_every_timing_names_its_baseline():
    for b in REGISTRY.values():
        assert (b.baseline is None) == (b.ratio_target is None), b.name
        if b.name.endswith("seconds"):
            assert b.baseline, b.name


def test_choosing():
    usual = [name for name, b in REGISTRY.items() if b.only is None]
    assert [b.name for b in chosen([])] == usual
    assert [b.name for b in chosen(["demo."])] == [n for n in REGISTRY if n.startswith("demo.")]
    # A whole name is that one alone, even where others begin with it.
    assert [b.name for b in chosen(["fit.joint_seconds"])] == ["fit.joint_seconds"]
    with pytest.raises(KeyError, match="nothing"):
        chosen(["nothing"])


def test_what_nobody_tunes_on_runs_only_where_asked_for():
    assert not [b.name for b in chosen(["real."]) if "unseen" in b.name]
    unseen = [b.name for b in chosen(["real.unseen_"])]
    assert unseen
    assert all(name.startswith("real.unseen_") for name in unseen)


def figure(run, **said):
    return Benchmark("fit.invented", run, "unit", **said).entry()


def test_judging():
    assert figure(lambda: 1.0, target=1.3)["met"] is True
    assert figure(lambda: 1.4, target=1.3)["met"] is False
    assert figure(lambda: 1.4, target=1.3, sense="at least")["met"] is True
    assert figure(lambda: 1.4)["met"] is None
    assert figure(lambda: float("nan"), target=1.3)["met"] is False


def test_a_timing_is_judged_on_its_ratio():
    said = {"target": 1.0, "baseline": "a loop", "ratio_target": 20.0}
    slow = figure(lambda: Timing(0.5, 5.0), **said)
    assert slow["met"] is False  # half a second, but only ten times as fast
    assert (slow["value"], slow["seconds"], slow["ratio"]) == (0.5, 0.5, 10.0)
    assert slow["baseline"] == "a loop"
    assert figure(lambda: Timing(2.0, 50.0), **said)["met"] is True


def test_what_cannot_be_run_says_so():
    def skip():
        raise Skipped("no network")

    def fault():
        raise ValueError("two\nlines")

    skipped, failed = figure(skip, target=1.0), figure(fault, target=1.0)
    assert (skipped["value"], skipped["met"], skipped["note"]) == (
        None,
        None,
        "skipped: no network",
    )
    assert (failed["value"], failed["met"]) == (None, False)
    assert failed["note"] == "failed: ValueError: two lines"


def test_the_others_entries_are_kept(tmp_path):
    path = tmp_path / "bench.json"
    first, second = list(REGISTRY)[:2]
    keep([{"name": second, "value": 1}, {"name": "fit.gone", "value": 0}], path)
    keep([{"name": first, "value": 2}], path)
    keep([{"name": second, "value": 3}], path)
    kept = json.loads(path.read_text())
    assert kept == [{"name": first, "value": 2}, {"name": second, "value": 3}]


def test_timings_are_medians_taken_in_turn():
    order = []

    def ours():
        order.append("ours")

    def theirs():
        order.append("theirs")
        time.sleep(0.01)

    found = timed(ours, theirs, 3)
    assert order == ["ours", *["ours", "theirs"] * 3]
    assert found.baseline > found.seconds


def test_one_runs_by_name_and_writes(tmp_path, capsys):
    path = tmp_path / "bench.json"
    assert main(["fit.recovery_worst", "--out", str(path)]) == 0
    (entry,) = json.loads(path.read_text())
    assert entry["name"] == "fit.recovery_worst"
    assert set(entry) == {"name", "unit", "target", "value", "met", "sense"}
    assert entry["met"] is True
    assert "fit.recovery" in capsys.readouterr().out


def test_unknown_name(tmp_path, capsys):
    path = tmp_path / "bench.json"
    assert main(["fit.recovery_wurst", "--out", str(path)]) == 2
    assert not path.exists()
    assert "no benchmark fit.recovery_wurst" in capsys.readouterr().err
