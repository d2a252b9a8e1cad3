"""The lab's stress variants: how far predictions go astray where paint departs from any fit."""

from __future__ import annotations

import re

from tests.lab.drawdown import NOMINAL, VARIANTS

from .fit import heldout
from .harness import benchmark

for _name in VARIANTS:
    if _name != NOMINAL.name:
        _slug = re.sub(r"[^a-z0-9]+", "_", _name.lower()).strip("_")
        benchmark(f"fit.stress_{_slug}_mean_de00", "CIEDE2000")(
            lambda name=_name: heldout(name, True).mean
        )


@benchmark("fit.stress_worst_variant_mean_de00", "CIEDE2000")
def worst() -> float:
    """The worst of them, as the design asks for beside the nominal lab's."""
    return max(heldout(name, True).mean for name in VARIANTS if name != NOMINAL.name)
