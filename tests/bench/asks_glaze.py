"""Glazes and scumbles over grounds of every kind, against the film model.

50 grounds: tubes, mixes, kept recipes and readings in files, each with a colour that some film over
it makes. The film that is answered, its printed grams and coats, is laid over the true ground by
`predict`'s film model (`optics.predict`, whose films `transport.` and `fit.` score elsewhere). A
ground of which only the colour is known, as of a spot in a photograph, hides its spectrum: 20 such
are scored apart.

``glaze.worst``
    CIEDE2000 between what the answer claims of its printed amounts and the film model; 50 grounds.
``glaze.reached``
    Share of the 50 whose printed film comes within 1 of the colour that a film makes there.
``glaze.by_colour_p95``
    The first, 95 of 100 of the 20 grounds known by colour alone.
``glaze.by_colour_held``
    Share of these whose truth lies within the band that is stated.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache

import numpy as np
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import to_inside

from .asks_table import cpu, random_mix, seen, table
from .hand_table import WHITE, apart
from .harness import Timing, benchmark

GROUNDS, COLOURS, SEED = 50, 20, 7717
MEDIUM = "MEDIUM"


@dataclass(frozen=True)
class Glazed:
    """One answer beside the film model.

    Attributes
    ----------
    off : float
        CIEDE2000 of the claim from the truth.
    band : float
        That was stated.
    missed : float
        CIEDE2000 of the truth from what was wanted.
    """

    off: float
    band: float
    missed: float


def film(grams: dict[str, float], um: float, ground: Array) -> Array:
    """CIELAB of a film over a ground of this inside reflectance (W,)."""
    from tintladder.database.mixing.medium import with_medium

    c = with_medium(seen())
    fractions = dry_fractions(c, [grams])
    made = predict(c, fractions, np.array([um * 1e-3]), ground[None])
    colour: Array = made.lab()[0]
    return colour


def _grounds(count: int, seed: int) -> list[tuple[str, Array]]:
    """What is typed, and the reflectance inside: tubes, mixes, kept recipes, files of readings."""
    rng, c = np.random.default_rng(seed), seen()
    names, found = c.paints, []
    for n in range(count):
        kind = n % 4
        mix = random_mix(rng, names, WHITE)
        if kind == 0:
            mix = {str(rng.choice(names)): 1.0}
        made = predict(c, dry_fractions(c, [mix]))
        typed = ",".join(f"{p}={g:.6f}" for p, g in mix.items())
        if kind == 0:
            typed = next(iter(mix))
        elif kind == 2:
            name = f"ground-{n}"
            said = table().run("recipe", typed, "--tubes", len(mix), "--keep", name)
            assert said.status == 0, said.err
            parts = table().asked("recipe", name)["recipes"][0]["parts"]
            made, typed = predict(c, dry_fractions(c, [parts])), name
        elif kind == 3:
            file = table().folder / f"ground-{n}.csv"
            axis = ",".join(["sample", *(f"{nm:g}" for nm in c.wavelengths)])
            seen_at = ["# geometry: 45:0", "# unit: fraction", axis]
            bare = _as_read(c, mix)
            row = ",".join(["chip", *("" if np.isnan(r) else repr(float(r)) for r in bare)])
            file.write_text("\n".join([*seen_at, row, ""]), encoding="utf-8")
            typed = str(file)
        found.append((typed, _inside(c, made.reflectance[0])))
    return found


def _as_read(c: object, mix: dict[str, float]) -> Array:
    """What a 45:0 instrument reads of a film that hides."""
    from tintladder.database.mixing.viewing import Viewing

    by = Viewing.read("45:0").of(c)
    return predict(by, dry_fractions(by, [mix])).reflectance[0]


def _inside(c: object, seen_by_eye: Array) -> Array:
    inside: Array = to_inside(seen_by_eye, c.surface)
    return inside


def _asked(typed: str, ground: Array, rng: np.random.Generator) -> Glazed:
    names = [p for p in seen().paints if p != WHITE]
    some = [str(p) for p in rng.choice(names, 2, replace=False)]
    grams = {some[0]: 1.0, some[1]: float(rng.uniform(0.1, 1)), MEDIUM: float(rng.uniform(2, 20))}
    if rng.random() < 0.4:
        # A scumble: a thin light film.
        grams = {WHITE: 1.0, some[0]: 0.1, MEDIUM: float(rng.uniform(0.5, 4))}
    um = float(rng.choice([20.0, 40.0]))
    wanted = film(grams, um, ground)
    target = ",".join(f"{v:.3f}" for v in wanted)
    said = table().asked(
        "recipe", target, "--thickness", f"{um:g}", "--over", typed, "--finish", "gloss"
    )
    way = said["recipes"][0]
    made = way["amounts"][0]
    whole = said["film"]["thickness_um"] * said["film"]["coats"]
    truth = film(made["grams"], whole, ground)
    return Glazed(apart(truth, made["lab"]), made["band_de00"], apart(truth, wanted))


@cache
def every() -> tuple[Glazed, ...]:
    rng = np.random.default_rng(SEED + 1)
    found = []
    for typed, ground in _grounds(GROUNDS, SEED):
        found.append(_asked(typed, ground, rng))
        if found[-1].off > 0.5 or found[-1].missed > 1:
            print(f"  glaze over {typed}: {found[-1]}", file=sys.stderr)
    return tuple(found)


@cache
def by_colour() -> tuple[Glazed, ...]:
    rng, found = np.random.default_rng(SEED + 2), []
    c = seen()
    for _ in range(COLOURS):
        mix = random_mix(rng, c.paints, WHITE)
        made = predict(c, dry_fractions(c, [mix]))
        typed = ",".join(f"{v:.2f}" for v in made.lab()[0])
        found.append(_asked(typed, _inside(c, made.reflectance[0]), rng))
    return tuple(found)


@benchmark("asks.glaze.worst", "CIEDE2000 from the film model, 50 grounds", target=0.5)
def worst() -> float:
    return max(each.off for each in every())


@benchmark(
    "asks.glaze.reached", "share within 1 of a colour that some film makes", target=0.95,
    sense="at least",
)  # fmt: skip
def reached() -> float:
    return float(np.mean([each.missed <= 1 for each in every()]))


@benchmark("asks.glaze.by_colour_p95", "CIEDE2000 from the film model, 20 grounds by colour")
def by_colour_p95() -> float:
    return float(np.quantile([each.off for each in by_colour()], 0.95))


@benchmark(
    "asks.glaze.by_colour_held", "share within the stated band", target=0.9, sense="at least"
)
def by_colour_held() -> float:
    return float(np.mean([each.off <= each.band for each in by_colour()]))


@benchmark(
    "asks.glaze.cpu", "s of CPU, over a tube, against the same film over white", target=10.0,
    baseline="recipe for ten tubes", ratio_target=0.2,
)  # fmt: skip
def glaze_cpu() -> Timing:
    return cpu("recipe", "45,20,30", "--thickness", "30", "--over", "ROPE")
