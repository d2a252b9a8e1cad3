"""How much better a planned ladder of six steps does than an even one.

Each ladder is painted and read with errors from a seed, fitted together with the white's own card,
and judged by the root mean square CIEDE2000 of the masstone and seven tints (1:1 to 64:1 white to
colour) over black and over white, predicted against what is true of them. "Even" has colour
fractions 1, 5/6, ... 1/6 by mass; "halving" (beside it) 1, 1/2, 1/4, ... 1/32. All three are
weighed out by the same rules on the same balance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.cards.weighing_out import Step, weigh_out
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.minimise import smooth_prior
from tintladder.calibrate.fit.planning.guess import Guess
from tintladder.calibrate.fit.planning.information import DRIFT, TARGETS, unpainted
from tintladder.calibrate.fit.planning.next_step import LadderPlan, plan_ladder
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.noise import TYPICAL
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.solver.solve import solve
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.fit.uncertainty.model_errors import first_weight, full_weight
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import Surface

from tests.lab.drawdown import VARIANTS, Lab, Variant
from tests.lab.paints import PAINTS, WHITE
from tests.lab.plan import BALANCE_G, GAP_UM, ladders
from tests.synthetic import BARE, KS, TUBES
from tests.synthetic import WHITE as MADE_WHITE

from .harness import benchmark

EVEN = tuple(6 / n - 1 for n in (6, 5, 4, 3, 2, 1))
HALVING = (0.0, 1.0, 3.0, 7.0, 15.0, 31.0)
MADE = {"R": "ordinary", "B": "ordinary", "Y": "ordinary"}
LAB = {
    "PITCH": "strong",
    "DUSK": "strong",
    "STARBOARD": "strong",
    "ANCHOR": "ordinary",
    "PENNANT": "ordinary",
    "BUOY": "ordinary",
    "RESIN": "ordinary",
    "LANTERN": "ordinary",
    "ROPE": "ordinary",
}
"""Paints, and how strong a painter would take each tube to be."""
_WALK = np.linspace(0.0, 8.0, 161)
NOISE = replace(FitSettings(), noise=TYPICAL)


def targets(paint: str, white: str, gap_um: float) -> Card:
    """The masstone and tints to be predicted, at exact fractions."""
    drawdowns = [
        Drawdown(f"t{r:g}", None, {paint: 10 / (1 + r), white: 10 * r / (1 + r)}, gap_um=gap_um)
        if r
        else Drawdown("t0", None, {paint: 10.0}, gap_um=gap_um)
        for r in TARGETS
    ]
    return Card("targets", "targets.toml", tuple(drawdowns))


def make(
    cards: Sequence[Card],
    later: Card,
    truth: Mapping[str, tuple[Array, Array]],
    paint: str,
    seed: int | None,
    settings: FitSettings = NOISE,
) -> list[CardReadings]:
    """Readings made with the two-flux model, every error drawn from its prior.

    Parameters
    ----------
    cards : sequence of Card
    later : Card
        Returned last, as a check card: true readings at nominal thickness and weight.
    truth : mapping of nickname to (K, S)
    paint : str
        Whose absorption drifts along the ladder.
    seed : int or None
        None: no error.
    """
    rng = np.random.default_rng(seed)
    size = 0.0 if seed is None else 1.0
    surface = Surface.of("di:8")
    empty = [unpainted(c.name, c.drawdowns, BARE, c.balance_g, surface) for c in (*cards, later)]
    problem = build(empty, {p: TUBES[p] for p in truth}, settings)
    theta = np.log(np.array([truth[p] for p in problem.paints]))
    held = problem.fractions[:, problem.paints.index(paint)]
    level = -np.log2(np.where(held > 0, held, 1.0))
    # The walk comes first from the seed, so that every ladder is judged on the same paint.
    steps = rng.standard_normal(_WALK.size - 1) * DRIFT * np.sqrt(np.diff(_WALK))
    walk = np.interp(level, _WALK, np.concatenate([[0.0], np.cumsum(steps)]))
    on_target = set(problem.drawdown[[p.card == later.name for p in problem.patches]].tolist())
    nu = rng.standard_normal(len(problem.nuisances))
    for m, nuisance in enumerate(problem.nuisances):
        if on_target.issuperset(nuisance.drawdowns):
            nu[m] = 0.0
        if nuisance.kind == "two fluxes":
            nu[m] += walk[nuisance.drawdowns[0]]
    prior = smooth_prior(problem, theta, settings)
    at = solve(problem, theta, prior, first_weight(problem, settings), nu=size * nu, most=0)
    sd = 1 / np.sqrt(full_weight(replace(problem, measured=at.fitted), at, settings))
    read = at.fitted + size * sd * rng.standard_normal(sd.shape)
    out = []
    for r in empty:
        spectra, values = r.spectra, r.spectra.values.copy()
        for n, patch in enumerate(problem.patches):
            if patch.card == r.card.name:
                exact = patch.card == later.name
                values[r.rows(patch.label)] = at.fitted[n] if exact else read[n]
        purpose = "check" if r.card.name == later.name else "fit"
        out.append(
            replace(
                r, card=replace(r.card, purpose=purpose), spectra=replace(spectra, values=values)
            )
        )
    return out


def differences(readings: Sequence[CardReadings], tubes: Mapping, settings: FitSettings) -> Array:
    """CIEDE2000 of each target after a fit of the other cards, (T, 2)."""
    fit = fit_paints(readings, tubes, settings)
    found = check_mixtures(fit.coefficients, readings, settings)
    result: Array = found.patches["de00"].to_numpy().reshape(len(TARGETS), 2)
    return result


def three(plan: LadderPlan, steps: int = 6) -> dict[str, tuple[Drawdown, ...]]:
    """The planned ladder, the even one, and the one of halves."""
    planned = plan_ladder(
        plan.paint,
        plan.white,
        steps=steps,
        known=plan.known,
        gap_um=plan.gap_um,
        balance_g=plan.balance_g,
        settings=plan.settings,
    )
    at = [[Step(r, gap_um=plan.gap_um) for r in ratios] for ratios in (EVEN, HALVING)]
    return {
        "planned": planned.drawdowns,
        "even": plan.weigh(at[0]),
        "halving": plan.weigh(at[1]),
    }


def made_trials(
    paint: str, seeds: Sequence[int], balance_g: float = 0.01
) -> dict[str, tuple[float, float]]:
    """Expected and found root mean square CIEDE2000 of each ladder, on model-made readings."""
    gap = 300.0
    names = (paint, MADE_WHITE)
    truth = {p: KS[p] for p in names}
    whites = weigh_out(*names, [Step(np.inf, gap_um=gap)], balance_g)
    white_card = Card("white", "white.toml", whites, balance_g=balance_g)
    later = targets(paint, MADE_WHITE, gap)
    first = weigh_out(*names, [Step(0.0, gap_um=gap), Step(1.0, gap_um=gap)], balance_g)
    start = make([white_card, Card("ladder", "l.toml", first)], later, truth, paint, None)
    guess = [Guess(TUBES[p], KS[p][0][None], KS[p][1][None]) for p in names]
    known = LadderPlan(guess[0], guess[1], (start[0],), gap, balance_g, settings=NOISE)
    unknown = replace(known, paint=Guess.typical(TUBES[paint], MADE[paint]))
    out = {}
    for name, drawdowns in three(unknown).items():
        card = Card("ladder", "ladder.toml", drawdowns, balance_g=balance_g)
        tubes = {p: TUBES[p] for p in names}
        found = [
            differences(make([white_card, card], later, truth, paint, seed), tubes, NOISE)
            for seed in seeds
        ]
        out[name] = (known.expect(drawdowns).de00, float(np.sqrt(np.mean(np.square(found)))))
    return out


def lab_trials(
    paint: str, seeds: Sequence[int], variant: Variant = VARIANTS["nominal"], points: int = 12
) -> dict[str, tuple[float, float]]:
    """The same in the virtual paint lab, whose optics are not the model's."""
    lab = Lab(variant, points)
    (white_card,) = (c for c in ladders() if set(c.paints) == {WHITE})
    later = replace(targets(paint, WHITE, GAP_UM), purpose="check")
    (true,) = lab.read([later])
    guess = Guess.typical(PAINTS[paint].tube, LAB[paint])
    known = tuple(lab.read([white_card], seeds[0]))
    plan = LadderPlan(guess, Guess.typical_white(PAINTS[WHITE].tube), known, GAP_UM, BALANCE_G)
    out = {}
    for name, drawdowns in three(plan).items():
        card = Card("ladder", "ladder.toml", drawdowns, balance_g=BALANCE_G)
        found = [
            differences([*lab.read([white_card, card], seed), true], lab.tubes, FitSettings())
            for seed in seeds
        ]
        out[name] = (plan.expect(drawdowns).de00, float(np.sqrt(np.mean(np.square(found)))))
    return out


def _together(trials: Sequence[Mapping[str, tuple[float, float]]]) -> dict[str, Array]:
    return {
        name: np.sqrt(np.mean(np.square([t[name] for t in trials]), axis=0)) for name in trials[0]
    }


def _report(name: str, trials: Sequence[Mapping[str, tuple[float, float]]]) -> dict[str, object]:
    rms = _together(trials)
    ratio = float(rms["planned"][1] / rms["even"][1])
    return {
        "name": name,
        "value": ratio,
        "target": "< 1",
        "met": ratio < 1,
        "over_halving": float(rms["planned"][1] / rms["halving"][1]),
        "rms_de00": {k: float(v[1]) for k, v in rms.items()},
        "expected_de00": {k: float(v[0]) for k, v in rms.items()},
    }


def planned_over_even_made(seeds: int = 40) -> dict[str, object]:
    """Planned over even, model-made readings with errors from their priors."""
    trials = [made_trials(p, range(seeds)) for p in MADE]
    return _report("fit.planned_ladder_over_even_made", trials)


def planned_over_even_lab(seeds: int = 5, variant: str = "nominal") -> dict[str, object]:
    """Planned over even, in the virtual paint lab."""
    trials = [lab_trials(p, range(1, seeds + 1), VARIANTS[variant]) for p in LAB]
    return _report("fit.planned_ladder_over_even_lab", trials)


@benchmark("fit.planned_ladder_over_even_made", "RMS CIEDE2000 of planned over even", target=1.0)
def _made() -> float:
    return float(planned_over_even_made()["value"])  # type: ignore[arg-type]


@benchmark("fit.planned_ladder_over_even_lab", "RMS CIEDE2000 of planned over even", target=1.0)
def _lab() -> float:
    return float(planned_over_even_lab()["value"])  # type: ignore[arg-type]
