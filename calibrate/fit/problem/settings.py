"""What a fit assumes before it sees a reading."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

NOT_GIVEN = math.nan
_SPREADS = {
    "two-flux": {"two_flux_spread": 0.04, "surface_spread": 0.0, "crowding": 0.0},
    "transport": {"two_flux_spread": 0.01, "surface_spread": 2e-3, "crowding": 0.1},
}
"""What each model gets wrong, how far surfaces differ, and how pigments crowd, where nothing else
is given."""
_LEAST_SPREAD = {"two-flux": 0.07, "transport": 0.02}
"""What each gets wrong at a wavelength at the least: chosen on mixtures of the virtual paint lab,
its stress variants included, that no fit saw. Real paint shows more."""
_MOST_ROOM, _NO_SURFACE = 0.002, 0.001
"""Of films' own surfaces in a fit, and what their spread shows at in any case, as reflectance (our
choice, on the virtual paint lab's worlds that tune)."""
UNEVEN_UNSURE = 0.4
"""Standard deviation of the logarithm of how uneven brushed films are."""


@dataclass(frozen=True)
class FitSettings:
    """Priors, noise and choices of a fit; the defaults suit a home card read by an instrument.

    Attributes
    ----------
    model : {"two-flux", "transport"}
        Whether K and S are fitted, or absorption and reduced scattering (see
        `tintladder.calibrate.optics.transport`).
    transfer : float
        Wet film left by an applicator over its gap (0.5-0.9; common practice, no source).
    transfer_spread : float
        Relative standard uncertainty of `transfer`, common to all cards of one gap. It passes whole
        into K and S in 1/mm.
    session_spread : float
        Relative standard uncertainty of thickness shared by the drawdowns of one card and gap.
    drawdown_spread : float
        Relative standard uncertainty of thickness of each drawdown.
    measured_spread : float
        The same for a dry thickness that was measured.
    coat_um : float
        Dry film that a brush leaves, as it is believed before a reading, µm (common practice, no
        source).
    coat_spread : float
        Standard deviation of its logarithm: once for all drawdowns of a card, and once more for
        each of them. 0: what was brushed out is taken to hide its substrate, as fits before had it.
    half_spread : float
        Relative standard uncertainty of how much thicker a brushed film is over black than on
        average of both.
    uneven_spread : float
        Relative standard deviation of a brushed film's thickness within a patch. That itself is
        unsure by `UNEVEN_UNSURE`, alike on all of a card.
    unsealed_spread : float
        Relative standard uncertainty of what lies under a film on a card that wasn't sealed,
        against what was read bare.
    fit_substrate : bool
        Whether that is fitted on sealed cards too; on one that wasn't sealed it always is.
    noise : (offset, slope) or None
        Standard uncertainty of one reading, ``offset + slope * R``; None: learnt from the repeats.
    two_flux_spread : float
        What the model gets wrong of a whole mix: relative standard uncertainty of its absorption;
        where not given, 0.04 by two fluxes and 0.01 by transport. Real paint's K, as two fluxes see
        it, is not quite proportional to its share; without room for that the fit would blame the
        balance and the applicator.
    model_spread : float or None
        What it gets wrong at each wavelength: a standard uncertainty of ``model_spread R (1 - R)``
        of the reflectance inside, nothing where a film is black or a perfect white. None: learnt
        from what a joint fit leaves over, and never below `least_spread`, which counts where a
        single new tube is fitted.
    dark_spread : float
        What comes to that however dark or light a film is, as reflectance: its surface above all.
        Learnt with `model_spread`.
    paint_errors : mapping of nickname to float
        Factor on both of the films of a paint that the model holds less well; learnt with them.
    part_error : float or None
        What it gets wrong of a paint's part in a mix (see `Coefficients`). None: learnt where steps
        are left out of their ladders, else 0.
    surface_error : float or None
        How far films' own surfaces reflect from the record's, as a standard deviation of
        reflectance: one is underbound and matt, another resinous. None: learnt from dark films.
    surface_spread : float
        Prior standard deviation of how far the reflection of a dark paint's own surface lies from
        the record's; 0: all are alike. Where not given, 0 by two fluxes, whose K and S go to models
        that know nothing of it, and 0.002 by transport: an index of 1.485 makes that.
    crowding : float
        How pigments crowd, as it is believed before a reading (see `Coefficients`): never less than
        nothing, for among its like a pigment scatters no more than alone. Where not given, 0 by two
        fluxes, whose K and S go to models that know nothing of it, and 0.1 by transport (our
        choice, on the virtual paint lab's worlds that tune).
    crowding_spread : float
        Standard deviation of its logarithm, one value for all paints of a joint fit. New tubes are
        fitted at what their known paints showed.
    k2_spread : float
        Prior standard uncertainty of the internal reflectance k2.
    fit_k2 : bool
        Whether k2 is fitted from its prior or held at its physical value.
    roughness : (of log K, of log S) or None
        Standard deviation of their second difference over wavelength; None: as far as the readings
        leave room for, learnt from them.

    Examples
    --------
    >>> FitSettings().least_spread, FitSettings(model="transport").least_spread
    (0.07, 0.02)
    """

    model: Literal["two-flux", "transport"] = "two-flux"
    transfer: float = 0.6
    transfer_spread: float = 0.10
    session_spread: float = 0.05
    drawdown_spread: float = 0.05
    measured_spread: float = 0.03
    coat_um: float = 150.0
    coat_spread: float = 0.5
    half_spread: float = 0.05
    uneven_spread: float = 0.2
    unsealed_spread: float = 0.05
    fit_substrate: bool = False
    noise: tuple[float, float] | None = None
    two_flux_spread: float = NOT_GIVEN
    model_spread: float | None = None
    dark_spread: float = 0.0
    paint_errors: Mapping[str, float] = field(default_factory=dict, hash=False)
    part_error: float | None = None
    surface_error: float | None = None
    surface_spread: float = NOT_GIVEN
    crowding: float = NOT_GIVEN
    crowding_spread: float = 1.0
    k2_spread: float = 0.05
    fit_k2: bool = False
    roughness: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.model not in _SPREADS:
            raise ValueError(f"there is no model {self.model!r}; it is {' or '.join(_SPREADS)}")
        if self.fit_k2 and self.model != "two-flux":
            raise ValueError("the table of transport holds its surface: there is no k2 to fit")
        for name, spread in _SPREADS[self.model].items():
            if math.isnan(getattr(self, name)):
                object.__setattr__(self, name, spread)

    @property
    def least_spread(self) -> float:
        """The least that `model_spread` is learnt to be; see there."""
        return _LEAST_SPREAD[self.model]

    @property
    def known_spread(self) -> float:
        """`model_spread`, or the least where it is still to be learnt.

        Examples
        --------
        >>> FitSettings().known_spread, FitSettings(model_spread=0.2).known_spread
        (0.07, 0.2)
        """
        return self.least_spread if self.model_spread is None else self.model_spread

    @property
    def surface_room(self) -> float:
        """Prior standard deviation of each film's own surface in the fit.

        Never more than what an index of some 1.485 makes: a fit takes what the model gets wrong at
        neighbouring wavelengths for independent, so with more room what is wrong of a light film
        would pass for its surface. None to speak of where films lie no further apart than what any
        model gets wrong of dark ones makes them seem to.

        Examples
        --------
        >>> FitSettings().surface_room, FitSettings(surface_error=0.0025).surface_room
        (0.002, 0.0015)
        """
        if self.surface_error is None:
            return _MOST_ROOM
        return min(max(self.surface_error - _NO_SURFACE, 0.01 * self.surface_error), _MOST_ROOM)

    def as_dict(self) -> dict[str, Any]:
        """Return the settings as a JSON-able mapping."""
        return asdict(self)
