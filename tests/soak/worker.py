"""What is killed: reads, fits, publishes and imports without end, saying what is confirmed."""

from __future__ import annotations

import sys

from tintladder.calibrate.errors import InputError
from tintladder.database.adopt import adopt
from tintladder.database.release import find_release, publish, releases
from tintladder.database.store import Store

from ..studio_fixtures import PAINTS_TOML, joint_fit, ladder, session


def main(folder: str, seed: int) -> None:
    """Go on until killed."""
    with Store.open(folder) as store:
        store.import_paints(PAINTS_TOML)
        store.add_card(ladder(), "text")
        while True:
            seed += 1
            number = store.add_session("keel-1", session(ladder(), seed))
            store.record_import([f"{seed}.txt"], [number], [])
            print("session", seed, flush=True)
            print("fit", store.record_fit(joint_fit(seed=seed), store.card_readings()), flush=True)
            print("release", publish(store, force="drawn at random").version, flush=True)
            nicknames = {"HULL": f"HULL-{seed}", "KEEL": f"KEEL-{seed}"}
            place = find_release(store, releases(store)[-1].version)
            try:
                if seed % 5 == 0:
                    print(
                        "adopted",
                        adopt(store, place, nicknames, skip=_others(store)).fit,
                        flush=True,
                    )
            except InputError as error:
                print("refused", error, flush=True)


def _others(store: Store) -> list[str]:
    return [paint for paint in store.current_fits() if paint not in ("HULL", "KEEL")]


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
