"""A studio of as many invented paints as asked, each with a card that was painted and read.

Paints are members of families of curves, and readings are made with the two-flux model itself: what
a fit costs doesn't depend on how right the model is, and how right it is others measure. Each paint
is drawn by its own number alone, so a studio of a hundred begins with the paints of one of ten.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.card_text import card_text
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.optics.kubelka_munk import film_reflectance
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra
from tintladder.calibrate.optics.surface import Surface, to_inside, to_measured
from tintladder.database.store.store import Store

WHITE = "WHITE"
SPARE = 9999
"""Number of a paint that no studio has from the beginning."""
SOLIDS, DENSITY, GAP_UM = 0.4, 1.3, 150.0
RATIOS = (1, 4, 16)
"""Parts of white to one of paint."""
_TRANSFER, _SPREAD, _WEIGHED = 0.7, 0.03, 0.01
"""What the applicator leaves of its gap, how far one film lies from another, and the balance, g."""
_BARE = {"black": 0.045, "white": 0.82}
_SURFACE = Surface.of("45:0", "excluded")


def nickname(number: int) -> str:
    """Name of a paint by its number; the first is the white that all are let down with."""
    return WHITE if number == 0 else f"P{number:04d}"


def curves(number: int) -> tuple[Array, Array]:
    """K and S in 1/mm, (W,) each: an edge, a band or two, or an earth's slope; invented."""
    if number == 0:
        return 0.02 + 20 / (1 + np.exp((GRID - 395) / 6)), np.full(GRID.size, 110.0)
    rng = np.random.default_rng([number, 20260311])
    height, s = 10 ** rng.uniform(1.2, 2.2), 10 ** rng.uniform(0.7, 1.8)
    if number % 3 == 0:
        k = height / (1 + np.exp((GRID - rng.uniform(470, 620)) / rng.uniform(6, 20)))
    elif number % 3 == 1:
        apart = (GRID - rng.uniform(430, 680)) / rng.uniform(25, 70)
        k = height * np.exp(-(apart**2) / 2)
        more = (GRID - rng.uniform(430, 680)) / rng.uniform(25, 70)
        k += rng.uniform(0, 0.5) * height * np.exp(-(more**2) / 2)
    else:
        k = height * np.exp(-(GRID - 380) / rng.uniform(60, 400))
    return k + 10 ** rng.uniform(-1.5, 0.5), s * (GRID / 550) ** -rng.uniform(0, 1.5)


def ladder(number: int) -> Card:
    """Its card: masstone and tints over black and white."""
    paint = nickname(number)
    said = {"gap_um": GAP_UM, "white": WHITE, "lots": {WHITE: "A1", paint: "A1"}}
    steps = [Drawdown("masstone", paint, {paint: 10.0}, **said)]  # type: ignore[arg-type]
    for parts in RATIOS if number else ():
        masses = {paint: 10.0 / (parts + 1), WHITE: 10.0 * parts / (parts + 1)}
        steps.append(Drawdown(f"{parts}:1", paint, masses, **said))  # type: ignore[arg-type]
    name = f"card-{paint}"
    return Card(name, f"{name}.toml", tuple(steps), balance_g=_WEIGHED, date="2026-03-11")


def read(card: Card, number: int) -> Spectra:
    """What an instrument reads of it, every patch twice, with errors of film, mass and reading."""
    rng = np.random.default_rng([number, 7])
    (k0, s0), (k1, s1) = curves(0), curves(number)
    bare = {over: np.full(GRID.size, _BARE[over]) for over in SUBSTRATES}
    labels, values = [], []

    def note(patch: str, true: Array) -> None:
        for _ in range(2):
            labels.append(patch)
            sd = 0.0005 + 0.002 * true
            values.append(np.clip(true + sd * rng.standard_normal(true.size), 1e-4, 1.0))

    for over in SUBSTRATES:
        note(f"bare/{over}", bare[over])
    for d in card.drawdowns:
        grams = d.masses[nickname(number)] + _WEIGHED / 2 * rng.standard_normal()
        white = 0.0 if number == 0 else d.masses.get(WHITE, 0.0)
        share = grams / (grams + white)
        x = GAP_UM * 1e-3 * _TRANSFER * SOLIDS * (1 + _SPREAD * rng.standard_normal())
        for over in SUBSTRATES:
            under = to_inside(bare[over], _SURFACE)
            mix = share * k1 + (1 - share) * k0, share * s1 + (1 - share) * s0
            note(f"{d.step}/{over}", to_measured(film_reflectance(*mix, x, under), _SURFACE))
    return Spectra.from_values(GRID, np.array(values), labels)


def tube(number: int) -> Tube:
    """The tube of a paint, its density and solids as the label says them."""
    return Tube(nickname(number), DENSITY, SOLIDS)


def readings(numbers: range) -> list[CardReadings]:
    """The cards of some paints with what was read of them, as a fit takes them."""
    cards = [ladder(i) for i in numbers]
    return [
        CardReadings(card, read(card, i), _SURFACE, f"{card.name}.txt")
        for i, card in zip(numbers, cards, strict=True)
    ]


def session(card: Card, number: int) -> Session:
    """The same as the file of an instrument holds it."""
    spectra = read(card, number)
    return Session(
        spectra=spectra,
        file=f"{card.name}.txt",
        sha256=hashlib.sha256(spectra.values.tobytes()).hexdigest(),
        format="CGATS.17 text",
        unit="fraction",
        geometry="45:0",
        condition="M1",
        date="2026-03-12",
        device="Bench reader (invented)",
    )


def add_paints(store: Store, numbers: range) -> None:
    """List some paints in a studio, with their cards and what was read of them."""
    listed = "".join(
        f'[[paint]]\nnickname = "{nickname(i)}"\nname = "Invented {i}"\nmaker = "Slipway Colours '
        f'(invented)"\npigments = ["{"PW6" if i == 0 else "PB29"}"]\n[[paint.lot]]\nlot = "A1"\n'
        f"density = {DENSITY}\nvolume_solids = {SOLIDS}\non_hand = true\n"
        for i in numbers
    )
    with store.transaction():
        store.paints.add_file(listed)
        for i in numbers:
            card = ladder(i)
            store.cards.add(card, card_text(card))
            store.readings.add(card.name, session(card, i))


def studio(folder: Path, paints: int) -> None:
    """Make a studio of so many paints, none of them fitted."""
    with Store.open(folder) as store:
        add_paints(store, range(paints))
