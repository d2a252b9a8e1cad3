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
from tintladder.database.store.store import Store

from .instruments import emulated, quick, scene
from .studio_fixtures import PAINTS_TOML, ladder

CARD = ladder()
PROFILE = quick()
WHO = Identity(model="Bench reader", serial="7")


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        opened.paints.add_file(PAINTS_TOML)
        opened.cards.add(CARD, "text")
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
        keep = store.sittings.keep

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

        store.sittings.keep = dying
        sit_through(store, store.sittings.open()[0])


@pytest.mark.parametrize("point", ["before", "after"])
@pytest.mark.parametrize("number", [1, 6])
def test_killed_at_a_commit(store, tmp_path, number, point):
    sitting = store.sittings.begin(CARD.name, PROFILE, "a port", 2)
    store.close()  # no connection goes into the other process
    worker = multiprocessing.get_context("fork").Process(
        target=die_at, args=(tmp_path, number, point)
    )
    worker.start()
    worker.join()
    assert worker.exitcode == 9
    with Store.open(tmp_path) as again:
        kept = again.sittings.progress(sitting).readings
        assert len(kept) == number - (point == "before")
        sat = sit_through(again, again.sittings.find())
        assert sat.session is not None and sat.readings == 2 * len(CARD.patches)
        after = again.sittings.progress(sitting).readings
        said = [(r.place, r.round, r.repeat, r.values.tolist()) for r in after]
        assert said[: len(kept)] == [(r.place, r.round, r.repeat, r.values.tolist()) for r in kept]
        assert not again.sittings.open()


def test_what_is_kept_comes_back_just_as_it_was(store):
    sitting = store.sittings.begin(CARD.name, PROFILE, "a port", 2)
    values = np.linspace(0.1, 0.7, PROFILE.wavelengths.size) / 3
    values[4] = np.nan
    told = {"doubt": "it reads just like bare/white"}
    for place, said in (("tile/white", {"calibrated": True}), ("half/black", told)):
        taken = now()
        store.sittings.keep(sitting, RawReading(place, 1, 1, taken, values, said), WHO)
    store.sittings.skip(sitting, "masstone/white")
    store.sittings.skip(sitting, "masstone/white")
    back = store.sittings.progress(store.sittings.find(CARD.name))
    assert back.skipped == {"masstone/white"}
    np.testing.assert_array_equal(back.readings[1].values, values)
    assert back.readings[1].said == told and store.sittings.instrument(sitting) == WHO
    number, made = store.sittings.finish(sitting, WHO)
    assert made.header["DOUBT half/black"] == told["doubt"]
    assert made.header["SKIPPED"] == "masstone/white"
    assert made.device == "Bench reader 7" and made.date == taken[:10]
    ((label, _, flag), *_) = made.spectra.flagged()
    assert label == "half/black" and flag.name == "MISSING"
    assert number == store.readings.all()[0].session


def test_wet_paint_is_kept_and_no_fit_takes_it(store):
    sitting = store.sittings.begin(CARD.name, PROFILE, "a port", 1)
    values = np.full(PROFILE.wavelengths.size, 0.5)
    store.sittings.keep(
        sitting, RawReading("half/black", 1, 1, "2026-03-05T10:00:00Z", values), WHO
    )
    _, made = store.sittings.finish(sitting, WHO, wet=True)
    assert made.state == "wet" and not store.readings.all()


def test_which_sitting_is_meant(store):
    with pytest.raises(InputError, match="no sitting is open"):
        store.sittings.find()
    first = store.sittings.begin(CARD.name, PROFILE, "a port", 1)
    with pytest.raises(InputError, match="is open since"):
        store.sittings.begin(CARD.name, PROFILE, "a port", 1)
    second = store.sittings.begin(CARD.name, PROFILE, "a port", 3, anew=True)
    assert store.sittings.find().number == second.number != first.number
    store.cards.add(ladder("keel-2"), "text")
    store.sittings.begin("keel-2", PROFILE, "a port", 1)
    with pytest.raises(InputError, match="several are open: keel-1, keel-2"):
        store.sittings.find()
    assert store.sittings.find(CARD.name).repeats == 3
    with pytest.raises(InputError, match="no patch was read"):
        store.sittings.finish(second, WHO)


def test_a_sitting_is_corrected_by_the_tiles_read_in_between(store):
    """The instrument gains a percent between two visits to the tile, evenly."""
    sitting = store.sittings.begin(CARD.name, PROFILE, "a port", 1)
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
        store.sittings.keep(sitting, reading, WHO)
    number, made = store.sittings.finish(sitting, WHO)
    corrected = dict(zip(made.corrected.labels, made.corrected.values, strict=True))
    for place in places:
        np.testing.assert_allclose(corrected[place], truth[place], atol=2e-5)
    (taken,) = store.readings.all()
    assert taken.session == number
    np.testing.assert_allclose(taken.read(places[0])[0], to_grid(made.corrected).values[0])
