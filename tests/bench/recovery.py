"""K and S from scanned cards: how well they predict mixtures, and what the ladder gains.

Two worlds: the virtual lab's drawdown cards of invented paints, over black and white, with all
that errs at a bench; and opaque ladders of published acrylics, made by the fit's own theory.
Scanners are invented (`tests.invented_scanner`), their sensitivities estimated from an invented
target, or known. No leakage: what is believed of an invented paint is learnt from published ones
and the other way round, and its pigment's whole family is left out. How near paints lie to each
other in the prior was chosen on seeds 1 to 3 of the lab and on the published ladders.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.channels import side_by_side
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.scans.patch import patch_spectra
from tintladder.calibrate.fit.scans.prior import ScanPrior
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.fit.uncertainty.check import Check, check_mixtures
from tintladder.calibrate.fit.uncertainty.propagate import beside
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.colour import D50, View, ciede2000, lab
from tintladder.calibrate.optics.colour_difference import ciede2000_band
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.sensors import Sensors
from tintladder.calibrate.optics.spectra import GRID, Array
from tintladder.calibrate.optics.surface import Surface, to_measured
from tintladder.calibrate.optics.transport import TRANSPORT
from tintladder.database.fits.scan_fitting import scan_settings

from tests.invented_scanner import LED, THREE_BANDS, characterised, scanned
from tests.lab import plan
from tests.lab.drawdown import Lab
from tests.lab.paints import PAINTS, WHITE
from tests.opendata import okumura

from .harness import Skipped, benchmark

SEEDS = range(101, 106)
MIXTURES_A_SEED = 40
MIXTURES_A_PAINT = 12
LAMP_A = View("A")
PUBLISHED_K2 = 0.60
QUICK_RATIOS = (1, 3, 7, 15, 31)
SCANNERS = {"LED": LED, "three bands": THREE_BANDS}

FAMILY = {
    "earth": ("Burnt Sienna", "Burnt Umber", "Raw Sienna", "Raw Umber", "Red Oxide",
              "Yellow Ochre", "ROPE"),
    "black": ("Carbon Black", "Paynes Gray", "PITCH"),
    "phthalocyanine": ("Phthalo Blue (Green Shade)", "Phthalo Green (Blue Shade)",
                       "Permanent Green Light", "Jenkins Green", "STARBOARD"),
    "quinacridone": ("Quinacridone Crimson", "Quinacridone Magenta", "PENNANT"),
    "cobalt": ("Cobalt Blue", "Cerulean Blue"),
    "ultramarine": ("Ultramarine Blue", "ANCHOR"),
    "dioxazine": ("Dioxazine Purple", "DUSK"),
    "pyrrole": ("Pyrrole Red", "Naphthol Red Medium", "BUOY"),
    "yellow": ("Diarylide Yellow", "Hansa Yellow Opaque", "Green Gold", "LANTERN", "RESIN"),
}  # fmt: skip
"""Paints whose pigments are alike; one that stands nowhere is a family of its own."""


def _stranger(paint: str, other: str) -> bool:
    return paint != other and not any(paint in f and other in f for f in FAMILY.values())


@cache
def prior_for(paint: str) -> ScanPrior:
    """What is believed of a paint, from the other world's paints of other families."""
    prior = ScanPrior.invented()
    if paint in PAINTS:
        if not okumura.TABLE.exists():
            return prior
        table = okumura.table()
        others = [p for p in table if p != okumura.WHITE and _stranger(paint, p)]
        k, s = (np.array([table[p][q] for p in others]) for q in range(2))
        return prior.learnt(k, s)
    known = measured(SEEDS[0])
    others = [p for p in known.paints if p == WHITE or _stranger(paint, p)]
    return prior.learnt_from(known.select(others), WHITE)


@cache
def measured(seed: int) -> Coefficients:
    """The lab's paints, as fitted to an instrument's readings of their cards."""
    sphere = Lab()
    return fit_paints(sphere.read(plan.ladders(), seed), sphere.tubes).coefficients


class Score(NamedTuple):
    """Of predicted mixtures, and of the ladders' own patches.

    Attributes
    ----------
    d50, a : array
        CIEDE2000 of each mixture under the two lamps.
    inside : bool array
        Whether it lies within its 95 % band, under D50.
    rms : array
        Of each patch's reflectance as fitted.
    alone : dict of array
        The same of its spectrum guessed from its own channels, by method.
    """

    d50: Array
    a: Array
    inside: Array
    rms: Array
    alone: dict[str, Array]


def _judge(check: Check, rows: Array | slice) -> tuple[Array, Array, Array]:
    made, read = check.prediction, check.measured
    d50, a = (
        ciede2000(lab(made.reflectance, view=view), lab(read, view=view))[rows]
        for view in (D50, LAMP_A)
    )
    return d50, a, d50 <= ciede2000_band(made.lab(), made.lab_covariance())[rows]


def _rms(found: Array, true: Array) -> Array:
    result: Array = np.sqrt(((found - true) ** 2).mean(axis=1))
    return result


def _smoothest(sensitivity: Array, channels: Array) -> Array:
    """Curves of least second difference whose channels are those read."""
    bend = np.diff(np.eye(GRID.size), 2, axis=0)
    none = np.zeros((3, 3))
    system = np.block([[2 * bend.T @ bend, sensitivity.T], [sensitivity, none]])
    right = np.concatenate([np.zeros((GRID.size, len(channels))), channels.T])
    return np.clip(np.linalg.solve(system, right)[: GRID.size].T, 0, 1)


def alone(sensors: Sensors, table: Array, channels: Array, variance: Array) -> dict[str, Array]:
    """Spectra of patches from their own channels alone, by method."""
    m = sensors.sensitivity
    return {
        "Wiener": patch_spectra(table, m, channels, variance),
        "pseudo-inverse": channels @ np.linalg.pinv(m).T,
        "smoothest": _smoothest(m, channels),
    }


class _Tally:
    """Collects what a `Score` is made of."""

    def __init__(self) -> None:
        self.mixtures: list[tuple[Array, Array, Array]] = []
        self.rms: list[Array] = []
        self.alone: dict[str, list[Array]] = {}

    def ladder(self, fit: JointFit, paint: str, cards: tuple, sensors: Sensors) -> None:
        readings, seen = cards
        patches = fit.paints[paint].patches["patch"]
        true = np.array([readings.read(label)[0] for label in patches])
        fitted = fit.paints[paint].residuals["fitted"].to_numpy().reshape(-1, GRID.size)
        self.rms.append(_rms(fitted, true))
        average = seen.averaged()
        at = [average.labels.index(label) for label in patches]
        table = to_measured(prior_for(paint).ladders, readings.surface)
        guesses = alone(sensors, table, average.channels[at], average.variance[at])
        for method, spectra in guesses.items():
            self.alone.setdefault(method, []).append(_rms(spectra, true))

    def score(self) -> Score:
        d50, a, inside = (np.concatenate(each) for each in zip(*self.mixtures, strict=True))
        rms = np.concatenate(self.rms) if self.rms else np.zeros(0)
        return Score(d50, a, inside, rms, {m: np.concatenate(r) for m, r in self.alone.items()})


def sensors_of(scanner: str, estimated: bool) -> Sensors:
    return characterised(SCANNERS[scanner], 1) if estimated else SCANNERS[scanner]


@cache
def lab_known(scanner: str, estimated: bool) -> Score:
    """Each invented paint from its scanned card, with the instrument's K and S of all others."""
    sensors, tally = sensors_of(scanner, estimated), _Tally()
    flat, sphere = Lab(surface=Surface.of("45:0")), Lab()
    for seed in SEEDS:
        mixtures, known = sphere.random_mixtures(MIXTURES_A_SEED, seed).readings, measured(seed)
        for readings in flat.read(plan.ladders(), seed, noise=False, repeats=1):
            paint = str(readings.card.drawdowns[0].paint)
            if paint == WHITE:
                continue
            seen = scanned(readings, SCANNERS[scanner], seed)
            others = known.select([p for p in known.paints if p != paint])
            fit = fit_scan([seen], flat.tubes, sensors, prior_for(paint), known=others)
            tally.ladder(fit, paint, (readings, seen), sensors)
            check = check_mixtures(beside(fit.coefficients, others, "known")[0], [mixtures])
            holds = np.array([paint in mix.split() for mix in check.patches["mix"]])
            tally.mixtures.append(_judge(check, holds))
    return tally.score()


@cache
def lab_all(scanner: str, estimated: bool) -> Score:
    """All invented paints from their scanned cards, none measured."""
    sensors, tally = sensors_of(scanner, estimated), _Tally()
    flat = Lab(surface=Surface.of("45:0"))
    for seed in SEEDS:
        cards = flat.read(plan.ladders(), seed, noise=False, repeats=1)
        seen = [scanned(readings, SCANNERS[scanner], seed) for readings in cards]
        fit = fit_scan(seen, flat.tubes, sensors)
        mixtures = flat.random_mixtures(MIXTURES_A_SEED, seed).readings
        check = check_mixtures(fit.coefficients, [mixtures])
        tally.mixtures.append(_judge(check, slice(None)))
    return tally.score()


@cache
def as_studio(devices: tuple[str, ...]) -> Score:
    """As `lab_all`, by transport as a studio fits scans, seen by one device or by several."""
    settings, tally = scan_settings(TRANSPORT), _Tally()
    flat = Lab(surface=Surface.of("45:0"))
    sensors = [sensors_of(name, True) for name in devices]
    for seed in SEEDS:
        cards = flat.read(plan.ladders(), seed, noise=False, repeats=1)
        seen = [
            [scanned(readings, SCANNERS[name], 10 * seed + i) for readings in cards]
            for i, name in enumerate(devices)
        ]
        together = Sensors.side_by_side(sensors)
        fit = fit_scan(side_by_side(seen), flat.tubes, together, settings=settings)
        mixtures = flat.random_mixtures(MIXTURES_A_SEED, seed).readings
        tally.mixtures.append(_judge(check_mixtures(fit.coefficients, [mixtures]), slice(None)))
    return tally.score()


def _opaque(step: str, paint: str | None, masses: dict[str, float]) -> Drawdown:
    # Three coats; what the lab draws down so thick, the fit is told, hides.
    return Drawdown(step, paint, masses, white=paint and WHITE, opaque=True, gap_um=1500.0)


def quick_card(paint: str) -> Card:
    """Tints brushed out until the black no longer shows, weighed on a kitchen scale."""
    steps = [
        _opaque(f"{n}:1", paint, {paint: round(16 / (1 + n), 1), WHITE: round(16 * n / (1 + n), 1)})
        for n in QUICK_RATIOS
    ]
    if paint == WHITE:
        steps = []
    steps.insert(0, _opaque("masstone", paint, {paint: 16.0}))
    return Card(f"quick {paint}", "quick.toml", tuple(steps), balance_g=0.05)


@cache
def quick() -> Score:
    """All paints from quick cards, scanned, sensitivities estimated; opaque mixtures."""
    sensors, tally = sensors_of("LED", True), _Tally()
    flat = Lab(surface=Surface.of("45:0"))
    for seed in SEEDS:
        cards = flat.read([quick_card(p) for p in PAINTS], seed, noise=False, repeats=1)
        fit = fit_scan([scanned(r, LED, seed) for r in cards], flat.tubes, sensors)
        mixes = plan.random_mixtures(MIXTURES_A_SEED, seed)
        # With white in them, as quick cards are for: many masstones never hid.
        steps = [_opaque(name, None, mix) for name, mix in mixes.items() if WHITE in mix]
        card = Card("opaque", "opaque.toml", tuple(steps), purpose="check")
        (truth,) = flat.read([card], seed, noise=False, repeats=1)
        tally.mixtures.append(_judge(check_mixtures(fit.coefficients, [truth]), slice(None)))
    return tally.score()


def published_coefficients(paints: Sequence[str]) -> Coefficients:
    """Published K and S, as sure as if they were exact."""
    k, s = (np.array([okumura.table()[p][q] for p in paints]) for q in range(2))
    n, n_w = k.shape
    tubes = okumura.tubes(*paints)
    return Coefficients(
        paints=tuple(paints),
        wavelengths=GRID,
        k=k,
        s=s,
        local=np.zeros((n, 2, 2, n_w)),
        own=np.zeros((n, 1, 2, n_w)),
        factors=np.zeros((1, n, 2, n_w)),
        factor_names=("none",),
        scale=f"relative to {okumura.WHITE}",
        surface=okumura.surface(PUBLISHED_K2),
        dry_volume=np.array([tubes[p].dry_volume for p in paints]),
        density=np.array([tubes[p].wet_density for p in paints]),
        dry_volume_measured=np.ones(n, dtype=bool),
        ratio_only=np.zeros((n, n_w), dtype=bool),
        scan_made=np.zeros(n, dtype=bool),
        mix_error=np.zeros(n),
        part_error=np.zeros(n),
        crowding=np.zeros(n),
        surface_error=np.zeros(n),
        model_error=np.zeros(n_w),
        surface_offset=np.zeros(n),
    )


@cache
def published(scanner: str, estimated: bool) -> Score:
    """Each published paint from its opaque ladder, with the published K and S of all others."""
    if not okumura.TABLE.exists():
        raise Skipped("the published table is not beside the project")
    sensors, tally = sensors_of(scanner, estimated), _Tally()
    seen_as = okumura.surface(PUBLISHED_K2)
    paints = list(okumura.table())
    everything = published_coefficients(paints)
    for seed, paint in enumerate(p for p in paints if p != okumura.WHITE):
        readings = okumura.opaque_card(paint, seen_as)
        seen = scanned(readings, SCANNERS[scanner], seed)
        others = everything.select([p for p in paints if p != paint])
        tubes = okumura.tubes(paint, okumura.WHITE)
        fit = fit_scan([seen], tubes, sensors, prior_for(paint), known=others)
        tally.ladder(fit, paint, (readings, seen), sensors)
        rng = np.random.default_rng([seed, 9])
        mixes = []
        for _ in range(MIXTURES_A_PAINT):
            more = rng.choice(len(others.paints), size=rng.integers(0, 3), replace=False)
            names = dict.fromkeys([okumura.WHITE, paint, *(others.paints[i] for i in more)])
            mixes.append(dict(zip(names, rng.dirichlet(np.ones(len(names))), strict=True)))
        found = beside(fit.coefficients, others, "known")[0]
        truth = predict(everything, dry_fractions(everything, mixes)).reflectance
        prediction = predict(found, dry_fractions(found, mixes))
        tally.mixtures.append(_judge(Check(None, truth, prediction), slice(None)))  # type: ignore[arg-type]
    return tally.score()


def best_alone(score: Score) -> float:
    """Median RMS of the best method that takes each patch for itself."""
    return min(float(np.median(rms)) for rms in score.alone.values())


WORLDS: dict[str, Callable[[str, bool], Score]] = {"lab": lab_known, "published": published}

for _name, _world in WORLDS.items():
    _what = f"scan.recovery_{_name}"
    benchmark(f"{_what}_mean_de00", "CIEDE2000, one paint scanned, others known", target=1.2)(
        lambda world=_world: float(world("LED", True).d50.mean())
    )
    benchmark(f"{_what}_lamp_a_mean_de00", "the same under A", target=1.5)(
        lambda world=_world: float(world("LED", True).a.mean())
    )
    benchmark(f"{_what}_p95_de00", "the same under D50, p95")(
        lambda world=_world: float(np.percentile(world("LED", True).d50, 95))
    )
    benchmark(f"{_what}_known_sensitivities_mean_de00", "the same, sensitivities known")(
        lambda world=_world: float(world("LED", False).d50.mean())
    )
    benchmark(f"{_what}_three_bands_mean_de00", "the same, lamp of three bands")(
        lambda world=_world: float(world("three bands", True).d50.mean())
    )
    benchmark(f"{_what}_coverage", "share in their 95 % band", target=0.90, sense="at least")(
        lambda world=_world: float(world("LED", True).inside.mean())
    )
    benchmark(f"{_what}_rms", "median RMS reflectance of the ladders' patches", target=0.03)(
        lambda world=_world: float(np.median(world("LED", True).rms))
    )
    benchmark(f"{_what}_rms_ratio", "that over the best spectrum-per-patch method's", target=0.65)(
        lambda world=_world: float(np.median((s := world("LED", True)).rms)) / best_alone(s)
    )

for _estimated, _words in ((True, ""), (False, "_known_sensitivities")):
    benchmark(
        f"scan.recovery_all{_words}_mean_de00", "CIEDE2000, all paints scanned",
        target=2.0 if _estimated else None,
    )(lambda e=_estimated: float(lab_all("LED", e).d50.mean()))  # fmt: skip


for _name, _devices in (("one_device", ("LED",)), ("two_devices", ("LED", "three bands"))):
    benchmark(f"scan.recovery_{_name}_mean_de00", "CIEDE2000, all paints scanned, by transport")(
        lambda of=_devices: float(as_studio(of).d50.mean())
    )
    benchmark(f"scan.recovery_{_name}_p95_de00", "the same, p95")(
        lambda of=_devices: float(np.percentile(as_studio(of).d50, 95))
    )
    benchmark(f"scan.recovery_{_name}_coverage", "share in their 95 % band", target=0.90,
              sense="at least")(lambda of=_devices: float(as_studio(of).inside.mean()))  # fmt: skip


@benchmark("scan.recovery_all_lamp_a_mean_de00", "the same under A", target=2.5)
def all_lamp_a() -> float:
    return float(lab_all("LED", True).a.mean())


@benchmark("scan.recovery_all_three_bands_mean_de00", "the same under D50, lamp of three bands")
def all_three_bands() -> float:
    return float(lab_all("three bands", True).d50.mean())


@benchmark("scan.recovery_all_coverage", "share in their 95 % band", target=0.90, sense="at least")
def all_coverage() -> float:
    return float(lab_all("LED", True).inside.mean())


@benchmark("scan.recovery_quick_mean_de00", "CIEDE2000, quick cards, opaque mixtures", target=3.0)
def quick_mean() -> float:
    return float(quick().d50.mean())
