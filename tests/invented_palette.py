"""Large invented palettes for searching: the boatyard's paints, and random ones beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface
from tintladder.calibrate.optics.transport import OF_TWO_FLUXES, TRANSPORT
from tintladder.database.easel.basis import Basis, Manner
from tintladder.database.easel.setting_out import SettingOut, WantedColours
from tintladder.database.mixing.measures import Measure, scale
from tintladder.database.mixing.setout import SetOut

from tests.lab.paints import PAINTS


def invented_coefficients(count: int, seed: int = 0, scale: str = "absolute") -> Coefficients:
    """K and S of so many invented paints, without uncertainty."""
    rng = np.random.default_rng(seed)
    names = list(PAINTS)[:count]
    k = [PAINTS[name].absorption for name in names]
    s = [PAINTS[name].scattering for name in names]
    for i in range(count - len(names)):
        band = np.exp(-0.5 * ((GRID - rng.uniform(390, 690)) / rng.uniform(20, 60)) ** 2)
        absorbed = rng.uniform(0.3, 5) + rng.uniform(40, 300) * band
        if rng.random() < 0.5:
            edge = (GRID - rng.uniform(420, 620)) / rng.uniform(6, 20)
            absorbed = absorbed + rng.uniform(50, 200) / (1 + np.exp(edge))
        k.append(absorbed)
        s.append(np.exp(rng.uniform(np.log(3), np.log(120))) * (GRID / 550) ** -rng.uniform(0, 1.3))
        names.append(f"INVENTED-{i}")
    w = GRID.size
    return Coefficients(
        paints=tuple(names),
        wavelengths=GRID,
        k=np.array(k),
        s=np.array(s),
        local=np.zeros((count, 2, 2, w)),
        own=np.zeros((count, 1, 2, w)),
        factors=np.zeros((1, count, 2, w)),
        factor_names=("none",),
        scale=scale,
        surface=Surface.of("di:8"),
        dry_volume=rng.uniform(0.25, 0.4, count),
        density=rng.uniform(1.05, 1.6, count),
        dry_volume_measured=np.ones(count, dtype=bool),
        ratio_only=np.zeros((count, w), dtype=bool),
        scan_made=np.zeros(count, dtype=bool),
        mix_error=np.zeros(count),
        part_error=np.zeros(count),
        crowding=np.zeros(count),
        surface_error=np.zeros(count),
        model_error=np.zeros(w),
        surface_offset=np.zeros(count),
    )


def by_transport(coefficients: Coefficients) -> Coefficients:
    """Much the same paints, as mu_a and mu_s' of the transport model."""
    absorbed, scattered = OF_TWO_FLUXES
    c = coefficients
    return replace(
        c,
        model=TRANSPORT,
        k=c.k * absorbed,
        s=c.s * scattered,
        surface_offset=np.random.default_rng(7).normal(0, 0.003, len(c.paints)),
        crowding=np.linspace(0.0, 0.4, len(c.paints)),
    )


def answered(
    found: SetOut, coefficients: Coefficients, measure: Measure | None = None
) -> SettingOut:
    """What a studio of these paints alone answers that sets out so."""
    basis = Basis(Manner(), coefficients, (), {}, "Calculated.", ())
    wanted = WantedColours(tuple(dab.target for dab in found.dabs), "a picture")
    return SettingOut(basis, wanted, found, measure or scale())
