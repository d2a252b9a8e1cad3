"""K and S from a scanned card: no spectrophotometer, a calibrated answer all the same.

One patch's red, green and blue fit endless spectra. A ladder's do not: the same K and S must
explain masstone, tints and both substrates through the same three channels, and each mix bends them
differently. A second device that sees the same cards adds three channels of its own. So K and S are
fitted to the channel values themselves, every nuisance value of the cards beside them, and what the
scan leaves open is filled by what paints are like, its uncertainty left standing.

What a scan can't tell:

- anything below some 400 nm and beyond some 700, where lamps and filters are dark: K and S there
  are what is believed of paints, with the uncertainty of a belief;
- narrow features: a dip that falls between two channels, or how steep an edge is. A lamp of narrow
  bands, as older scanners have, is blind between them and leaves more open than a white LED;
- what two fluxes get wrong of a spectrum: three channels can be met by a wrong one. What is allowed
  for it is taken over, not read;
- fluorescence, which a scanner's lamp excites in its own way;
- K and S apart from each other where a film hides its substrate and there is no ladder, as with any
  reading.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np

from ...cards.card import Card
from ...cards.channels import CardChannels, by_card
from ...errors import InputError
from ...optics.coefficients import ABSOLUTE, Coefficients
from ...optics.sensors import CHANNELS, Sensors
from ...optics.spectra import Array
from ..judging.quality import nuisance_table, paint_fits
from ..minimise import HELD
from ..new_tube import known_log, with_known
from ..problem.arrays import Problem
from ..problem.result import JointFit, PaintFit
from ..problem.seen import ratio_only, unread
from ..problem.set_aside import Reasons, kept_of
from ..problem.settings import FitSettings
from ..problem.start import starting_values
from ..problem.threads import one_thread
from ..problem.tube import Tube
from ..solver.normal import Prior
from ..solver.solve import Progress, Solution
from ..uncertainty.posterior import coefficients, spread
from .patch import CORRECTION_SD, corrected
from .prior import Likeness, ScanPrior, white_prior
from .problem import lay_out, see_through
from .solve import ChannelsSeen, solve_channels
from .whitening import model_sd, whitening
from .wrong_steps import odd_steps

_LEFT_OVER = 0.35
"""Share of what is allowed for at each wavelength that a fit leaves unexplained. An instrument's
readings show it, a third in the virtual paint lab; three channels don't."""
_ROUNDS = 4
"""How often to solve: weights follow the fitted spectra, and beliefs what the paint is like."""
_LaidOut = tuple[Problem, ChannelsSeen, Array, tuple[int, ...]]
"""A problem, what was seen of it, the channels' variance, and patches that show their substrate."""


def fit_scan(
    readings: Sequence[CardChannels],
    tubes: Mapping[str, Tube],
    sensors: Sensors,
    prior: ScanPrior | None = None,
    settings: FitSettings | None = None,
    *,
    known: Coefficients | None = None,
    progress: Progress | None = None,
    look: bool = True,
) -> JointFit:
    """Fit K and S of every paint on scanned cards, jointly.

    Parameters
    ----------
    readings : sequence of CardChannels
        Cards whose purpose is ``check`` are passed over; those of ``learn`` hold mixtures that it
        learns from.
    tubes : mapping of nickname to Tube
    sensors : Sensors
        Of the device that the cards were scanned with, or of several side by side; what is unsure
        of them passes into K and S.
    prior : ScanPrior, optional
        What paints are like; by default invented ones.
    settings : FitSettings, optional
    known : Coefficients, optional
        Of paints that were read by an instrument; they are held, and make the rest surer.
    progress : callable, optional
        Called with the step and the cost.
    look : bool
        Whether to look for steps that don't belong.

    Returns
    -------
    JointFit
        Its scanned paints are marked ``scan_made``. Measured spectra in its tables are the fitted
        ones, moved until their channels are those of the scan. With known paints its coefficients
        hold these too, and their factors, as `tintladder.calibrate.fit.new_tube.fit_new_tubes`.

    Raises
    ------
    InputError
        Where channel values are impossible, every paint is known already, a film of known
        thickness is to be fitted with a white whose K and S are relative, no paint but whites can
        be fitted, or for what no fit can do (see `tintladder.calibrate.fit.problem.build`).

    Notes
    -----
    A paint is thought to be like one of the prior's. The readings say how likely each of them is,
    and its belief becomes the normal distribution of mean and covariance as all of them together,
    each weighed so; then the fit is solved again.
    """
    prior, settings = (
        prior or ScanPrior.invented(),
        settings or FitSettings(surface_error=0.0, crowding=0.0),
    )
    cards = [r.card for r in readings if r.card.purpose != "check"]
    weighed_out = list(dict.fromkeys(p for card in cards for p in card.paints))
    beside = None
    if known is not None:
        film = next((c for c in cards if any(not d.opaque for d in c.drawdowns)), None)
        if known.scale != ABSOLUTE and film is not None:
            raise InputError(
                film.file,
                None,
                f"this card has films, but the known paints' K and S are {known.scale}",
                "scan all paints' cards together, so that films and white come to one scale",
            )
        beside = known.select([p for p in weighed_out if p in known.paints])
        if len(beside.paints) == len(weighed_out) and cards:
            raise InputError(
                cards[0].file,
                None,
                "every paint on these cards is known already",
                "scan a card of a new tube",
            )

    def cost(card: CardChannels) -> tuple[float, dict[str, float]]:
        """What a fit of one card by itself costs, and each step's share."""
        there = None if beside is None else beside.select(_on(card, beside))
        problem, seen, variance = lay_out([card], tubes, sensors, prior, settings, there)
        seen = _unread(seen, see_through(problem, seen, variance))
        begun = _begin(problem, [card.card], prior, there)
        solution = _minimise(problem, seen, variance, begun, settings, None)
        return solution.cost, _shares(problem, seen, variance, solution, settings)

    def laid_out(some: Sequence[CardChannels]) -> tuple[_LaidOut, Reasons]:
        problem, seen, variance = lay_out(some, tubes, sensors, prior, settings, beside)
        aside = see_through(problem, seen, variance)
        none_left = _nothing_left(problem, _unread(seen, aside), beside)
        return (problem, seen, variance, aside), none_left

    given = () if beside is None else beside.paints
    readings, (problem, whole, variance, aside), unfitted = kept_of(readings, laid_out, given)
    cards = [r.card for r in readings if r.card.purpose != "check"]
    with one_thread():
        odd = [
            each
            for card in by_card(readings)
            if look
            and card.card.purpose == "fit"
            and (known is None or _on(card, known) != card.card.paints)
            for each in odd_steps(card, cost)
        ]
        findings = tuple(each.finding(problem) for each in odd)
        rows = [n for finding in findings for n in finding.rows]
        seen = _unread(whole, [*aside, *rows])
        begun = _begin(problem, cards, prior, beside)
        solution = _minimise(problem, seen, variance, begun, settings, progress)
        solution = replace(solution, findings=findings)
        fit = _report(problem, seen, solution, variance, tubes, settings, beside)
    shown = {(problem.patches[n].card, problem.patches[n].step) for n in aside}
    devices = len(sensors.sensitivity) // len(CHANNELS)
    paints = {p: _said(each, shown, devices) for p, each in fit.paints.items()}
    return replace(fit, paints=paints, aside=unfitted, cost=solution.cost)


def _on(card: CardChannels, known: Coefficients) -> tuple[str, ...]:
    return tuple(paint for paint in card.card.paints if paint in known.paints)


def _shares(
    problem: Problem, seen: ChannelsSeen, variance: Array, solution: Solution, settings: FitSettings
) -> dict[str, float]:
    """Squares of standard deviations that each step's channels lie off."""
    root = whitening(problem, seen, variance, solution.fitted, settings)
    shown = solution.fitted @ seen.sensitivity_at(solution.nu).T
    off = np.nan_to_num(seen.levelled(solution.nu) - shown)
    square = (np.einsum("ncd,nd->nc", root, off) ** 2).sum(axis=1)
    found: dict[str, float] = {}
    for patch, part in zip(problem.patches, square.tolist(), strict=True):
        found[patch.step] = found.get(patch.step, 0.0) + part
    return found


def _unread(seen: ChannelsSeen, aside: Sequence[int]) -> ChannelsSeen:
    """Take from what was seen the patches that are set aside."""
    channels = seen.channels.copy()
    channels[list(aside)] = np.nan
    return replace(seen, channels=channels)


def _nothing_left(problem: Problem, seen: ChannelsSeen, known: Coefficients | None) -> Reasons:
    """Paints of which no patch is left, and why."""
    holds = problem.fractions[problem.drawdown] > 0
    read = np.asarray(np.isfinite(seen.channels).any(axis=1))
    found = {}
    for i, paint in enumerate(problem.paints):
        if not holds[read, i].any() and not (known is not None and paint in known.paints):
            card = next(p.card for n, p in enumerate(problem.patches) if holds[n, i])
            found[paint] = InputError(
                None,
                f"card {card}, paint {paint}",
                "black and white show under every patch read, and its bare card was not read",
                "scan the whole card, with its bare black and white",
            )
    return found


def _said(fit: PaintFit, shown: Set[tuple[str, str]], devices: int) -> PaintFit:
    """Say that a paint was scanned, and which of its steps did not hide."""
    words = ["read by a scanner: three channels, not a spectrum"]
    if devices > 1:
        words = [f"read by {devices} devices: {devices * len(CHANNELS)} channels, not a spectrum"]
    table = fit.patches[["card", "step"]].drop_duplicates()
    steps = [step for card, step in table.itertuples(index=False) if (card, step) in shown]
    if steps:
        words.append(
            f"{', '.join(steps)} does not hide black and white, and what lies beneath was not "
            "read: set aside; scan the whole card, with its bare black and white"
        )
    return replace(fit, reasons=(*fit.reasons, *words))


@dataclass(frozen=True)
class _Begun:
    """Where a fit begins.

    Attributes
    ----------
    theta : (P, 2, W) array
        Log K and log S.
    belief : Prior
        Of whites and known paints; of the others, what all that they may be like come to together.
    likeness : Likeness
    free : tuple of int
        The others.
    """

    theta: Array
    belief: Prior
    likeness: Likeness
    free: tuple[int, ...]


def _begin(
    problem: Problem, cards: Sequence[Card], prior: ScanPrior, known: Coefficients | None
) -> _Begun:
    n_p, n_w = len(problem.paints), problem.wavelengths.size
    relative = problem.scale != ABSOLUTE
    whites = {d.white for card in cards for d in card.drawdowns}
    center, precision = np.zeros((n_p, 2, n_w)), np.zeros((n_p, 2 * n_w, 2 * n_w))
    theta, free, white_s = starting_values(problem), [], None
    for i, paint in enumerate(problem.paints):
        if known is not None and paint in known.paints:
            center[i] = theta[i] = known_log(known, paint, theta[i])
            precision[i] = np.eye(2 * n_w) * HELD
            if paint in whites:
                white_s = np.exp(theta[i, 1])
        elif paint in whites:
            center[i], covariance = white_prior(relative, problem.model)
            precision[i] = np.linalg.inv(covariance)
            theta[i] = center[i]
            if problem.scale == f"relative to {paint}":
                precision[i, n_w:, n_w:] += np.eye(n_w) * HELD
        else:
            free.append(i)
    likeness = Likeness.of(prior, white_s, relative, problem.model)
    mean, covariance = likeness.together(likeness.weight)
    center[free], precision[free] = mean, np.linalg.inv(covariance)
    return _Begun(theta, Prior(center, precision), likeness, tuple(free))


def _minimise(
    problem: Problem,
    seen: ChannelsSeen,
    variance: Array,
    begun: _Begun,
    settings: FitSettings,
    progress: Progress | None,
) -> Solution:
    """Solve, ask what each paint is like, and solve again.

    It begins without brushed masstones: where neither K nor thickness is known yet, a thin one
    can be explained by a spectrum that the ladder then never leaves.
    """
    belief, spectra = begun.belief, problem.measured
    theta, nu = begun.theta, None
    for step in range(-1, _ROUNDS):
        some = seen if step >= 0 else _ladders(problem, seen)
        root = whitening(problem, some, variance, spectra, settings)
        solution = solve_channels(problem, some, theta, belief, root, nu=nu, progress=progress)
        if step < _ROUNDS - 1:
            belief = _believed(problem, solution, belief, begun)
        theta, nu, spectra = solution.theta, solution.nu, solution.fitted
    return solution


def _ladders(problem: Problem, seen: ChannelsSeen) -> ChannelsSeen:
    """What was seen, without brushed masstones."""
    single = (problem.fractions > 0).sum(axis=1) == 1
    return _unread(seen, np.flatnonzero((single & problem.brushed)[problem.drawdown]).tolist())


def _believed(problem: Problem, solution: Solution, belief: Prior, begun: _Begun) -> Prior:
    """What is believed of the free paints, seeing which paints their readings are like.

    What the readings alone say of a paint, all nuisance values open, is its posterior less the
    belief that went into it.
    """
    own, shared = spread(problem, solution)
    center, precision = belief.center.copy(), belief.precision.copy()
    for p in begun.free:
        posterior = np.linalg.inv(own[p] + shared[p] @ shared[p].T)
        pull = posterior @ solution.theta[p].ravel() - precision[p] @ center[p].ravel()
        weight = begun.likeness.weighed(_positive(posterior - precision[p]), pull)
        center[p], covariance = begun.likeness.together(weight)
        precision[p] = np.linalg.inv(covariance)
    return Prior(center, precision)


def _positive(information: Array) -> Array:
    """Lift what rounding pushed below zero."""
    values, vectors = np.linalg.eigh((information + information.T) / 2)
    result: Array = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return result


def _report(
    problem: Problem,
    seen: ChannelsSeen,
    solution: Solution,
    variance: Array,
    tubes: Mapping[str, Tube],
    settings: FitSettings,
    known: Coefficients | None,
) -> JointFit:
    """Put a solution into words and tables."""
    read = np.asarray(np.isfinite(seen.channels).any(axis=1))
    measured = np.full_like(solution.fitted, np.nan)
    measured[read] = corrected(
        solution.fitted[read],
        seen.sensitivity_at(solution.nu),
        seen.levelled(solution.nu)[read],
        variance[read],
    )
    mean = np.nanmean(np.where(read[:, None], variance, 1.0), axis=1, keepdims=True)
    noise = np.broadcast_to(mean, measured.shape)
    problem = replace(problem, measured=measured, variance=np.where(read[:, None], noise, np.nan))
    found = coefficients(problem, solution, unread(problem), ratio_only(problem), tubes)
    # Three channels show little of what two fluxes get wrong of a spectrum: what was allowed for
    # stands beside it.
    allowed = np.sqrt(np.nanmean(model_sd(problem, measured, settings) ** 2, axis=0))
    found = replace(
        found,
        scan_made=np.ones(len(found.paints), dtype=bool),
        model_error=np.hypot(found.model_error, _LEFT_OVER * allowed),
    )
    names = list(problem.paints)
    if known is not None:
        names = [p for p in names if p not in known.paints]
        found = with_known(problem, solution, found, known, names)
    weight = np.where(read[:, None], 1 / np.where(read[:, None], noise, 1.0), 0.0)
    # A dark channel doesn't say at which wavelength it is dark.
    unsure = replace(problem, variance=problem.variance + CORRECTION_SD**2)
    paints = paint_fits(names, unsure, solution, weight, found)
    return JointFit(paints, found, nuisance_table(problem, solution), settings.as_dict())
