"""A sitting in the studio: killed at any commit, nothing confirmed is lost, and it goes on."""

from __future__ import annotations

import multiprocessing
import os
from datetime import UTC, datetime

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.attended import now
from tintladder.calibrate.instrument.instrument import Identity
from tintladder.calibrate.instrument.progress import RawReading
from tintladder.calibrate.optics.spectra import to_grid
from tintladder.database.cards import sitting as measuring
from tintladder.database.store.sittings import (
    begin_sitting,
    find_sitting,
    finish_sitting,
    instrument_of,
    keep_reading,
    keep_skip,
    open_sittings,
    progress_of,
)
from tintladder.database.store.store import Store

from .instruments import emulated, quick, scene
from .studio_fixtures import PAINTS_TOML, ladder

CARD = ladder()
PROFILE = quick()
WHO = Identity(model="Bench reader", serial="7")


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        opened.import_paints(PAINTS_TOML)
        opened.add_card(CARD, "text")
        yield opened


def sit_through(store, sitting, ask=None):
    """Sit until all is read; answers as usual, the emulator laid where it should be."""
    with emulated(PROFILE, scene(CARD)) as (emulator, instrument):

        def usual(question):
            emulator.under = question.place or emulator.under
            return question.answers[0]

        return measuring.sit(store, sitting, instrument, ask or usual)


def die_at(folder, number, point):
    """Sit in a process that dies just before, or just after, a reading is committed."""
    with Store.open(folder) as store:
        kept = [0]
        keep = measuring.keep_reading

        def dying(*arguments):
            kept[0] += 1
            if point == "before" and kept[0] == number:
                with store.transaction() as session:
                    keep(*arguments)
                    session.flush()
                    os._exit(9)
            keep(*arguments)
            if point == "after" and kept[0] == number:
                os._exit(9)

        measuring.keep_reading = dying
        sit_through(store, open_sittings(store)[0])


@pytest.mark.parametrize("point", ["before", "after"])
@pytest.mark.parametrize("number", [1, 6])
def test_killed_at_a_commit(store, tmp_path, number, point):
    sitting = begin_sitting(store, CARD.name, PROFILE, "a port", 2)
    store.close()  # no connection goes into the other process
    worker = multiprocessing.get_context("fork").Process(
        target=die_at, args=(tmp_path, number, point)
    )
    worker.start()
    worker.join()
    assert worker.exitcode == 9
    with Store.open(tmp_path) as again:
        kept = progress_of(again, sitting).readings
        assert len(kept) == number - (point == "before")
        sat = sit_through(again, find_sitting(again))
        assert sat.session is not None and sat.readings == 2 * len(CARD.patches)
        after = progress_of(again, sitting).readings
        said = [(r.place, r.round, r.repeat, r.values.tolist()) for r in after]
        assert said[: len(kept)] == [(r.place, r.round, r.repeat, r.values.tolist()) for r in kept]
        assert not open_sittings(again)


def test_what_is_kept_comes_back_just_as_it_was(store):
    sitting = begin_sitting(store, CARD.name, PROFILE, "a port", 2)
    values = np.linspace(0.1, 0.7, PROFILE.wavelengths.size) / 3
    values[4] = np.nan
    told = {"doubt": "it reads just like bare/white"}
    for place, said in (("tile/white", {"calibrated": True}), ("half/black", told)):
        taken = now()
        keep_reading(store, sitting, RawReading(place, 1, 1, taken, values, said), WHO)
    keep_skip(store, sitting, "masstone/white")
    keep_skip(store, sitting, "masstone/white")
    back = progress_of(store, find_sitting(store, CARD.name))
    assert back.skipped == {"masstone/white"}
    np.testing.assert_array_equal(back.readings[1].values, values)
    assert back.readings[1].said == told and instrument_of(store, sitting) == WHO
    number, made = finish_sitting(store, sitting, WHO)
    assert made.header["DOUBT half/black"] == told["doubt"]
    assert made.header["SKIPPED"] == "masstone/white"
    assert made.device == "Bench reader 7" and made.date == taken[:10]
    ((label, _, flag), *_) = made.spectra.flagged()
    assert label == "half/black" and flag.name == "MISSING"
    assert number == store.card_readings()[0].session


def test_wet_paint_is_kept_and_no_fit_takes_it(store):
    sitting = begin_sitting(store, CARD.name, PROFILE, "a port", 1)
    values = np.full(PROFILE.wavelengths.size, 0.5)
    keep_reading(
        store, sitting, RawReading("half/black", 1, 1, "2026-03-05T10:00:00Z", values), WHO
    )
    _, made = finish_sitting(store, sitting, WHO, wet=True)
    assert made.state == "wet" and not store.card_readings()


def test_which_sitting_is_meant(store):
    with pytest.raises(InputError, match="no sitting is open"):
        find_sitting(store)
    first = begin_sitting(store, CARD.name, PROFILE, "a port", 1)
    with pytest.raises(InputError, match="is open since"):
        begin_sitting(store, CARD.name, PROFILE, "a port", 1)
    second = begin_sitting(store, CARD.name, PROFILE, "a port", 3, anew=True)
    assert find_sitting(store).number == second.number != first.number
    store.add_card(ladder("keel-2"), "text")
    begin_sitting(store, "keel-2", PROFILE, "a port", 1)
    with pytest.raises(InputError, match="several are open: keel-1, keel-2"):
        find_sitting(store)
    assert find_sitting(store, CARD.name).repeats == 3
    with pytest.raises(InputError, match="no patch was read"):
        finish_sitting(store, second, WHO)


def test_a_sitting_is_corrected_by_the_tiles_read_in_between(store):
    """The instrument gains a percent between two visits to the tile, evenly."""
    sitting = begin_sitting(store, CARD.name, PROFILE, "a port", 1)
    wl = PROFILE.wavelengths
    begin, places = 1_770_000_000.0, CARD.patches
    white, trap = np.full(wl.size, 0.9), np.full(wl.size, 0.004)
    truth = {place: np.linspace(0.1, 0.5 + 0.01 * i, wl.size) for i, place in enumerate(places)}
    moments = np.linspace(0, 1, len(places) + 2)
    read = [("tile/trap", 0.0, trap, {}), ("tile/white", 0.0, white + trap, {"calibrated": True})]
    read += [
        (p, t, truth[p] * (1 + 0.01 * t) + trap, {})
        for p, t in zip(places, moments[1:-1], strict=True)
    ]
    read += [("tile/white", 1.0, white * 1.01 + trap, {"calibrated": False})]
    for i, (place, t, values, said) in enumerate(read):
        at = datetime.fromtimestamp(begin + 3600 * t + 0.001 * i, UTC).isoformat()
        reading = RawReading(place, 2 if i == len(read) - 1 else 1, 1, at, values, said)
        keep_reading(store, sitting, reading, WHO)
    number, made = finish_sitting(store, sitting, WHO)
    corrected = dict(zip(made.corrected.labels, made.corrected.values, strict=True))
    for place in places:
        np.testing.assert_allclose(corrected[place], truth[place], atol=1e-6)
    (taken,) = store.card_readings()
    assert taken.session == number
    np.testing.assert_allclose(taken.read(places[0])[0], to_grid(made.corrected).values[0])
