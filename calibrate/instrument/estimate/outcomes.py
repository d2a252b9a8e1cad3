"""What became of each stage of the corrections, in words and figures."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from ...optics.spectra import Array
from ..tiles import Tile
from .jumps import Jump, Moved
from .priors import THERMOCHROMIC, UNKNOWN_WARMTH
from .session import OF_STAGE, Told, may_tell

Stage = Literal["zero", "drift", "scale", "linearity", "wavelength", "bandpass", "repeats"]
STAGES: tuple[Stage, ...] = (
    "zero", "drift", "scale", "linearity", "wavelength", "bandpass", "repeats",
)  # fmt: skip
CHANGING = STAGES[:-1]
"""Those that change values; the test of repeats only flags."""
_NONE_READ: Mapping[Stage, str] = {
    "zero": "no black trap was read",
    "drift": "no white tile was read",
    "scale": "no white tile was read",
    "linearity": "no grey tile was read",
    "wavelength": "no coloured tile was read",
    "bandpass": "the instrument's band isn't declared",
}


@dataclass(frozen=True)
class StageOutcome:
    """What was done, or why it was not.

    Attributes
    ----------
    stage : str
    made : bool
    words : str
    data : mapping
        Everything that the stage rests on and found, JSON-able.
    """

    stage: Stage
    made: bool
    words: str
    data: Mapping[str, Any] = field(default_factory=dict)


def without_tiles(band_nm: float | None, band_corrected: bool) -> list[StageOutcome]:
    """Say of each stage that changes values that no tile was read for it; a band may be undone.

    Parameters
    ----------
    band_nm : float or None
        Width of the instrument's triangular band at half height, nm.
    band_corrected : bool
        Whether the instrument corrects it itself.

    Returns
    -------
    list of StageOutcome
    """
    found = [StageOutcome(stage, False, words) for stage, words in _NONE_READ.items()]
    if band_corrected:
        found[-1] = StageOutcome("bandpass", False, "the instrument corrects its band itself")
    elif band_nm:
        found[-1] = StageOutcome(
            "bandpass", True, f"a triangular band of {band_nm:g} nm undone", {"band_nm": band_nm}
        )
    return found


def outcomes(
    found: Told,
    gone: Moved,
    tiles: Mapping[str, Tile],
    band_corrected: bool,
    without: Collection[str],
    labels: Sequence[str],
) -> list[StageOutcome]:
    """Say what became of each stage that changes values.

    Parameters
    ----------
    found : Told
    gone : Moved
        The gain between readings of tiles.
    tiles : mapping of name to Tile
        Certificates of what was read.
    band_corrected : bool
    without : collection of str
        Stages left out.
    labels : sequence of str
        Patches of the readings.

    Returns
    -------
    list of StageOutcome
    """
    known = {name: tiles[name] for name in found.names if name in tiles}
    why = {
        **{s: w for s, w in may_tell(known, found.names, found.visits.at.size).items()},
        **dict.fromkeys(without, "left out, as asked"),
    }
    said = _Words(found, gone, known, band_corrected, labels)
    made = []
    for stage in CHANGING:
        if stage in why:
            made.append(StageOutcome(stage, False, why[stage]))
        else:
            made.append(getattr(said, stage)())
    return made


class _Words:
    def __init__(
        self,
        found: Told,
        gone: Moved,
        tiles: Mapping[str, Tile],
        band_corrected: bool,
        labels: Sequence[str],
    ) -> None:
        self.of, self.gone, self.tiles, self.band_corrected = found, gone, tiles, band_corrected
        self.labels = labels
        self.e = found.estimate
        self.undoes_band = bool(self.e.model.square)

    def zero(self) -> StageOutcome:
        e = self.e
        offset = e.model.zero(e.theta)
        sd = float(e.sd("zero_level")[0])
        if not e.has(*OF_STAGE["zero"]):
            return self.none("zero", "zero_level", "nothing is added", 1, "", 4)
        data = {"offset": _plain(offset), "uncertainty": sd}
        return StageOutcome(
            "zero", True, f"{offset.mean():.4f} ± {sd:.4f} taken off, as the black trap tells", data
        )

    def drift(self) -> StageOutcome:
        e, when = self.e, self.of.visits
        nodes, visits = np.exp(e.of("drift")), int((~when.joined).sum())
        jumps = [dict(vars(jump)) for jump in self.gone.jumps]
        if not e.has(*OF_STAGE["drift"]):
            return self.none("drift", "drift", "the gain held still", 100, " %", 2)
        data = {"at": _plain(when.at), "gain": _plain(nodes), "jumps": jumps}
        words = (
            f"the gain moved by {100 * float(np.ptp(nodes)):.2f} % over {visits} readings of "
            "tiles: undone in between"
        )
        for jump in self.gone.jumps:
            words += f"; it jumped by {100 * jump.size:+.2f} %, {self.where(jump)}"
        return StageOutcome("drift", True, words, data)

    def where(self, jump: Jump) -> str:
        """Say between which readings the gain jumped."""
        after = "the tiles" if jump.first < 0 else self.labels[jump.first]
        before = "the tiles" if jump.last >= len(self.labels) else self.labels[jump.last]
        if after == before:
            return f"between two readings of {after}"
        return f"between {after} and {before}"

    def scale(self) -> StageOutcome:
        e = self.e
        one = np.eye(e.model.nodes)[:1]
        gain = np.exp(e.model.log_gain(np.where(_drifts(e.model), 0.0, e.theta), one)[0])
        if not e.has(*OF_STAGE["scale"]):
            return self.none("scale", "gain_level", "the tiles read as certified", 100, " %", 2)
        sd = float(e.sd("gain_level")[0])
        data = {"factor": _plain(1 / gain), "uncertainty": sd}
        words = f"times {(1 / gain).mean():.4f} ± {sd:.4f}, which the certificates ask for"
        return StageOutcome("scale", True, words, data)

    def linearity(self) -> StageOutcome:
        e = self.e
        if not e.has("bend"):
            return self.none("linearity", "bend", "no bend found", 100, " %", 2)
        (c, lopsided), sd = e.of("bend"), float(e.sd("bend")[0])
        data = {"c": float(c), "lopsided": float(lopsided), "uncertainty": sd, **self.tiles_off()}
        words = (
            f"a bend of {100 * c:.2f} ± {100 * sd:.2f} % taken out; tiles were off by "
            f"{data['before']:.4f}, now by {data['after']:.4f}"
        )
        return StageOutcome("linearity", True, words, data)

    def wavelength(self) -> StageOutcome:
        e = self.e
        if not e.has(*OF_STAGE["wavelength"]):
            return self.none("wavelength", "shift", "no shift found", 1, " nm", 2, self.warmth())
        nm, sd, slope = float(e.of("shift")[0]), float(e.sd("shift")[0]), float(e.of("slope")[0])
        data = {"nm": nm, "uncertainty": sd, "slope": slope, **self.tiles_off()}
        words = f"a shift of {nm:+.2f} ± {sd:.2f} nm undone, {self.warmth()}"
        return StageOutcome("wavelength", True, words, data)

    def warmth(self) -> str:
        apart = [
            prior.edge_nm / THERMOCHROMIC
            for prior, name in zip(self.e.priors.tiles, self.of.names, strict=True)
            if name in self.tiles and self.tiles[name].kind == "colour"
        ]
        if max(apart) == UNKNOWN_WARMTH:
            return "the tiles' temperature not noted"
        return f"the tiles within {max(apart):.0f} K of their certificate"

    def bandpass(self) -> StageOutcome:
        e = self.e
        if self.band_corrected:
            return StageOutcome("bandpass", False, "the instrument corrects its band itself")
        if not self.undoes_band and not e.answer.choice["band"]:
            words = "the instrument's band isn't declared, and the tiles tell of none"
            return StageOutcome("bandpass", False, words)
        square = e.model.band(e.theta)
        data = {"square_nm2": square, "uncertainty": float(e.sd("band")[0])}
        width = float(np.sqrt(abs(square)))
        if square < 0:
            words = f"sees more sharply than its certificates: {width:.1f} nm of band put back"
        else:
            words = f"a triangular band of {width:.1f} nm undone"
        return StageOutcome("bandpass", True, words, {**data, "band_nm": width})

    def tiles_off(self) -> dict[str, float]:
        """RMS difference of readings of tiles from their certificates, before and after."""
        e = self.e
        rows = [r for r, one in enumerate(e.model.seen) if e.priors.tiles[one.tile].certified]
        nothing = e.model.read(np.zeros(e.model.size))[0]
        before = np.array([e.model.seen[r].values for r in rows]) - nothing[rows]
        return {"before": _rms(before), "after": _rms(e.left[rows])}

    def none(
        self, stage: Stage, name: str, words: str, unit: float, of: str, digits: int, more: str = ""
    ) -> StageOutcome:
        value, sd = self.e.otherwise.get(name, (0.0, 0.0))
        found = f"{unit * value:+.{digits}f} ± {unit * sd:.{digits}f}{of}"
        said = f"{words} ({found}{', ' if more else ''}{more})"
        return StageOutcome(stage, False, said, {"found": value, "uncertainty": sd})


def _drifts(model: Any) -> Array:
    found = np.zeros(model.size, bool)
    found[model.at["drift"]] = found[model.at["tilt"]] = True
    return found


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _plain(values: Array) -> list[float]:
    return [float(value) for value in values]
