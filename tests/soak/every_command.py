"""A small studio, and every command with what it needs to do its work there."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from typing import Any

from tintladder import calibrate, database
from tintladder.database.cards.intake import take_in
from tintladder.database.care.backup import back_up
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from ..archive import CARD, RELEASES

HOUSE = Path(__file__).parent.parent.parent
BOATYARD = HOUSE / "measurements" / "boatyard"
SCANS = BOATYARD / "scans"
BACKUP = "../kept.zip"
_WORDS = {
    "manual": "manual mixing",
    "tubes": "tubes",
    "tubes add": "tubes add Keel_Green_PG7",
    "tubes load": f"tubes load {BOATYARD}/paints.toml",
    "tubes out": "tubes out ANCHOR",
    "tubes weigh": "tubes weigh ANCHOR --ml 2 --grams 2.72",
    "plan": "plan ANCHOR --scale 0.1",
    "card": "card ANCHOR --scale 0.1",
    "card fill": "card fill ladder --as-printed",
    "read": f"read {BOATYARD}/paints.toml {BOATYARD}/cards/rope-earth.toml "
    f"{BOATYARD}/readings/rope-earth.txt",
    "scan": f"scan {SCANS}/anchor-blue-quick.png --card anchor-blue-quick",
    "measure": "measure --template",
    "device": f"device scanner {SCANS}/target.png {SCANS}/target.txt --name again",
    "fit": "fit",
    "plot": "plot ANCHOR",
    "predict": "predict ANCHOR=1,HULL=4",
    "recipe": "recipe 55,-5,-20 --keep transom --picture ways.png",
    "next": "next hull-blue --add HULL=2",
    "drying": "drying HULL=8,ANCHOR=1 --wet 58,-11,-16 --dry 54,-12,-18",
    "setout": "setout 55,-5,-20 70,-4,-9 --print set.pdf",
    "muddy": "muddy ANCHOR=1,HULL=3",
    "reach": "reach 55,-5,-20",
    "sheet": "sheet tubes",
    "lesson": "lesson 55,-5,-20 70,-4,-9",
    "report": "report 1.0.0 --out paints.html",
    "publish": "publish --force two_cards",
    "releases": "releases",
    "compare": "compare 1.0.0 now",
    "verify": "verify",
    "trace": "trace ANCHOR 550",
    "export": "export csv --out paints.csv",
    "adopt": f"adopt {RELEASES[-1]} --rename ANCHOR=ANCHOR-2 --rename HULL=HULL-2",
    "backup": "backup copy.zip",
    "restore": f"restore {BACKUP} --over",
    "remove": "remove recipe old-blue",
    "rename": "rename recipe hull-blue sheer-blue",
    "undo": "undo",
}
COMMANDS = {name: [w.replace("_", " ") if w[0].isupper() else w for w in words.split()]
            for name, words in _WORDS.items()}  # fmt: skip
"""All but two: the page goes on until it is ended, and the demo is these, one after the other."""


def load_all() -> None:
    """Load what the commands would load one by one, so that forks have it."""
    for package in (calibrate, database):
        for module in walk_packages(package.__path__, f"{package.__name__}."):
            if ".migrations." not in module.name:
                import_module(module.name)


def begin(studio: Path, run: Callable[[Path, list[str]], Any]) -> None:
    """Make the studio that each command begins with, by the commands themselves."""
    studio.mkdir(parents=True)
    (studio / "tmp").mkdir()
    with Store.open(studio) as store:
        take_in(store, CARD)
        fit_studio(store)
        publish(store, force="two cards alone")
    for words in (
        "card ANCHOR --scale 0.1 --name ladder",
        f"read {SCANS}/anchor-blue-quick.toml",
        f"device scanner {SCANS}/target.png {SCANS}/target.txt",
        "recipe 60,-5,-15 --keep hull-blue",
        "recipe hull-blue --make 20g --made",
        "recipe 65,-5,-15 --keep old-blue",
        "next hull-blue --add ANCHOR=1",
        "rename recipe hull-blue topside",
        "rename recipe topside hull-blue",
    ):
        ran = run(studio.parent, words.split())
        if ran.status:
            raise AssertionError(f"{words}: {ran.err}")
    with Store.open(studio) as store:
        fit_studio(store)
        back_up(store.studio, studio.parent / "kept.zip")
    shutil.rmtree(studio.parent / "said")
