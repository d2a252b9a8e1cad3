"""What is killed: reads, fits, publishes and imports without end, saying what is confirmed."""

from __future__ import annotations

from contextlib import suppress
from multiprocessing.connection import Connection

from tintladder.calibrate.errors import InputError
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.publish import find_release, publish, releases
from tintladder.database.store.store import Store

from ..studio_fixtures import PAINTS_TOML, joint_fit, ladder, session


def main(folder: str, seed: int, told: Connection) -> None:
    """Go on until killed."""
    with Store.open(folder) as store:
        store.paints.add_file(PAINTS_TOML)
        store.cards.add(ladder(), "text")
        told.send("started")
        while True:
            seed += 1
            number = store.readings.add("keel-1", session(ladder(), seed))
            store.imports.record([f"{seed}.txt"], [number], [])
            told.send(("session", str(seed)))
            told.send(("fit", str(store.fits.record(joint_fit(seed=seed), store.readings.all()))))
            told.send(("release", publish(store, force="drawn at random").version))
            nicknames = {"HULL": f"HULL-{seed}", "KEEL": f"KEEL-{seed}"}
            place = find_release(store, releases(store)[-1].version)
            if seed % 5 == 0:
                with suppress(InputError):
                    made = adopt(store, place, nicknames, skip=_others(store), unproven=True)
                    told.send(("adopted", str(made.fit)))


def _others(store: Store) -> list[str]:
    return [paint for paint in store.fits.current() if paint not in ("HULL", "KEEL")]
