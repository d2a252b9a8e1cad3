"""The fit's forward model and its derivatives, for every kind of nuisance value."""

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.solver.clusters import clusters
from tintladder.calibrate.optics.surface import Surface

from tests.synthetic import BALANCE_G, GAP_UM, KS, TUBES, ladder, read

ANGLED = Surface.of("45:0")
SHUT = Surface.of("di:8", "excluded")


def _said(**more):
    return {"gap_um": GAP_UM, "white": "W"} | more


def cards():
    """A white, a satin ladder, a chain with measured thickness, an opaque one, a mix of two."""
    chain = (
        Drawdown("masstone", "B", {"B": 10.0}, **_said(thickness_um=60.0)),
        Drawdown("1:1", "B", {"B": 5.0, "W": 5.0}, **_said(thickness_um=70.0)),
        Drawdown("3:1", "B", {"W": 5.0}, taken_from="1:1", taken_g=5.0, **_said()),
    )
    hidden = (
        Drawdown("masstone", "E", {"E": 10.0}, opaque=True, over=("white",), white="W"),
        Drawdown("1:1", "E", {"E": 5.0, "W": 5.0}, white="W", opaque=True),
    )
    # Brushed out: over both substrates, so a film of unknown thickness where they show.
    coats = (
        Drawdown("masstone", "Y", {"Y": 10.0}, white="W", opaque=True),
        Drawdown("1:1", "Y", {"Y": 5.0, "W": 5.0}, white="W", opaque=True),
    )
    mixed = (Drawdown("both", "R", {"R": 4.0, "Y": 6.0}, **_said(surface="matt")),)
    return [
        ladder("W"),
        ladder("R", (1, 7), surface="satin"),
        Card("B", "B.toml", chain, balance_g=BALANCE_G),
        Card("E", "E.toml", hidden, balance_g=BALANCE_G),
        Card("Y", "Y.toml", coats, balance_g=BALANCE_G),
        Card("RY", "RY.toml", mixed, balance_g=BALANCE_G),
    ]


def _dark(readings):
    """B's masstone as dark at one wavelength as a surface alone."""
    values = readings.spectra.values.copy()
    if readings.card.name == "B":
        values[readings.rows("masstone/black"), 20] = 0.0403
    return replace(readings, spectra=replace(readings.spectra, values=values))


def problem_of(surface, settings=None):
    thick = [replace(c, drawdowns=tuple(replace(d, gap_um=d.gap_um or GAP_UM)
             for d in c.drawdowns)) for c in cards()]  # fmt: skip
    settings = settings or FitSettings(fit_k2=True, fit_substrate=True)
    readings = [read(c, surface) for c in thick]
    if settings.surface_spread:
        readings = [_dark(r) for r in readings]
    return build(readings, TUBES, settings, hidden={("E", "1:1")})


def at_random(problem, seed=1):
    """Log K, log S and nuisance values somewhat off the truth."""
    rng = np.random.default_rng(seed)
    k, s = (np.array([KS[p][i] for p in problem.paints]) for i in (0, 1))
    log_k, log_s = (np.log(v) + 0.2 * rng.standard_normal(v.shape) for v in (k, s))
    return log_k, log_s, rng.standard_normal(len(problem.nuisances))


SURFACES = [Surface.of("di:8"), SHUT, ANGLED]


def test_every_kind_is_there():
    kinds = {n.kind for n in problem_of(ANGLED).nuisances}
    assert kinds == {
        "thickness", "weighing", "dry volume", "two fluxes", "k2", "haze", "substrate",
        "half", "uneven", "own surface",
    }  # fmt: skip
    assert "haze" not in {n.kind for n in problem_of(Surface.of("di:8")).nuisances}
    surfaces = [
        n.name for n in problem_of(Surface.of("di:8"), FitSettings(model="transport")).nuisances
        if n.kind == "surface"
    ]  # fmt: skip
    assert surfaces == ["B: surface"]
    assert "crowding" in {
        n.kind for n in problem_of(ANGLED, FitSettings(model="transport")).nuisances
    }


@pytest.mark.parametrize("settings", [FitSettings(fit_k2=True, fit_substrate=True),
                                      FitSettings(model="transport", fit_substrate=True)],
                         ids=lambda s: s.model)  # fmt: skip
@pytest.mark.parametrize("surface", SURFACES, ids=lambda s: f"{s.geometry} {s.specular}")
def test_derivatives_by_finite_differences(surface, settings):
    problem = problem_of(surface, settings)
    # A paint whose surface was fitted before is among them.
    problem = replace(problem, surface_offset=np.linspace(-0.002, 0.003, len(problem.paints)))
    log_k, log_s, nu = at_random(problem)
    seen = set()
    for block in clusters(problem)[0]:
        k, s, n = log_k[block.paints], log_s[block.paints], nu[block.scalars]
        _, spectral, scalar, by_bare = block.predict(k, s, n)
        step = 1e-6

        def value(dk=0.0, ds=0.0, dn=0.0, block=block, k=k, s=s, n=n):
            return block.predict(k + dk, s + ds, n + dn)[0]

        for a in range(block.paints.size):
            one = np.zeros((block.paints.size, 1))
            one[a] = step
            for q, name in enumerate(("dk", "ds")):
                numeric = (value(**{name: one}) - value(**{name: -one})) / (2 * step)
                np.testing.assert_allclose(spectral[:, a, q], numeric, atol=2e-8)
        for m, which in enumerate(block.scalars):
            one = np.zeros(block.scalars.size)
            one[m] = step
            numeric = (value(dn=one) - value(dn=-one)) / (2 * step)
            np.testing.assert_allclose(
                scalar[:, m], numeric, atol=2e-8, err_msg=problem.nuisances[which].name
            )
            if np.abs(scalar[:, m]).max() > 1e-6:
                seen.add(problem.nuisances[which].kind)
        up, down = (
            replace(block, problem=replace(problem, bare=problem.bare + by)).predict(k, s, n)[0]
            for by in (step, -step)
        )
        np.testing.assert_allclose(by_bare, (up - down) / (2 * step), atol=2e-8)
    assert seen == {n.kind for n in problem.nuisances}


@pytest.mark.parametrize("surface", SURFACES, ids=lambda s: f"{s.geometry} {s.specular}")
def test_model_is_the_one_that_made_the_readings(surface):
    """Read without error, at the true K and S, nothing is left over."""
    problem = problem_of(surface)
    exact = [n.kind == "thickness" and n.spread == FitSettings().measured_spread
             for n in problem.nuisances]  # fmt: skip
    assert sum(exact) == 2
    k, s = (np.log([KS[p][i] for p in problem.paints]) for i in (0, 1))
    for block in clusters(problem)[0]:
        nu = np.zeros(block.scalars.size)
        for m, which in enumerate(block.scalars):
            # The readings are of what the gap leaves, whatever the card says was measured.
            if exact[which]:
                (drawdown,) = problem.nuisances[which].drawdowns
                left = GAP_UM * FitSettings().transfer * 0.4e-3
                nu[m] = np.log(left) - problem.log_thickness[drawdown]
                nu[m] /= FitSettings().measured_spread
        made = block.predict(k[block.paints], s[block.paints], nu)[0]
        # How thick a brushed film is, and how uneven, is no error of these readings.
        exact_rows = ~problem.brushed[problem.drawdown[block.rows]]
        measured = problem.measured[block.rows]
        np.testing.assert_allclose(made[exact_rows], measured[exact_rows], atol=1e-12)


def test_there_is_no_k2_to_fit_where_the_table_holds_the_surface():
    with pytest.raises(ValueError, match="no k2"):
        FitSettings(model="transport", fit_k2=True)


def test_blocks_hold_every_patch_once():
    problem = problem_of(ANGLED)
    blocks, shared = clusters(problem)
    rows = np.concatenate([b.rows for b in blocks])
    np.testing.assert_array_equal(np.sort(rows), np.arange(len(problem.patches)))
    own = np.concatenate([b.scalars[: b.own_scalars] for b in blocks])
    np.testing.assert_array_equal(np.sort([*own, *shared]), np.arange(len(problem.nuisances)))
    # Red and yellow meet in a mix, so they share a block; the others have one each.
    names = {frozenset(problem.paints[p] for p in b.paints[: b.own]) for b in blocks}
    assert names == {frozenset(), frozenset("RY"), frozenset("B"), frozenset("E")}
