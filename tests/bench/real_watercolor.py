"""Measured watercolors: what washes teach of mixtures, and what other mixtures teach.

``washes``: every pigment is fitted from its own washes alone. ``split``: the published training
mixtures are fitted too. ``pairs_left_out``: whole pairs of pigments are held out, a sixth at a
time, so that every mixture is predicted by a fit that saw none of its two pigments together. A
share is of mixtures within a CIELAB (1976) difference of 5, under D65 at 2 degrees; see
`tests.opendata.watercolor`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tests.opendata.watercolor import Unavailable
from tests.opendata.watercolor_fit import LADDERS, LADDERS_BY_TRANSPORT, WITH_MIXTURES, Settings

from .harness import Skipped, benchmark
from .opendata import watercolor_ladders, watercolor_pairs_left_out, watercolor_with_mixtures

BY_TRANSPORT = replace(WITH_MIXTURES, model="transport")
CASES: dict[str, tuple[Callable[[Settings], dict[str, object]], float, tuple[Settings, Settings]]]
CASES = {
    "washes": (watercolor_ladders, 0.62, (LADDERS, LADDERS_BY_TRANSPORT)),
    "split": (watercolor_with_mixtures, 0.92, (WITH_MIXTURES, BY_TRANSPORT)),
    "pairs_left_out": (watercolor_pairs_left_out, 0.85, (WITH_MIXTURES, BY_TRANSPORT)),
}


def _figure(scored: dict[str, object], figure: str) -> float:
    return float(scored[figure])  # type: ignore[arg-type]


for _case, (_scored, _target, _settings) in CASES.items():
    for _model, _how in zip(("two_flux", "transport"), _settings, strict=True):
        for _figure_name in ("share_under_5", "mean_de00"):

            def _run(scored=_scored, how=_how, figure=_figure_name) -> float:  # type: ignore[no-untyped-def]
                try:
                    return _figure(scored(how), figure)
                except Unavailable as reason:
                    raise Skipped(str(reason)) from None

            _share = _figure_name == "share_under_5"
            benchmark(
                f"real.watercolor_{_case}.{_model}.{_figure_name}",
                "share within CIELAB 5" if _share else "CIEDE2000",
                target=_target if _share else None,
                sense="at least" if _share else "at most",
            )(_run)
