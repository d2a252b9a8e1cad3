"""A table to mix at: the demo's studio, its commands, and how exact amounts of its tubes look."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.demo.demo import make_demo

from .shell import Outcome, tool

WHITE = "HULL"
SCALE_G = 0.1


@cache
def demo() -> Path:
    """The demo's studio, made once; each table is a copy."""
    return make_demo(Path(tempfile.mkdtemp(prefix="hand-")) / "demo").folder


def apart(one: Sequence[float], other: Sequence[float]) -> float:
    """CIEDE2000 of two colours in CIELAB."""
    return float(ciede2000(np.array(one), np.array(other)))


@dataclass
class Table:
    """A copy of the demo's studio, whose scale shows 0.1 g, and its commands.

    Attributes
    ----------
    folder : Path
    """

    folder: Path
    _looks: dict[tuple[Any, ...], dict[str, Any]] = field(default_factory=dict)

    @classmethod
    def laid(cls, folder: Path) -> Table:
        """Copy the studio; say which scale there is, as a card is planned."""
        shutil.copytree(demo(), folder)
        table = cls(folder)
        said = table.run("card", "ANCHOR", "--scale", SCALE_G)
        assert said.status == 0, said.err
        return table

    def run(self, *typed: object) -> Outcome:
        """Run a command; its lines are long enough not to be broken."""
        with patch.dict(os.environ, {"COLUMNS": "500"}):
            return tool(self.folder, *typed)

    def asked(self, *typed: object) -> Any:
        """The same as JSON."""
        said = self.run(*typed, "--json")
        assert said.status == 0, f"{typed}: {said.err}"
        return said.json

    def heap(self, target: object, grams: Mapping[str, float], *options: object) -> Any:
        """What `next` says of a heap that is put on an empty plate."""
        mix = ",".join(f"{p}={g:.5f}" for p, g in grams.items() if g > 0)
        return self.asked("next", target, "--clear", "--add", mix, *options)

    @cached_property
    def names(self) -> dict[str, str]:
        """Name of each tube to its nickname."""
        return {tube["name"]: tube["nickname"] for tube in self.asked("tubes")}

    @cached_property
    def densities(self) -> dict[str, float]:
        """Of each tube as the studio takes it, g/ml."""
        lots = self.asked("recipe", "BUOY 3:1", "--tubes", "2")["lots"]
        return {lot["paint"]: lot["density"] for lot in lots}

    def look(self, grams: Mapping[str, float], finish: str | None) -> dict[str, Any]:
        """What `predict` says of exact grams of a film that hides."""
        parts = {p: g for p, g in sorted(grams.items()) if g > 0}
        key = (finish, *((p, round(g, 6)) for p, g in parts.items()))
        if key not in self._looks:
            mix = ",".join(f"{p}={g:.9f}" for p, g in parts.items())
            options = ("--finish", finish) if finish else ("--as-read",)
            (look,) = self.asked("predict", mix, *options)["looks"]
            self._looks[key] = look
        return self._looks[key]

    def lab(self, grams: Mapping[str, float], finish: str | None) -> Array:
        """The same, L*, a*, b* under D50."""
        return np.array(self.look(grams, finish)["lab"]["D50/2°"])


@cache
def targets(seed: int, count: int) -> tuple[str, ...]:
    """Colours as a user says them: screen colours of random mixes, dark ones, and tints of tubes.

    A third of the random mixes hold no white.
    """
    with tempfile.TemporaryDirectory() as name:
        table, rng = Table.laid(Path(name) / "demo"), np.random.default_rng([seed, 0x4A])
        found = []
        colours = [p for p in table.names.values() if p != WHITE]
        for i in range(count):
            some = [str(p) for p in rng.choice(colours, 2 + i % 2, replace=False)]
            if i % 5 == 4:
                found.append(f"{some[0]} {rng.integers(2, 12)}:1")
                continue
            grams = dict(zip(some, rng.dirichlet(np.ones(len(some))), strict=True))
            if i % 3:
                grams[WHITE] = float(np.exp(rng.uniform(np.log(0.3), np.log(40))))
            look = table.look(grams, "gloss")
            found.append(look["srgb"] if i % 2 else _typed(look["lab"]["D50/2°"]))
    return tuple(found)


def _typed(lab: Sequence[float]) -> str:
    return ",".join(f"{v:.0f}" for v in lab)
