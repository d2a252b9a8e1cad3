"""Each thing that can stand against publishing, from rows made by hand; no studio is opened."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from tintladder.calibrate.errors import Sentence
from tintladder.calibrate.fit.judging.quality import FIRST_GUESS, GOOD_TO_MIX, LOOK_AT_STEP
from tintladder.calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from tintladder.calibrate.optics.coefficients import TWO_FLUX
from tintladder.calibrate.optics.transport import TRANSPORT
from tintladder.database.common.remedies import StudioDo
from tintladder.database.fits import out_of_date
from tintladder.database.mixing.model_choice import Trial
from tintladder.database.releases import gates as module
from tintladder.database.releases.compare import Numbers, compare
from tintladder.database.releases.gates import Gate, gates

from .studio_fixtures import coefficients


def row(paint: str = "KEEL", fit: int = 1, model: str = TWO_FLUX, **said: Any) -> Any:
    """A paint's fit as the store keeps it, sound unless something else is said of it."""
    lot = SimpleNamespace(id=7, lot="K1", on_hand=True)
    known = SimpleNamespace(nickname=paint, pigments=["PB29"], current_lot=said.pop("used", lot))
    own = SimpleNamespace(inputs=said.pop("inputs", {}))
    if "pigments" in said:
        known.pigments = said.pop("pigments")
    made = SimpleNamespace(
        paint=known, fit_id=fit, fit=own, model=model, verdict=GOOD_TO_MIX, reasons=[], lot=lot
    )
    return SimpleNamespace(**(vars(made) | said))


class Studio:
    """What gates ask a studio, answered by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.checks: list[tuple[int, float, float]] = [(1, 0.5, 0.0), (2, 0.5, 0.0)]
        self.undone = SimpleNamespace(
            sessions=frozenset[int](),
            scans=frozenset[int](),
            removed=frozenset[int](),
            newest_of_all=lambda session: {1},
        )
        self.chosen = TWO_FLUX
        self.inputs: dict[int, Any] = {}
        self.holding: dict[str, dict[str, int]] = {}
        for name, answer in {
            "check_errors": lambda session: self.checks,
            "whites_of": lambda session, fits: {"KEEL": "HULL"},
        }.items():
            monkeypatch.setattr(module, name, answer)
        for name, asked in {
            "Undone": SimpleNamespace(of=lambda session: self.undone),
            "fits_in_use": lambda session: self.holding,
            "inputs_of": lambda session, fits: {fit: self.inputs[fit] for fit in fits},
        }.items():
            monkeypatch.setattr(out_of_date, name, asked)
        choice = SimpleNamespace(choose=lambda paints, further, trial: self.chosen)
        monkeypatch.setattr(module, "model_choice", choice)
        self.session: Any = None
        self.last: Any = None
        self.numbers: Any = None

    def found(self, *rows: Any, other: tuple[Any, ...] = ()) -> list[Gate]:
        """Gates of paints fitted by two fluxes, and some by the other model."""
        fits = {
            TWO_FLUX: {r.paint.nickname: r for r in rows},
            TRANSPORT: {r.paint.nickname: r for r in other},
        }
        return gates(self.session, fits, Trial({}), self.numbers, self.last)


@pytest.fixture
def studio(monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(monkeypatch)


def short(found: list[Gate]) -> list[tuple[str, str, bool]]:
    return [(gate.gate, gate.paint, gate.stops) for gate in found]


def test_a_sound_paint_passes(studio: Studio) -> None:
    assert studio.found(row()) == []


def test_a_line_names_its_paint() -> None:
    of_one, of_all = Gate("lot", "KEEL", False, "so"), Gate("stale", "", True, "so")
    assert (str(of_one.line), str(of_all.line)) == ("KEEL: so", "so")
    said = of_one.as_dict()
    assert said == {"gate": "lot", "paint": "KEEL", "stops": False, "words": "so",
                    "line": "KEEL: so"}  # fmt: skip
    asked = Gate("stale", "", True, Sentence("old; ", StudioDo.FIT_AGAIN()))
    assert "again!" in asked.as_dict(lambda word: "again!")["words"]


def test_what_stops_stands_first(studio: Studio) -> None:
    found = studio.found(row(verdict=FIRST_GUESS), row("HULL", pigments=[]))
    assert short(found) == [("caution", "HULL", True), ("verdict", "KEEL", False)]


@pytest.mark.parametrize(("verdict", "stops"), [(LOOK_AT_STEP, True), (FIRST_GUESS, False)])
def test_a_verdict_and_its_reasons_are_told(studio: Studio, verdict: str, stops: bool) -> None:
    (gate,) = studio.found(row(verdict=verdict, reasons=["3:1 is off", "so is 7:1"]))
    assert (gate.gate, gate.stops) == ("verdict", stops)
    assert gate.words == f"its fit is judged '{verdict}' (3:1 is off; so is 7:1)"
    (bare,) = studio.found(row(verdict=verdict))
    assert bare.words == f"its fit is judged '{verdict}'"


def test_of_the_model_that_is_not_mixed_by_only_a_wrong_step_is_told(studio: Studio) -> None:
    for verdict, told in ((LOOK_AT_STEP, 1), (FIRST_GUESS, 0)):
        found = studio.found(row(), other=(row(fit=2, model=TRANSPORT, verdict=verdict),))
        assert len(found) == told
    studio.chosen = TRANSPORT
    found = studio.found(row(verdict=LOOK_AT_STEP), other=(row(fit=2, model=TRANSPORT),))
    assert short(found) == [("verdict", "KEEL", False)]
    assert "two-flux model, which mixes aren't calculated by" in str(found[0].words)
    used = row(fit=2, model=TRANSPORT, verdict=LOOK_AT_STEP)
    assert short(studio.found(row(), other=(used,))) == [("verdict", "KEEL", True)]


def held_out(studio: Studio, *off: float, error: float = 0.0, fit: int = 1) -> list[Gate]:
    studio.checks = [(fit, each, error) for each in off]
    return [gate for gate in studio.found(row()) if gate.gate == "held-out"]


def test_held_out_mixtures_stop_beyond_two_on_average_or_five_of_95_in_100(studio: Studio) -> None:
    """The limits are rules of ours: a near miss, and a different colour."""
    assert held_out(studio, 2.0, 2.0) == []
    (gate,) = held_out(studio, 2.1, 2.1)
    assert gate.stops and "CIEDE2000 2.1) on average, 95 of 100 within 2.1" in str(gate.words)
    # One of twenty-one lies exactly at the 95th percentile.
    assert held_out(studio, *[0.5] * 19, 5.0, 20.0) == []
    (gate,) = held_out(studio, *[0.5] * 19, 5.2, 20.0)
    assert gate.stops and "95 of 100 within 5.2" in str(gate.words)


def test_the_other_models_held_out_mixtures_only_tell(studio: Studio) -> None:
    other = row(fit=2, model=TRANSPORT)
    studio.checks = [(1, 0.5, 0.0), (2, 4.0, 0.0)]
    found = studio.found(row(), other=(other,))
    assert short(found) == [("held-out", "", False)]
    assert "off by the radiative-transfer model by" in str(found[0].words)
    studio.checks = [(1, 0.5, 0.0)]
    assert studio.found(row(), other=(other,)) == []


def test_no_mixture_and_no_sure_mixture_are_told_apart(studio: Studio) -> None:
    (none,) = held_out(studio, 0.5, fit=99)
    assert "nothing says how mixes will come out" in str(none.words) and not none.stops
    unsure = held_out(studio, 9.0, error=MOST_SCAN_ERROR + 0.01)
    assert "no mixture that was held out was read surely enough" in str(unsure[-1].words)
    assert not any(gate.stops for gate in unsure)
    sure = held_out(studio, 9.0, error=MOST_SCAN_ERROR)
    assert [gate.stops for gate in sure if "off by" in str(gate.words)] == [True]


def test_mixtures_that_were_scanned_are_said_to_be(studio: Studio, monkeypatch) -> None:
    seen: list[list[float]] = []
    monkeypatch.setattr(module, "told_by_scan", lambda e: seen.append(list(e)) or ["by a scan"])
    studio.checks = [(1, 0.5, 0.0), (1, 0.6, 0.4)]
    found = studio.found(row())
    assert [gate.words for gate in found] == ["by a scan"] and seen == [[0.4]]
    assert not found[0].stops


def test_a_fit_whose_readings_were_undone_stops(studio: Studio) -> None:
    studio.undone.sessions, studio.undone.scans = frozenset({5}), frozenset({6})
    for read, key in (({"session": 5}, "sessions"), ({"scan": 6}, "scans")):
        inputs = {key: [{"card_version": 1, "session": 1}, {"card_version": 1} | read]}
        (gate,) = studio.found(row(inputs=inputs))
        assert (gate.gate, gate.paint, gate.stops) == ("stale", "KEEL", True)
        assert "fit 1 rests on readings whose import was undone; " in str(gate.words)
    sound = {"sessions": [{"card_version": 1, "session": 6}],
             "scans": [{"card_version": 1, "scan": 5}]}  # fmt: skip
    assert studio.found(row(inputs=sound)) == []


def test_a_fit_of_a_corrected_card_stops(studio: Studio) -> None:
    inputs = {"sessions": [{"card_version": 1, "session": 1}, {"card_version": 3, "session": 2}]}
    (gate,) = studio.found(row(inputs=inputs))
    assert gate.stops and "a card that was corrected since" in str(gate.words)


def test_a_fit_against_a_white_of_another_fit_stops_and_one_left_out_only_tells(
    studio: Studio,
) -> None:
    keel = row(fit=3, inputs={"known": {"fits": {"HULL": 1}}})
    assert studio.found(row("HULL"), keel) == []
    (gate,) = studio.found(row("HULL", fit=2), keel)
    assert gate.stops and gate.paint == "KEEL"
    assert "against HULL before that was fitted anew" in str(gate.words)
    studio.checks = [(3, 0.5, 0.0)]
    (gate,) = studio.found(keel)
    assert not gate.stops and "fitted against HULL, which is left out" in str(gate.words)


def test_one_line_names_six_paints_of_a_fit(studio: Studio) -> None:
    inputs = {"sessions": [{"card_version": 2, "session": 1}]}
    names = [f"P{i}" for i in range(7)]
    (gate,) = studio.found(*[row(name, inputs=inputs) for name in names])
    assert gate.paint == "P0, P1, P2, P3, P4, P5, ..."
    (gate,) = studio.found(*[row(name, inputs=inputs) for name in names[:6]])
    assert gate.paint == "P0, P1, P2, P3, P4, P5"


def test_the_same_of_the_other_model_is_said_once(studio: Studio) -> None:
    inputs = {"sessions": [{"card_version": 2, "session": 1}]}
    both = row(inputs=inputs), row(fit=2, model=TRANSPORT, inputs=inputs)
    assert short(studio.found(both[0], other=both[1:])) == [("stale", "KEEL", True)]
    undone = {"sessions": [{"card_version": 1, "session": 5}]}
    studio.undone.sessions = frozenset({5})
    apart = studio.found(row(inputs=inputs), other=(row(fit=2, model=TRANSPORT, inputs=undone),))
    assert short(apart) == [("stale", "KEEL", True)] * 2


def test_stale_fits_are_told_of_all_in_use(studio: Studio) -> None:
    studio.holding = {TWO_FLUX: {"KEEL": 4, "HULL": 9}, TRANSPORT: {}}
    studio.inputs = {4: {"sessions": [{"card_version": 2, "session": 1}]}, 9: {}}
    no_session: Any = None
    (old,) = out_of_date.outdated_in_use(no_session)
    assert (old.fit, old.some) == (4, "KEEL")
    assert old.why == "rests on a card that was corrected since"


def test_another_tube_than_the_one_that_was_read_is_told(studio: Studio) -> None:
    new = SimpleNamespace(id=8, lot="", on_hand=True)
    (gate,) = studio.found(row(used=new))
    assert (gate.gate, gate.stops) == ("lot", False)
    assert gate.words == "was read of lot K1, the tube in use is lot (unnamed)"
    old = SimpleNamespace(id=3, lot="", on_hand=True)
    (gate,) = studio.found(row(lot=old))
    assert gate.words == "was read of lot (unnamed), the tube in use is lot K1"
    used_up = SimpleNamespace(id=8, lot="K2", on_hand=False)
    for sound in (row(used=used_up), row(used=None), row(lot=None)):
        assert studio.found(sound) == []


def test_numbers_of_a_scan_are_told(studio: Studio) -> None:
    (gate,) = studio.found(row(inputs={"by_scan": ["KEEL"]}))
    assert short([gate]) == [("scan", "KEEL", False)] and "come from a scan" in str(gate.words)


def test_unstated_pigments_stop(studio: Studio) -> None:
    (gate,) = studio.found(row(pigments=[]))
    assert short([gate]) == [("caution", "KEEL", True)]
    assert studio.found(row(pigments=["unknown"])) == []


# Drift from the last release.


def numbers(darker: float = 1.0, scale: str = "absolute") -> Numbers:
    made = coefficients(("HULL", "KEEL"))
    k = made.k.copy()
    k[1] *= darker
    return Numbers("now", replace(made, k=k, scale=scale), {"KEEL": "HULL"})


@pytest.fixture
def released(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> Studio:
    """A studio whose last release holds fit 1 of both paints."""
    old = numbers().coefficients
    session = SimpleNamespace(get_one=lambda kind, fit: SimpleNamespace(coefficients=b""))
    monkeypatch.setattr(module, "unpack_coefficients", lambda packed, fit, some: old)
    studio.last = SimpleNamespace(
        version="1.0.0", contents={"HULL": {"fit": 1}, "KEEL": {"fit": 1, "transport": 2}}
    )
    studio.session = session
    studio.checks = [(fit, 0.5, 0.0) for fit in range(1, 9)]
    return studio


def far(darker: float) -> float:
    """How far KEEL's colours move, by the comparison that a user sees."""
    moved = compare(numbers(), numbers(darker)).table.set_index("paint").loc["KEEL"]
    return float(np.nanmax([moved["masstone_de00"], moved["tint_de00"]]))


@cache
def darker_by(de00: float) -> float:
    """Factor on K by which a colour of KEEL moves so far."""
    low, high = 1.0, 2.0
    for _ in range(10):
        middle = (low + high) / 2
        low, high = (middle, high) if far(middle) < de00 else (low, middle)
    return high


@pytest.mark.parametrize(
    ("de00", "gate"), [(0.95, []), (1.05, [False]), (1.95, [False]), (2.05, [True])]
)
def test_a_refitted_paint_that_moved_is_told_and_beyond_two_it_stops(
    released: Studio, de00: float, gate: list[bool]
) -> None:
    factor = darker_by(de00)
    asked: list[Any] = []
    released.numbers = lambda model, paints: asked.append((model, paints)) or numbers(factor)
    found = released.found(row("HULL"), row("KEEL", fit=5))
    assert [(g.gate, g.paint, g.stops) for g in found] == [("drift", "KEEL", s) for s in gate]
    assert asked == [(TWO_FLUX, ["KEEL"])]
    for each in found:
        assert "its colour moved since 1.0.0: masstone" in str(each.words)
        assert "by the two-flux model" in str(each.words)


def test_a_fit_that_was_published_and_a_new_paint_do_not_drift(released: Studio) -> None:
    released.numbers = lambda model, paints: pytest.fail("nothing was refitted")
    assert released.found(row("HULL"), row("KEEL"), row("ROPE", fit=4)) == []


def test_of_two_models_the_one_that_moved_most_speaks(released: Studio) -> None:
    both = {TWO_FLUX: darker_by(1.2), TRANSPORT: darker_by(2.5)}
    released.numbers = lambda model, paints: numbers(both[model])
    keel = row("KEEL", fit=5), row("KEEL", fit=6, model=TRANSPORT)
    (gate,) = released.found(row("HULL"), keel[0], other=keel[1:])
    assert gate.stops and "by the radiative-transfer model" in str(gate.words)
    both[TWO_FLUX], both[TRANSPORT] = both[TRANSPORT], both[TWO_FLUX]
    (gate,) = released.found(row("HULL"), keel[0], other=keel[1:])
    assert gate.stops and "by the two-flux model" in str(gate.words)


def test_numbers_on_another_scale_stop_whatever_they_are(released: Studio) -> None:
    released.numbers = lambda model, paints: numbers(3.0, "relative to HULL")
    (gate,) = released.found(row("HULL"), row("KEEL", fit=5))
    assert short([gate]) == [("drift", "", True)]
    assert gate.words == "K and S were absolute in 1.0.0, now relative to HULL"
