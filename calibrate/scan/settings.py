"""What of a picture's file tells how its device was set, so that scans made alike can be told."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ..errors import InputError
from .image import Facts

LOSSLESS, LOSSY = "TIFF or PNG", "JPEG or HEIC"


@dataclass(frozen=True)
class Settings:
    """Settings of a device as its pictures' files show them.

    Attributes
    ----------
    device, software : str or None
        As the file states them.
    kind : str
        `LOSSLESS` or `LOSSY`.
    dpi : float or None
        As the file states it.
    icc : str or None
        The embedded profile.
    """

    device: str | None
    software: str | None
    kind: str
    bits: int
    dpi: float | None
    icc: str | None

    @classmethod
    def of(cls, facts: Facts) -> Settings:
        """Settings that a picture was made with."""
        # Phones state 72 dpi or the like, which says nothing.
        dpi = facts.dpi if facts.dpi is not None and facts.dpi >= 100 else None
        kind = LOSSLESS if facts.format in ("TIFF", "PNG") else LOSSY
        return cls(facts.device, facts.software, kind, facts.bits, dpi, facts.icc)

    def as_dict(self) -> dict[str, Any]:
        """For a table or a file."""
        return asdict(self)

    def fits(self, facts: Facts) -> bool:
        """Whether a picture was made with these settings."""
        return Settings.of(facts) == self

    def check_same(self, facts: Facts, name: str) -> None:
        """Refuse a picture that was made with other settings.

        Parameters
        ----------
        facts : Facts
            What the picture says of itself.
        name : str
            Of the device.

        Raises
        ------
        InputError
            Naming the first setting that differs.
        """
        other = Settings.of(facts)
        for key, what, unit in (
            ("kind", "the kind of file", ""),
            ("bits", "depth", " bit"),
            ("dpi", "resolution", " dpi"),
            ("icc", "the embedded profile", ""),
            ("device", "the device", ""),
            ("software", "the software", ""),
        ):
            mine, its = getattr(self, key), getattr(other, key)
            if mine != its:
                said = [f"{v:g}{unit}" if isinstance(v, int | float) else v or "not stated"
                        for v in (its, mine)]  # fmt: skip
                raise InputError(
                    facts.file,
                    None,
                    f"{what} is {said[0]}, but {name} was characterised with {said[1]}",
                    "scan with the same settings, or characterise the device with these",
                )
